// Access of pages in Chromium. Called by check-access.R: node check-access.js MODULES CHROMIUM PAGES.json
// Each page at the width of a telephone and of a desk: axe-core; no sideways scroll, also at 360 px; language,
// one `main`, headings in order, header cells with scope, pictures with a text that says something.
"use strict";
const fs = require("fs");
const path = require("path");
const [modules, chromium, list] = process.argv.slice(2);
const puppeteer = require(path.join(modules, "puppeteer-core"));
const axe = fs.readFileSync(path.join(modules, "axe-core", "axe.min.js"), "utf8");
const sleep = (ms) => new Promise((done) => setTimeout(done, ms));

// in the page
function look() {
  const found = [];
  const shown = (e) => e.getClientRects().length > 0;
  const name = (e) => e.outerHTML.replace(/\s+/g, " ").slice(0, 90);
  const all = (query) => [...document.querySelectorAll(query)];
  if (!document.documentElement.lang) found.push("no language");
  const mains = all("main, [role=main]").length;
  if (mains !== 1) found.push(mains + " main parts");
  if (!document.title.trim()) found.push("no title");
  let before = 0;
  for (const h of all("h1, h2, h3, h4, h5, h6").filter(shown)) {
    const level = Number(h.tagName[1]);
    if (level > before + 1) found.push("heading out of order: " + name(h));
    before = level;
  }
  all("th").filter((c) => !c.scope && shown(c)).slice(0, 1)
    .forEach((c) => found.push("header cell without scope: " + name(c)));
  for (const image of all("img").filter(shown)) {
    const text = image.alt.trim();
    if (text.length < 8 || /^(plot of chunk|unnamed)/.test(text)) found.push("no alt text: " + name(image));
  }
  const drawn = all("svg").filter((s) => shown(s) && !s.closest("[aria-hidden=true], button, a") &&
    s.getBoundingClientRect().width > 60);
  drawn.filter((s) => !(s.getAttribute("aria-label") || s.querySelector("title") || s.getAttribute("aria-labelledby")))
    .forEach((s) => found.push("drawing without a text: " + name(s)));
  return found;
}

(async () => {
  const root = process.getuid && process.getuid() === 0;
  const browser = await puppeteer.launch({ executablePath: chromium, headless: true, protocolTimeout: 600000,
    args: ["--disable-gpu", "--host-resolver-rules=MAP * ~NOTFOUND"].concat(root ? ["--no-sandbox"] : []) });
  let bad = 0, pages = 0;
  for (const file of JSON.parse(fs.readFileSync(list))) {
    const found = new Set();
    const page = await browser.newPage();
    await page.setBypassCSP(true); // axe is no script of the page
    for (const width of [390, 1280]) {
      await page.setViewport({ width, height: 900 });
      // a page that computes by itself has then drawn what it draws
      await page.goto("file://" + file, { waitUntil: "load", timeout: 300000 });
      await sleep(await page.evaluate(() => document.querySelector("body > script, head > script") ? 2500 : 200));
      await page.evaluate(() => document.querySelectorAll("details").forEach((d) => { d.open = true; }));
      await page.evaluate(axe);
      const said = await page.evaluate(() => axe.run(document, { resultTypes: ["violations"] })
        .then((r) => r.violations.map((v) => v.impact + " " + v.id + ": " + v.nodes.length + " x " +
          v.nodes[0].target.join(" "))));
      said.concat((await page.evaluate(look)).map((f) => "serious " + f)).forEach((f) => found.add(f));
      for (const narrow of width === 390 ? [390, 360] : [width]) {
        await page.setViewport({ width: narrow, height: 900 });
        const wide = await page.evaluate(() => {
          const d = document.documentElement;
          if (d.scrollWidth <= d.clientWidth + 1) return "";
          const far = [...document.body.querySelectorAll("*")].filter((e) =>
            e.getBoundingClientRect().right > d.clientWidth + 1 && !e.closest(".scroll"));
          return d.scrollWidth - d.clientWidth + " px by " +
            (far.length ? far[0].outerHTML.replace(/\s+/g, " ").slice(0, 90) : "?");
        });
        if (wide) found.add("serious scrolls sideways at " + narrow + " px: " + wide);
      }
    }
    await page.close();
    pages += 1;
    const serious = [...found].filter((f) => /^(serious|critical)/.test(f));
    bad += serious.length;
    console.log(file.split("/").slice(-2).join("/").padEnd(50) + " " + serious.length + " serious, " +
                (found.size - serious.length) + " minor");
    found.forEach((f) => console.log("    " + f));
  }
  await browser.close();
  console.log(pages + " pages, " + bad + " serious findings");
  process.exit(bad ? 1 : 0);
})().catch((e) => { console.log("FAULT " + e); process.exit(2); });
