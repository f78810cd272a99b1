// Runs the functions of core-api.js on the cases of a file and compares with what R found:
//   node compare.js CORE.js CORE-API.js CASES.json
// A case: name, call, arguments, want (fields of the answer), tolerance (relative to the largest number of the
// field). Prints as JSON which fields differ and the largest difference of each case.
"use strict";
const fs = require("fs");
const path = require("path");
const [core, api, cases] = process.argv.slice(2).map((file) => path.resolve(file));

const doubles = (text) => {
  const bytes = Buffer.from(text, "base64"), out = [];
  for (let at = 0; at < bytes.length; at += 8) out.push(bytes.readDoubleLE(at));
  return out;
};
const revive = (key, x) => x === null || typeof x !== "object" || Array.isArray(x) ? x :
  typeof x["#doubles"] === "string" ? doubles(x["#doubles"]) :
  typeof x["#double"] === "string" ? doubles(x["#double"])[0] : x;

const numbers = (x) => x === null || x === undefined ? [NaN] : Array.isArray(x) ? [].concat(...x.map(numbers)) : [x];

function difference(got, want) {
  const a = numbers(got), b = numbers(want);
  if (a.length !== b.length) return Infinity;
  const size = Math.max(1e-300, ...b.filter((v) => Number.isFinite(v)).map(Math.abs));
  let worst = 0;
  b.forEach((v, i) => {
    let gap = 0;
    if (typeof v === "string" || typeof v === "boolean") gap = a[i] === v ? 0 : Infinity;
    else if (Number.isNaN(v)) gap = Number.isNaN(a[i]) ? 0 : Infinity;
    else if (!Number.isFinite(v)) gap = a[i] === v ? 0 : Infinity;
    else gap = Number.isFinite(a[i]) ? Math.abs(a[i] - v) / size : Infinity;
    worst = Math.max(worst, gap);
  });
  return worst;
}

require(api).load(require(core)).then((own) => {
  const out = [];
  for (const one of JSON.parse(fs.readFileSync(cases, "utf8"), revive)) {
    const began = Date.now();
    let got;
    try {
      got = own[one.call](...one.arguments);
    } catch (e) {
      out.push({ name: one.name, field: "error", gap: "Inf", said: e.message, ok: false });
      continue;
    }
    for (const [field, want] of Object.entries(one.want)) {
      const value = field === "value" && (Array.isArray(got) || typeof got === "number") ? got :
        field.split(".").reduce((x, key) => x === undefined || x === null ? undefined : x[key], got);
      const tolerance = one.tolerance[field] === undefined ? one.tolerance.all : one.tolerance[field];
      // a place may be left out of the comparison: what the data leave open has no one value
      const at = one.only && one.only[field];
      const pick = (x) => at ? at.map((k) => x[k]) : x;
      const gap = difference(pick(value), pick(want));
      out.push({ name: one.name, field, gap: Number.isFinite(gap) ? gap : "Inf", ok: gap <= tolerance,
                 ms: Date.now() - began, said: gap <= tolerance ? "" : JSON.stringify([pick(value), pick(want)]).slice(0, 300) });
    }
  }
  process.stdout.write(JSON.stringify(out));
}).catch((e) => {
  process.stderr.write(String(e && e.stack || e) + "\n");
  process.exit(1);
});
