// A whole run on a bench page in Chromium, by keyboard alone, with a clock that is moved on: reload, a killed
// browser and a second tab on the way, a late tap corrected, storage that refuses. Called by check-bench.R:
//   node check-bench.js MODULES CHROMIUM PAGE RUN.json OUT
"use strict";
const fs = require("fs");
const path = require("path");
const [modules, chromium, file, run, out] = process.argv.slice(2);
const puppeteer = require(path.join(modules, "puppeteer-core"));
const axe = fs.readFileSync(path.join(modules, "axe-core", "axe.min.js"), "utf8");
const truth = JSON.parse(fs.readFileSync(run, "utf8"));
const url = "file://" + path.resolve(file);
const found = { faults: [], requests: [], looks: {} };
const sleep = (ms) => new Promise((done) => setTimeout(done, ms));
const check = (fine, what) => { if (!fine) found.faults.push(what); };
let shift = 0, browser;

const launch = (user) => puppeteer.launch({ executablePath: chromium, headless: "new",
  args: ["--no-sandbox", "--disable-gpu", "--no-first-run", "--disable-background-networking",
         "--host-resolver-rules=MAP * ~NOTFOUND", "--user-data-dir=" + user] });

async function openPage(width, before) {
  const page = await browser.newPage();
  page.on("pageerror", (e) => found.faults.push("script: " + e.message));
  page.on("console", (m) => { if (m.type() === "error") found.faults.push("console: " + m.text()); });
  page.on("request", (r) => { if (r.url() !== url && !r.url().startsWith("blob:")) found.requests.push(r.url().slice(0, 100)); });
  await page.setViewport({ width, height: 900 });
  await page.evaluateOnNewDocument(() => {
    const Real = Date;
    window.__shift = 0;
    window.Date = class extends Real {
      constructor(...a) { if (a.length) super(...a); else super(Real.now() + window.__shift); }
      static now() { return Real.now() + window.__shift; }
    };
  });
  if (before) await page.evaluateOnNewDocument(before);
  await settle(page);
  return page;
}
async function settle(page) {
  await page.goto(url);
  await page.waitForSelector("[data-ready]", { timeout: 60000 });
  await page.evaluate((s) => { window.__shift = s; }, shift);
}
async function pass(page, minutes) {
  shift += minutes * 60000;
  await page.evaluate((s) => { window.__shift = s; }, shift);
}
const keyOf = (page) => page.evaluate(() => document.activeElement && document.activeElement.getAttribute("data-key") || document.activeElement.id || "");
// Tab until the control with this key is reached
async function tabTo(page, key) {
  const met = [];
  for (let k = 0; k < 80; k++) {
    met.push(await keyOf(page));
    if (met[k] === key) return;
    await page.keyboard.press("Tab");
  }
  throw new Error("the keyboard does not reach '" + key + "' by " + met.slice(0, 40).join(", "));
}
const entries = (page) => page.evaluate("bench.log().length");
async function press(page, key) {
  const before = await entries(page);
  await tabTo(page, key);
  await page.keyboard.press("Enter");
  await page.waitForFunction("bench.log().length > " + before, { timeout: 20000 });
}
const keys = (page) => page.evaluate(() => Array.from(document.querySelectorAll("#bench-now [data-key]"), (x) => x.getAttribute("data-key")));
async function look(page, name) {
  for (const width of [360, 768, 1280]) for (const dark of [false, true]) {
    await page.emulateMediaFeatures([{ name: "prefers-color-scheme", value: dark ? "dark" : "light" }]);
    await page.setViewport({ width, height: 900 });
    await sleep(200);
    const wide = await page.evaluate(() => document.documentElement.scrollWidth - document.documentElement.clientWidth);
    check(wide <= 0, name + ": " + wide + " pixels too wide at " + width);
    const small = await page.evaluate(() => Array.from(document.querySelectorAll("button, input, summary"))
      .filter((x) => x.offsetParent && x.getBoundingClientRect().height < 47.5).map((x) => x.outerHTML.slice(0, 60)));
    check(small.length === 0, name + ": smaller than 48 px: " + small[0]);
    await page.screenshot({ path: path.join(out, name + "-" + width + (dark ? "-dark" : "") + ".png"), fullPage: true });
    const violations = await page.evaluate(async (code) => {
      if (!window.axe) (0, Function)(code)();
      const r = await window.axe.run(document, { resultTypes: ["violations"] });
      return r.violations.filter((v) => ["serious", "critical"].includes(v.impact)).map((v) => v.id + ": " + v.nodes[0].target.join(" "));
    }, axe).catch((e) => ["axe did not run: " + e.message.slice(0, 100)]);
    found.looks[name + width + dark] = violations;
    check(violations.length === 0, name + ": " + violations.join("; "));
  }
  await page.setViewport({ width: 360, height: 900 });
}

