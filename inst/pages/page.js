"use strict";
/* What all pages share: the data written into the page, text that cannot act, numbers as they are typed and
   shown, light and dark. Text from data reaches the page through page.el() and page.text() alone. */
const page = (() => {
  // doubles that decimal text of 15 digits cannot hold come as their bytes, see json_text() in R/escape.R
  const doubles = (code) => {
    const bytes = Uint8Array.from(atob(code), (c) => c.charCodeAt(0));
    const view = new DataView(bytes.buffer), out = [];
    for (let at = 0; at < bytes.length; at += 8) out.push(view.getFloat64(at, true));
    return out;
  };
  const revive = (key, x) => {
    if (x === null || typeof x !== "object" || Array.isArray(x)) return x;
    if (typeof x["#doubles"] === "string") return doubles(x["#doubles"]);
    if (typeof x["#double"] === "string") return doubles(x["#double"])[0];
    return x;
  };
  const data = JSON.parse(document.getElementById("page-data").textContent, revive);

  // Line ends as blanks; characters that are not seen but turn or join others, by number. Twin: shown_text()
  // in R/escape.R.
  const unseen = /[\u00ad\u061c\u180e\u200b\u200e\u200f\u202a-\u202e\u2060-\u2069\ufeff]/g;
  const seen = (x) => String(x ?? "").replace(/[\u0000-\u001f\u007f-\u009f\u2028\u2029]+/g, " ")
    .replace(unseen, (c) => "<U+" + c.charCodeAt(0).toString(16).toUpperCase().padStart(4, "0") + ">");

  const fill = (node, attributes, children) => {
    for (const [name, value] of Object.entries(attributes || {})) {
      if (value === null || value === undefined || value === false) continue;
      if (name.startsWith("on")) node.addEventListener(name.slice(2), value);
      else node.setAttribute(name, value === true ? "" : seen(value));
    }
    for (const child of children.flat()) {
      if (child === null || child === undefined || child === false) continue;
      node.append(child instanceof Node ? child : document.createTextNode(seen(child)));
    }
    return node;
  };
  const el = (name, attributes, ...children) =>
    fill(document.createElement(name), attributes, children);
  const svg = (name, attributes, ...children) =>
    fill(document.createElementNS("http://www.w3.org/2000/svg", name), attributes, children);
  const get = (id) => document.getElementById(id);
  const text = (id, x) => { get(id).textContent = seen(x); };
  const replace = (id, ...children) => get(id).replaceChildren(...children.flat().filter(Boolean));

  // A number as people type it, decimal comma or point; NaN for anything else.
  const parse = (typed) => {
    const x = String(typed).trim().replace(/\u2212/g, "-").replace(",", ".");
    return /^[+-]?(\d+\.?\d*|\.\d+)(e[+-]?\d+)?$/i.test(x) ? Number(x) : NaN;
  };
  // To `digits` significant ones, never as 1e+3.
  const significant = (x, digits = 3) => {
    if (!Number.isFinite(x)) return Number.isNaN(x) ? "\u2013" : x > 0 ? "\u221e" : "\u2212\u221e";
    if (x === 0) return "0";
    const size = Math.floor(Math.log10(Math.abs(x)));
    if (size < -4 || size > 7) return x.toExponential(digits - 1);
    const rounded = Number(x.toPrecision(digits));
    const places = Math.max(0, digits - 1 - Math.floor(Math.log10(Math.abs(rounded))));
    return fixed(rounded, places);
  };
  const fixed = (x, places) => Number.isFinite(x) ?
    x.toFixed(places).replace(/^-(0(\.0*)?)$/, "$1").replace("-", "\u2212") : significant(x);

  // The same without zeros at its end: for what was chosen, and along axes.
  const plain = (x, digits = 4) =>
    significant(x, digits).replace(/(\.\d*?)0+$/, "$1").replace(/\.$/, "");

  // a table as CSV: rows are objects
  const cell = (x) => {
    const t = x === null || x === undefined || (typeof x === "number" && !Number.isFinite(x)) ? "" : String(x);
    /* what a spreadsheet would take for a formula gets an apostrophe, as escape_cells() in R does */
    const safe = /^'*[=+@\t\r\n-]/.test(t) && !/^[+-]?[0-9.]+([eE][+-]?[0-9]+)?$/.test(t) ? "'" + t : t;
    return /[",\n\r]/.test(safe) ? "\"" + safe.replace(/"/g, "\"\"") + "\"" : safe;
  };
  const csv = (columns, x) => [columns.join(",")].concat(x.map((r) => columns.map((c) => cell(r[c])).join(","))).join("\r\n") + "\r\n";

  const fault = (message) => {
    text("page-fault", message);
    get("page-fault").hidden = false;
  };
  window.addEventListener("error", (e) => fault("This page met an error: " + e.message));
  window.addEventListener("unhandledrejection", (e) =>
    fault("This page met an error: " + (e.reason && e.reason.message || e.reason)));

  // light or dark as the system has it, until the button is pressed
  const root = document.documentElement, button = get("page-theme");
  const system = window.matchMedia("(prefers-color-scheme: dark)");
  const dress = (dark) => {
    root.dataset.theme = dark ? "dark" : "light";
    button.textContent = dark ? "Light" : "Dark";
    button.setAttribute("aria-label", dark ? "Light page" : "Dark page");
    document.dispatchEvent(new Event("page-dress"));
  };
  let chosen = null;
  const follow = () => dress(chosen === null ? system.matches : chosen);
  system.addEventListener("change", follow);
  button.addEventListener("click", () => { chosen = root.dataset.theme !== "dark"; follow(); });
  button.hidden = false;
  follow();

  return {data, seen, el, svg, get, text, replace, parse, significant, plain, fixed, csv, fault};
})();
