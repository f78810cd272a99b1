// Replays logs of a practice page in node: node practice.js CORE.js CORE-API.js PRACTICE-PHYSICS.js CASES.json
// CASES: {data, logs}. Prints for each log the readings of all pieces and what was said.
"use strict";
const fs = require("fs");
const path = require("path");
const [core, api, physics, cases] = process.argv.slice(2).map((file) => path.resolve(file));

const doubles = (text) => {
  const bytes = Buffer.from(text, "base64"), out = [];
  for (let at = 0; at < bytes.length; at += 8) out.push(bytes.readDoubleLE(at));
  return out;
};
const revive = (key, x) => x === null || typeof x !== "object" || Array.isArray(x) ? x :
  typeof x["#doubles"] === "string" ? doubles(x["#doubles"]) :
  typeof x["#double"] === "string" ? doubles(x["#double"])[0] : x;

require(api).load(require(core)).then((own) => {
  const given = JSON.parse(fs.readFileSync(cases, "utf8"), revive);
  const lab = require(physics).bench(own, given.data);
  process.stdout.write(JSON.stringify(given.logs.map((log) => {
    const s = lab.replay(log);
    return { early: [].concat(...s.pieces.map((x) => x.steps.map((y) => y.short))), said: s.events.map((x) => x.said), thick: s.strip.thickness_mm,
             volume: s.strip.thickness_mm * s.strip.width_mm * s.strip.length_mm - s.strip.volume,
             readings: [].concat(...s.pieces.map((x) => x.readings.map((r) => ({ specimen: x.name, step: r.step, reading: r.reading,
               scale: r.scale, value: Number.isFinite(r.value) ? r.value : null, clean: r.clean, factor: r.factor, gap: r.gap, edge: r.edge })))) };
  })));
});