// The first step read with a slip in its second value: marks after two and after three readings; all undone.
async function slip(page) {
  const value = (await keys(page)).find((x) => x.startsWith("value ")), name = value.slice(6), right = truth.values[name][0];
  const odd = () => page.evaluate(() => Array.from(document.querySelector("#bench-now ol.values").children, (x) => x.className === "odd"));
  const told = () => page.evaluate(() => document.getElementById("bench-told").textContent);
  const type = async (text) => {
    const before = await entries(page);
    await tabTo(page, value);
    await page.keyboard.type(text);
    await page.keyboard.press("Enter");
    await page.waitForFunction("bench.log().length > " + before, { timeout: 20000 });
    await pass(page, 0.3);
  };
  await type(right[0]);
  check(String(await odd()) === "false", "a first, right reading is doubtful");
  await type(String(+right[0] - 25));
  check((await odd())[1], "a slip in the second reading is not marked");
  check(/read again/.test(await told()), "a slip in the second reading is not asked about: " + await told());
  await page.evaluate(() => { document.getElementById("bench-log-box").open = true; });
  await page.waitForSelector("#bench-log table");
  for (let k = 0; k < 2; k++) {
    const before = await entries(page);
    await page.evaluate(() => document.querySelector("#bench-log [data-key^='strike']").click());
    await page.waitForFunction("bench.log().length > " + before, { timeout: 20000 });
  }
  await page.evaluate(() => { document.getElementById("bench-log-box").open = false; });
}

