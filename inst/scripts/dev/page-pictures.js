// Pictures of real pages for a vignette. Called by page-pictures.R:  node page-pictures.js MODULES CHROMIUM FOLDER
"use strict";
const fs = require("fs");
const path = require("path");
const zlib = require("zlib");
const [modules, chromium, folder] = process.argv.slice(2);
const puppeteer = require(path.join(modules, "puppeteer-core"));
const sleep = (ms) => new Promise((done) => setTimeout(done, ms));
const text = (name) => fs.readFileSync(path.join(folder, name), "utf8");

// From the top of the first element to the bottom of the last.
async function shoot(page, name, first, last, wide) {
  const box = await page.evaluate((a, b) => {
    const top = document.querySelector(a).getBoundingClientRect().top + window.scrollY;
    return { top, bottom: document.querySelector(b).getBoundingClientRect().bottom + window.scrollY };
  }, first, last);
  const png = await page.screenshot({ clip: { x: 0, y: box.top - 8, width: wide, height: box.bottom - box.top + 16 } });
  const other = await page.browser().newPage();
  const seen = await other.evaluate(async (base) => {
    const image = new Image();
    image.src = "data:image/png;base64," + base;
    await image.decode();
    const canvas = document.createElement("canvas"), pen = canvas.getContext("2d");
    canvas.width = image.width; canvas.height = image.height;
    pen.drawImage(image, 0, 0);
    let letters = "";
    pen.getImageData(0, 0, image.width, image.height).data.forEach((b) => { letters += String.fromCharCode(b); });
    return { width: image.width, height: image.height, base: btoa(letters) };
  }, Buffer.from(png).toString("base64"));
  await other.close();
  fs.writeFileSync(path.join(folder, name + ".png"), small(seen.width, seen.height, Buffer.from(seen.base, "base64")));
}

// A PNG of 16 colours: the commonest that are not near to one taken already.
function small(width, height, rgba) {
  const count = new Map();
  for (let i = 0; i < rgba.length; i += 4) {
    const key = (rgba[i] << 16) + (rgba[i + 1] << 8) + rgba[i + 2];
    count.set(key, (count.get(key) || 0) + 1);
  }
  const parts = (key) => [key >> 16, (key >> 8) & 255, key & 255];
  const away = (a, b) => parts(a).reduce((s, v, k) => s + (v - parts(b)[k]) ** 2, 0);
  const palette = [];
  for (const [key] of Array.from(count).sort((a, b) => b[1] - a[1])) {
    if (palette.length < 16 && palette.every((p) => away(p, key) > 900)) palette.push(key);
  }
  const nearest = new Map(Array.from(count.keys(), (key) =>
    [key, palette.reduce((best, p, k) => away(p, key) < away(palette[best], key) ? k : best, 0)]));
  const row = Math.ceil(width / 2), raw = Buffer.alloc((row + 1) * height);
  for (let y = 0; y < height; y++) for (let x = 0; x < width; x++) {
    const i = 4 * (y * width + x), k = nearest.get((rgba[i] << 16) + (rgba[i + 1] << 8) + rgba[i + 2]);
    raw[y * (row + 1) + 1 + (x >> 1)] |= x % 2 ? k : k << 4;
  }
  const sums = Array.from({ length: 256 }, (_, n) => { let c = n; for (let k = 0; k < 8; k++) c = c & 1 ? 0xedb88320 ^ (c >>> 1) : c >>> 1; return c >>> 0; });
  const chunk = (type, body) => {
    const all = Buffer.concat([Buffer.from(type, "latin1"), body]), out = Buffer.alloc(all.length + 8);
    let c = 0xffffffff;
    for (const b of all) c = sums[(c ^ b) & 255] ^ (c >>> 8);
    out.writeUInt32BE(body.length, 0);
    all.copy(out, 4);
    out.writeUInt32BE((c ^ 0xffffffff) >>> 0, all.length + 4);
    return out;
  };
  const head = Buffer.alloc(13);
  head.writeUInt32BE(width, 0);
  head.writeUInt32BE(height, 4);
  head.set([4, 3, 0, 0, 0], 8);
  return Buffer.concat([Buffer.from([137, 80, 78, 71, 13, 10, 26, 10]), chunk("IHDR", head),
    chunk("PLTE", Buffer.from([].concat(...palette.map(parts)))), chunk("IDAT", zlib.deflateSync(raw, { level: 9 })),
    chunk("IEND", Buffer.alloc(0))]);
}

(async () => {
  const browser = await puppeteer.launch({ executablePath: chromium, headless: "new",
    args: ["--no-sandbox", "--disable-gpu", "--no-first-run", "--host-resolver-rules=MAP * ~NOTFOUND"] });
  const page = await browser.newPage();
  page.on("pageerror", (e) => { console.error(e.message); process.exitCode = 1; });
  await page.setViewport({ width: 390, height: 900 });
  await page.goto("file://" + path.join(folder, "bench.html"));
  await page.waitForSelector("[data-ready]");
  await page.evaluate(() => document.getElementById("bench-start").click());
  for (const name of ["events.csv", "readings.csv"]) await page.evaluate("bench.takeIn(" + JSON.stringify(text(name)) + ")");
  await page.waitForFunction(() => document.getElementById("bench-fit").dataset.busy === "no");
  await sleep(600);
  await page.evaluate(() => { document.getElementById("bench-told").hidden = true; });
  await shoot(page, "bench-now", "#bench-run h2", "#bench-now", 390);
  await shoot(page, "bench-curves", "#bench-curve", "#bench-advice", 390);
  // a piece rolled too fast, read with the last indentation at its edge
  await page.goto("file://" + path.join(folder, "practice.html"));
  await page.waitForSelector("[data-ready]");
  await page.evaluate(() => {
    const press = (key) => Array.from(document.querySelectorAll("[data-key]")).find((x) => x.dataset.key === key).click();
    const type = (id, text) => { const x = document.getElementById("practice-" + id); x.value = text; x.dispatchEvent(new Event("input")); };
    document.getElementById("practice-start").click();
    press("wear glasses");
    for (const gap of ["1.0", "0.92"]) { type("gap", gap); press("roll"); }
    press("saw");
    press("test A");
    for (let k = 0; k < 3; k++) { press("propose"); press("indent"); }
    type("x", "12"); type("y", "0.8"); press("indent");
  });
  await sleep(300);
  await page.evaluate(() => { document.getElementById("practice-told").hidden = true; });
  await shoot(page, "practice-tester", "#practice-tester h3", "#practice-tester .card > p:last-of-type", 390);
  await page.setViewport({ width: 1000, height: 900 });
  await page.goto("file://" + path.join(folder, "explore.html"));
  await page.waitForFunction(() => !document.getElementById("ready").hidden);
  await shoot(page, "explore-map", "#h-point", "#map", 1000);
  await browser.close();
})();
