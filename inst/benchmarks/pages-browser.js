// Pages in Chromium: first paint, size, the fits of a bench page, how long a tap is held up, and eight clocks
// over eight hours that the browser lives through in moments (virtual time, so that every timer runs). Called
// by pages.R:
//   node pages-browser.js MODULES CHROMIUM FOLDER
"use strict";
const fs = require("fs"), path = require("path");
const [modules, chromium, folder] = process.argv.slice(2);
const puppeteer = require(path.join(modules, "puppeteer-core"));
const sleep = (ms) => new Promise((done) => setTimeout(done, ms));
const url = (name) => "file://" + path.resolve(folder, name + ".html");
const middle = (x) => x.sort((a, b) => a - b)[x.length >> 1];

(async () => {
  const out = { pages: {} };
  const browser = await puppeteer.launch({ executablePath: chromium, headless: "new", args: ["--no-sandbox",
    "--disable-gpu", "--no-first-run", "--host-resolver-rules=MAP * ~NOTFOUND", "--user-data-dir=" + path.join(folder, "user")] });
  const opened = async (name, width = 1280) => {
    const page = await browser.newPage();
    page.on("pageerror", (e) => { throw e; });
    await page.setViewport({ width, height: 900 });
    await page.evaluateOnNewDocument(() => {
      window.__held = [];
      new PerformanceObserver((list) => list.getEntries().forEach((e) => window.__held.push(e.duration)))
        .observe({ type: "longtask", buffered: true });
    });
    await page.goto(url(name));
    await page.waitForFunction(() => document.documentElement.dataset.ready ||
      (document.getElementById("ready") && !document.getElementById("ready").hidden), { timeout: 60000 });
    return page;
  };
  for (const name of ["bench", "practice", "explore"]) {
    const paints = [];
    for (let k = 0; k < 5; k++) {
      const page = await opened(name);
      await sleep(300);
      paints.push(await page.evaluate(() => Math.max(...performance.getEntriesByType("paint").map((x) => x.startTime))));
      await page.close();
    }
    out.pages[name] = { paint: middle(paints), bytes: fs.statSync(path.join(folder, name + ".html")).size };
  }

  // the fits of a run that is taken in, then readings undone and typed again one by one
  let page = await opened("bench");
  await sleep(1500);
  await page.evaluate(() => document.getElementById("bench-start").click());
  for (const what of ["events", "readings"]) {
    await page.evaluate("bench.takeIn(" + JSON.stringify(fs.readFileSync(path.join(folder, what + ".csv"), "utf8")) + ")");
  }
  const rested = () => page.waitForFunction(() => document.getElementById("bench-fit").dataset.busy === "no", { timeout: 60000 });
  await rested();
  out.par = await page.evaluate(() => JSON.parse(document.getElementById("bench-fit").dataset.par));
  const quick = [], held = [], values = [];
  const act = async (what, ...args) => {
    await page.evaluate(() => { window.__held.splice(0); delete document.getElementById("bench-fit").dataset.ms; });
    await page.evaluate(what, ...args);
    await page.waitForFunction(() => document.getElementById("bench-fit").dataset.ms);
    await rested();
    await sleep(100);
    const [ms, tasks] = await page.evaluate(() => [+document.getElementById("bench-fit").dataset.ms, window.__held.splice(0)]);
    quick.push(ms);
    held.push(Math.max(0, ...tasks));
  };
  for (let k = 0; k < 4; k++) {
    const said = await page.evaluate(() => document.getElementById("bench-undo").textContent);
    if (!/, [0-9.]+ HV5/.test(said)) throw new Error("no reading to undo: " + said);
    values.push(/, ([0-9.]+) HV5/.exec(said)[1]);
    await act(() => document.getElementById("bench-undo").click());
  }
  for (const value of values.reverse()) {
    await act((text) => {
      const field = document.querySelector("#bench-now input.number");
      field.value = text;
      field.form.requestSubmit();
    }, value);
  }
  out.quick = middle(quick);
  out.full = middle((await page.evaluate(() => bench.timings())).slice(1));
  out.held = { middle: middle(held.slice()), most: Math.max(...held) };
  await page.close();

  // eight pieces in eight furnaces over eight hours
  page = await opened("clock");
  await page.evaluate(() => document.getElementById("bench-start").click());
  const client = await page.createCDPSession();
  const live = async (minutes) => {
    const over = new Promise((done) => client.once("Emulation.virtualTimeBudgetExpired", done));
    await client.send("Emulation.setVirtualTimePolicy", { policy: "advance", budget: Math.round(60000 * minutes), maxVirtualTimeTaskStarvationCount: 1e9 });
    await over;
  };
  // a piece a minute, each by its own button, and the door shut 10 s later
  const names = await page.evaluate(() => Array.from(document.querySelectorAll("#bench-now [data-key^='in ']"), (x) => x.dataset.key.slice(3)));
  const tap = (key) => page.evaluate((k) => Array.from(document.querySelectorAll("#bench-now [data-key]")).find((x) => x.dataset.key === k).click(), key);
  await live(0.1);
  for (const name of names) {
    await tap("in " + name);
    await live(1 / 6);
    await tap("shut " + name);
    await live(5 / 6);
  }
  const off = [], ticks = [];
  const read = () => page.evaluate(() => {
    const now = Date.now(), seconds = (t) => t.split(":").reduce((a, b) => 60 * a + Number(b), 0);
    return { now, cards: Array.from(document.querySelectorAll("#bench-now .card.hot"), (card) => {
      const text = card.querySelector(".clock").textContent, until = +card.querySelector(".clock").dataset.until;
      const said = seconds(text.split(" ")[0]) * (/over/.test(text) ? -1 : 1);
      return { name: card.querySelector("h3").textContent.split(",")[0], off: said - (until - now) / 1000 };
    }) };
  });
  const first = await read();
  for (let hour = 0; hour < 8; hour++) {
    await live(60);
    const at = await read();
    if (at.cards.length !== names.length) throw new Error(at.cards.length + " clocks instead of " + names.length);
    off.push(at.cards.map((x) => x.off));
    ticks.push((at.now - first.now) / 3.6e6);
  }
  for (const name of names) await tap("out " + name);
  await live(0.1);
  const log = await page.evaluate(() => bench.log());
  out.clock = { pieces: names.length, hours: ticks[ticks.length - 1],
    first: Math.max(...first.cards.map((x) => Math.abs(x.off))), last: Math.max(...off[off.length - 1].map(Math.abs)),
    most: Math.max(...off.map((x) => Math.max(...x.map(Math.abs)))), hourly: off.map((x) => Math.max(...x.map(Math.abs))),
    held_min: names.map((name) => (log.find((e) => e.kind === "out" && e.specimen === name).time -
      log.find((e) => e.kind === "in" && e.specimen === name).time) / 60000) };
  await browser.close();
  fs.writeFileSync(path.join(folder, "found.json"), JSON.stringify(out));
})().catch((e) => { console.error(e); process.exit(1); });
