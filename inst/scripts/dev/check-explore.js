// Pages of explore_page() in Chromium, by keyboard and mouse. Called by check-explore.R:
//   node check-explore.js MODULES CHROMIUM CASES.json OUT
"use strict";
const fs = require("fs");
const path = require("path");
const [modules, chromium, cases, out] = process.argv.slice(2);
const puppeteer = require(path.join(modules, "puppeteer-core"));
const axe = fs.readFileSync(path.join(modules, "axe-core", "axe.min.js"), "utf8");
const asked = JSON.parse(fs.readFileSync(cases, "utf8"));
const found = { faults: [], requests: [], ms: [], paint: [], bytes: [], worst: 0 };
const check = (fine, what) => { if (!fine) found.faults.push(what); };
const sleep = (ms) => new Promise((done) => setTimeout(done, ms));

async function put(page, id, text) {
  await page.focus("#" + id);
  await page.keyboard.down("Control"); await page.keyboard.press("a"); await page.keyboard.up("Control");
  await page.keyboard.type(text);
  await page.keyboard.press("Tab");
}
const near = (got, want, what) => {
  const x = got === undefined || got === "NaN" || got === null ? NaN : Number(got);
  if (want === null || Number.isNaN(want)) { check(Number.isNaN(x), what + ": a value where R has none"); return; }
  // ends of a likelihood depend on the neighbours they are sought from, to the tolerance of the search
  const gap = Math.abs(x - want) / Math.abs(want) * (what.startsWith("half") ? 1e-3 : 1);
  found.worst = Math.max(found.worst, gap);
  check(Number.isFinite(x), what + ": no value");
};

async function look(page, name) {
  for (const width of [360, 390, 768, 1280]) for (const dark of [false, true]) {
    if (width === 390 && dark) continue;
    await page.emulateMediaFeatures([{ name: "prefers-color-scheme", value: dark ? "dark" : "light" }]);
    await page.setViewport({ width, height: 900 });
    await sleep(400);
    const wide = await page.evaluate(() => document.documentElement.scrollWidth - document.documentElement.clientWidth);
    check(wide <= 0, name + ": " + wide + " pixels too wide at " + width);
    const cut = await page.evaluate(() => { const t = document.getElementById("parameters"); return t.scrollWidth - t.parentElement.clientWidth; });
    check(cut <= 0, name + ": the table of the fit is cut at " + width);
    const small = await page.evaluate(() => Array.from(document.querySelectorAll("button, input, select, textarea, summary"))
      .filter((x) => x.offsetParent && x.getBoundingClientRect().height < 47.5).map((x) => x.outerHTML.slice(0, 60)));
    check(small.length === 0, name + ": smaller than 48 px: " + small[0]);
    await page.screenshot({ path: path.join(out, name + "-" + width + (dark ? "-dark" : "") + ".png"), fullPage: true });
    const violations = await page.evaluate(async (code) => {
      if (!window.axe) (0, Function)(code)();
      const r = await window.axe.run(document, { resultTypes: ["violations"] });
      return r.violations.filter((v) => ["serious", "critical"].includes(v.impact)).map((v) => v.id + ": " + v.nodes[0].target.join(" "));
    }, axe).catch((e) => ["axe did not run: " + e.message.slice(0, 100)]);
    check(violations.length === 0, name + " at " + width + ": " + violations.join("; "));
  }
}

async function explore(browser, one) {
  const page = await browser.newPage(), url = "file://" + path.resolve(one.file);
  page.on("pageerror", (e) => found.faults.push("script: " + e.message));
  page.on("console", (m) => { if (m.type() === "error") found.faults.push("console: " + m.text()); });
  page.on("request", (r) => { if (r.url() !== url) found.requests.push(r.url().slice(0, 100)); });
  await page.setViewport({ width: 1280, height: 900 });
  await page.goto(url);
  await page.waitForFunction(() => !document.getElementById("ready").hidden, { timeout: 60000 });
  await page.waitForFunction(() => performance.getEntriesByType("paint").length > 0);
  found.paint.push(await page.evaluate(() => Math.max(...performance.getEntriesByType("paint").map((x) => x.startTime))));
  found.bytes.push(fs.statSync(one.file).size);
  for (let k = 0; k < one.at.length; k++) {
    await put(page, "temp-number", String(one.at[k].temp_c).replace(".", ","));
    await put(page, "time-number", String(one.at[k].time_min).replace(".", ","));
    const got = await page.evaluate(() => Array.from(document.querySelectorAll("#answer-hardness td"), (c) => Object.assign({}, c.dataset)));
    [got[0].value, got[1].lower, got[1].upper].forEach((x, j) => near(x, one.want[k][j], one.name + ", place " + (k + 1)));
    const shown = await page.evaluate(() => document.getElementById("answer-hardness").textContent);
    check(!/NaN|undefined|Infinity|null/.test(shown), one.name + ": " + shown);
  }
  for (let k = 0; k < 8; k++) {
    await page.focus("#temp");
    const before = await page.evaluate(() => document.getElementById("temp-number").value), began = Date.now();
    await page.keyboard.press("ArrowRight");
    await page.waitForFunction((v) => document.getElementById("temp-number").value !== v, { polling: 2 }, before);
    found.ms.push(Date.now() - began);
  }
  // a history typed, and drawn
  const at = asked.history;
  await put(page, "points", at.map((p) => p.time_s / 60 + " " + String(p.temp_c).replace(".", ",")).join("; "));
  const end = await page.evaluate(() => Object.assign({}, document.getElementById("drawn-end").dataset));
  near(end.value, one.end[0], one.name + ", history typed");
  if (end.lower !== undefined) [end.lower, end.upper].forEach((x, j) => near(x, one.end[j + 1], one.name + ", interval of the history"));
  await put(page, "points", "0 340; 5 cold");
  check(await page.evaluate(() => !document.getElementById("points-fault").hidden), one.name + ": a point that is none was taken");
  await page.evaluate(() => document.getElementById("points-plain").click());
  await page.evaluate(() => document.getElementById("drawn").scrollIntoView({ block: "center" }));
  const flat = await page.evaluate(() => +document.getElementById("drawn-end").dataset.value);
  const box = await page.evaluate(() => { const r = document.querySelector("#drawn svg").getBoundingClientRect(); return { x: r.x, y: r.y, width: r.width, height: r.height }; });
  await page.mouse.move(box.x + 0.4 * box.width, box.y + 0.45 * box.height);
  await page.mouse.down();
  for (const [u, v] of [[0.5, 0.7], [0.6, 0.45]]) await page.mouse.move(box.x + u * box.width, box.y + v * box.height, { steps: 8 });
  await page.mouse.up();
  await sleep(300);
  const points = await page.evaluate(() => document.getElementById("points").value.split(";").length);
  const bent = await page.evaluate(() => +document.getElementById("drawn-end").dataset.value);
  check(points > 3 && (bent > flat || one.name === "half"), one.name + ": a dip drawn by the mouse does not keep the hardness (" + flat + ", " + bent + ")");
  await page.evaluate(() => document.getElementById("points-anew").click());
  await look(page, one.name);
  await page.close();
}

(async () => {
  const browser = await puppeteer.launch({ executablePath: chromium, headless: "new",
    args: ["--no-sandbox", "--disable-gpu", "--no-first-run", "--disable-background-networking", "--host-resolver-rules=MAP * ~NOTFOUND"] });
  try { for (const one of asked.cases) await explore(browser, one); } catch (e) { found.faults.push("the run broke off: " + (e && e.stack || e)); }
  fs.writeFileSync(path.join(out, "found.json"), JSON.stringify(found));
  await browser.close();
})();