(async () => {
  const user = path.join(out, "user");
  browser = await launch(user);
  let page = await openPage(360);
  const client = await page.createCDPSession();
  await client.send("Page.setBypassCSP", { enabled: false });
  await press(page, "bench-start");
  let acts = 0;
  const fit = [], quick = [];
  found.paint = await page.evaluate(() => Math.max(...performance.getEntriesByType("paint").map((x) => x.startTime)));
  found.bytes = fs.statSync(file).size;
  // a slip in the second reading is asked about, and not the third, right one
  await slip(page);
  for (let k = 0; k < 2000; k++) {
    const now = await keys(page);
    if (k % 20 === 0) console.error(k + " acts, " + await entries(page) + " entries");
    const value = now.find((x) => x.startsWith("value "));
    const shut = now.find((x) => x.startsWith("shut "));
    if (shut) { await pass(page, 0.2); await press(page, shut); continue; }
    const act = now.find((x) => x.startsWith("out ")) || now.find((x) => x.startsWith("cold "));
    if (act) {
      if (act.startsWith("out ")) {
        if (acts === 1) await look(page, "furnace");
        await pass(page, truth.furnace_min[act.slice(4)][await page.evaluate((k) => +/step (\d+) of/.exec(Array.from(document.querySelectorAll("[data-key]")).find((x) => x.getAttribute("data-key") === k).closest(".card").querySelector("h3").textContent)[1], act)]);
      } else await pass(page, 6);
      await press(page, act);
    } else if (value) {
      const name = value.slice(6);
      const card = await page.evaluate((v) => { const f = Array.from(document.querySelectorAll("[data-key]")).find((x) => x.getAttribute("data-key") === v);
        return [f.closest(".card").querySelector("h3").textContent, f.closest(".card").querySelectorAll("ol li").length]; }, value);
      const m = /step (\d+) of/.exec(card[0]);
      const step = m ? +m[1] : 0;
      const text = truth.values[name][step][card[1]];
      await tabTo(page, value);
      const before = await entries(page);
      await page.keyboard.type(card[1] % 2 ? text.replace(".", ",") : text);
      const began = Date.now();
      await page.keyboard.press("Enter");
      await page.waitForFunction("bench.log().length > " + before, { timeout: 20000 });
      fit.push(Date.now() - began);
      await page.waitForFunction(() => document.getElementById("bench-fit").dataset.ms, { timeout: 20000 });
      quick.push(+await page.evaluate(() => { const p = document.getElementById("bench-fit"), ms = p.dataset.ms; delete p.dataset.ms; return ms; }));
      await pass(page, 0.4);
    } else {
      const into = now.find((x) => x.startsWith("in "));
      if (!into) break;
      await press(page, into);
      acts++;
      if (acts === 3) { // a reload in the middle of a step
        const before = await entries(page);
        await page.goto("about:blank");
        await settle(page);
        check(await entries(page) === before, "entries lost by a reload");
      }
      if (acts === 5) { // the browser is killed
        const before = await entries(page);
        browser.process().kill("SIGKILL");
        await sleep(1500);
        browser = await launch(user);
        page = await openPage(360);
        check(await entries(page) === before, "entries lost by a killed browser: " + await entries(page) + " of " + before);
      }
      if (acts === 7) { // eight hours of sleep do not move a clock
        const text = await page.evaluate(() => document.querySelector("[data-until]").getAttribute("data-until"));
        await pass(page, 480);
        await sleep(1200);
        const said = await page.evaluate(() => document.querySelector("[data-until]").textContent);
        check(/^[78]:\d\d:\d\d over$/.test(said), "after 8 h of sleep the clock says " + said);
        await pass(page, -510); // and one that is set back is said
        await sleep(1200);
        const back = await page.evaluate(() => document.querySelector("[data-until]").textContent);
        check(/set back/.test(back), "with a clock set back by 30 min the page says " + back);
        await pass(page, 30);
        check(text.length > 0, "no clock");
      }
      if (acts === 8) { // a tap that a glove repeats counts once; what takes long is computed beside the page
        check(page.workers().length === 1, "no worker computes beside the page");
        const before = await entries(page), at = async (key) => {
          const place = await page.evaluate((k) => {
            const x = Array.from(document.querySelectorAll("[data-key]")).find((y) => y.getAttribute("data-key") === k);
            x.scrollIntoView({ block: "center" });
            const box = x.getBoundingClientRect();
            return [box.left + box.width / 2, box.top + box.height / 2];
          }, key);
          return place;
        };
        await page.mouse.click(...await at("undo"), { count: 2, delay: 20 });
        await sleep(600);
        check(await entries(page) === before + 1, "a repeated tap counts twice: " + (await entries(page) - before));
        const again = (await keys(page)).find((x) => x.startsWith("in "));
        await press(page, again);
      }
      if (acts === 9) { // two tabs: both write, both see all
        const other = await openPage(360);
        const before = await entries(page);
        const waiting = (await keys(other)).find((x) => x.startsWith("in "));
        if (waiting) { await press(other, waiting); await sleep(3000); }
        check(await entries(page) === before + (waiting ? 1 : 0), "a tab does not see the entry of the other");
        if (waiting) { // and undone there
          await press(page, "undo");
          await sleep(3000);
          check(await entries(other) === before + 2, "the undoing is not seen in the other tab");
        }
        await other.close();
      }
    }
  }
  // a late tap: the last 'out' was half a minute earlier
  await page.evaluate(() => { document.querySelector("#bench-log-box").open = true; });
  await page.waitForSelector("#bench-log table");
  const correct = await page.evaluate(() => Array.from(document.querySelectorAll("#bench-log tr")).filter((r) => r.children[2] && /^out(;|$)/.test(r.children[2].textContent))[0]
    .querySelector("button").getAttribute("data-key"));
  await tabTo(page, correct);
  const was = await page.evaluate((k) => Array.from(document.querySelectorAll("#bench-log tr")).find((r) => r.querySelector("[data-key='" + k + "']")).children[0].textContent, correct);
  await page.keyboard.press("Enter");
  await tabTo(page, "right-time");
  const t = was.split(":").map(Number), s = t[0] * 3600 + t[1] * 60 + t[2] - 30, two = (x) => String(x).padStart(2, "0");
  await page.keyboard.down("Control"); await page.keyboard.press("a"); await page.keyboard.up("Control");
  await page.keyboard.type("25:00:00");
  await page.keyboard.press("Enter");
  check(await page.evaluate(() => /14:05:30/.test(document.getElementById("bench-told").textContent)), "a time that is none was taken");
  await page.keyboard.down("Control"); await page.keyboard.press("a"); await page.keyboard.up("Control");
  await page.keyboard.type(two(Math.floor(s / 3600)) + ":" + two(Math.floor(s / 60) % 60) + ":" + two(s % 60));
  await tabTo(page, "right-why");
  await page.keyboard.type("hands full");
  const before = await entries(page);
  await page.keyboard.press("Enter");
  await page.waitForFunction("bench.log().length > " + before, { timeout: 10000 });
  await page.evaluate(() => { document.querySelector("#bench-log-box").open = false; });
  await page.waitForFunction(() => document.getElementById("bench-fit").dataset.busy === "no", { timeout: 60000 });
  await look(page, "end");
  found.par = await page.evaluate(() => JSON.parse(document.getElementById("bench-fit").dataset.par || "null"));
  found.fit = await page.evaluate(() => document.getElementById("bench-fit").textContent);
  found.advice = await page.evaluate(() => document.getElementById("bench-advice").innerText);
  found.saved = await page.evaluate(() => document.getElementById("bench-saved").textContent);
  found.entries = await entries(page);
  found.ms = fit;
  found.quick = quick.slice(-24);
  found.whole = await page.evaluate(() => { const f = bench.timings(); return f; });
  // both files by their buttons
  const down = path.join(out, "down");
  fs.mkdirSync(down, { recursive: true });
  await (await page.createCDPSession()).send("Browser.setDownloadBehavior", { behavior: "allow", downloadPath: down });
  for (const id of ["bench-save-readings", "bench-save-events"]) {
    await tabTo(page, id);
    await page.keyboard.press("Enter");
    await sleep(1500);
  }
  const names = fs.readdirSync(down);
  check(names.length === 2, "files saved: " + names.join(", "));
  const text = (what) => fs.readFileSync(path.join(down, names.find((x) => x.includes(what))), "utf8");
  fs.writeFileSync(path.join(out, "readings.csv"), text("readings"));
  fs.writeFileSync(path.join(out, "events.csv"), text("events"));
  // on another device both files give the same fit
  await browser.close();
  browser = await launch(path.join(out, "other"));
  page = await openPage(360);
  await press(page, "bench-start");
  for (const what of ["events", "readings"]) await page.evaluate("bench.takeIn(" + JSON.stringify(text(what)) + ")");
  await page.waitForFunction(() => document.getElementById("bench-fit").dataset.busy === "no", { timeout: 60000 });
  found.par_other = await page.evaluate(() => JSON.parse(document.getElementById("bench-fit").dataset.par || "null"));
  found.told_other = await page.evaluate(() => document.getElementById("bench-told").textContent);
  await page.close();
  // storage that refuses everything, and one that is full from the second entry on
  page = await openPage(360, () => {
    Object.defineProperty(window, "indexedDB", { get() { throw new Error("refused"); } });
    Storage.prototype.setItem = () => { throw new Error("refused"); };
  });
  check(await page.evaluate(() => !document.getElementById("bench-store").hidden), "a refusal to save is not said");
  await page.evaluate(() => document.getElementById("bench-start").click());
  await sleep(500);
  check(await page.evaluate(() => /NOT saved/.test(document.getElementById("bench-saved").textContent)), "an entry that was not saved counts as saved");
  await page.close();
  page = await openPage(360, () => {
    const put = IDBObjectStore.prototype.put;
    IDBObjectStore.prototype.put = function (x) { if (window.__full) throw new DOMException("full", "QuotaExceededError"); return put.call(this, x); };
    const set = Storage.prototype.setItem;
    Storage.prototype.setItem = function (...a) { if (window.__full) throw new DOMException("full", "QuotaExceededError"); return set.apply(this, a); };
  });
  await page.evaluate(() => { window.__full = true; });
  const first = (await keys(page)).find((x) => x.startsWith("in ") || x.startsWith("done "));
  if (first) await press(page, first);
  await sleep(300);
  check(!first || await page.evaluate(() => !document.getElementById("bench-store").hidden), "a full disk is not said");
  await page.evaluate(() => { window.__full = false; });
  await page.close();
  await browser.close();
  fs.writeFileSync(path.join(out, "found.json"), JSON.stringify(found));
})().catch(async (e) => {
  found.faults.push("the run broke off: " + (e && e.stack || e));
  fs.writeFileSync(path.join(out, "found.json"), JSON.stringify(found));
  if (browser) await browser.close().catch(() => {});
});
