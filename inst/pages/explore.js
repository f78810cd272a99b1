"use strict";
/* The page of explore_page() (R/pages-explore.R): what is chosen, the numbers of it, and the drawings. All
   hardness comes from SoftannealAPI; nothing is fitted here. */
(async () => {
  const d = page.data, {el, svg, get, text, replace, significant, plain, fixed, parse} = page;
  const api = await SoftannealAPI.load(SoftannealCore);
  const fit = d.fit, unit = fit.scale === "as read" ? "" : " " + fit.scale;
  const at = (name) => d.parameters.term.indexOf(name);
  const worked = fit.par[at("h_worked")], soft = fit.par[at("h_soft")], q = fit.par[at("q_kj_mol")];
  const bare = (par) => ({model: fit.model, growth: fit.growth, par, temp_ref_c: fit.temp_ref_c});
  const clamp = (x, low, high) => Math.min(Math.max(x, low), high);
  const percent = (level) => plain(100 * level) + " %";
  const share = (x) => Number.isNaN(x) ? "\u2013" : fixed(100 * clamp(x, 0, 1), 1) + "\u00a0%";
  const range = (n) => Array.from({length: n}, (_, i) => i);
  const minutes = (t) => plain(t, 3) + " min";
  const degrees = (t) => plain(t) + " \u00b0C";
  // a time at which about this share has softened, within the map
  const timeAt = (temp, softened) => {
    const t = api.timeTo(bare(fit.par), {softening: softened}, [temp]).time_min[0];
    return Number(clamp(Number.isFinite(t) ? t : d.range.time_min[0], ...d.range.reach_min).toPrecision(2));
  };
  const state = {temp: d.start.temp_c, time: timeAt(d.start.temp_c, 0.5), dial: d.scales ? d.scales.dial : null,
                 par: Array.from(fit.par)};

  /* ---- numbers ---- */

  const toDial = (x) => api.convert(x, fit.scale, state.dial, d.scales.table).value;

  // Hardness, its interval and that of a new reading (none for the curve of a fit along logs); softened share
  // (h_worked - H) / (h_worked - h_soft) with the gradient of all three. All parameters are determined.
  const openPoint = (temp, time) => {
    const ask = (what) => api.curveInterval(fit, d.likelihood, temp, time, what), curve = ask(), reading = ask("prediction");
    const h = curve.hardness[0], known = ["h_worked", "h_soft"].every((t) => ["determined", "fixed"].includes(d.parameters.state[at(t)]));
    return {h, curve: [curve.lower[0], curve.upper[0]], reading: d.along ? null : [reading.lower[0], reading.upper[0]],
            x: known ? (worked - h) / (worked - soft) : NaN, part: null, open: curve.lost[0]};
  };
  const pointAt = (temp, time) => {
    if (d.likelihood) return openPoint(temp, time);
    const one = api.hardnessGradient(fit, temp, time), h = one.hardness[0], g = one.gradient[0];
    const drop = worked - soft, x = (worked - h) / drop;
    const slope = g.map((gj, j) => ((j === at("h_worked") ? 1 - x : j === at("h_soft") ? x : 0) - gj) / drop);
    const ends = api.interval(fit, [g, slope], d.level); // both at once: what they cost is the grid of errors
    const curve = [h + ends.lower[0], h + ends.upper[0]];
    let reading = null;
    if (d.components) {
      const p = api.predict(fit, temp, time, {interval: "prediction", level: d.level});
      reading = [p.lower[0], p.upper[0]];
    } else if (!d.along) {
      const own = d.t * Math.sqrt(d.reading_variance);
      reading = [Math.max(h - Math.hypot(h - curve[0], own), 0), h + Math.hypot(curve[1] - h, own)];
    }
    return {h, curve, reading, x, part: [x + ends.lower[1], x + ends.upper[1]]};
  };

  const isOutside = (temp, time) => {
    const [low, high] = d.range.temp_c;
    return temp < low - 1e-9 * Math.abs(low) || temp > high + 1e-9 * Math.abs(high) ||
      time > d.range.time_min[1] * (1 + 1e-9);
  };

  /* ---- drawing ---- */

  const ticksOf = (low, high, most) => {
    const raw = (high - low) / most, size = 10 ** Math.floor(Math.log10(raw));
    const step = size * [1, 2, 5, 10].find((k) => k * size >= raw);
    const out = [];
    for (let k = Math.ceil(low / step - 1e-9); k * step <= high + 1e-9 * step; k++) out.push(k * step);
    return out;
  };
  const logTicks = (low, high, most) => {
    const all = [];
    for (let k = Math.floor(Math.log10(low)); 10 ** k <= high; k++) {
      for (const m of [1, 2, 5]) all.push(m * 10 ** k);
    }
    const inside = all.filter((t) => t >= low * 0.999 && t <= high * 1.001);
    return inside.length <= most ? inside : inside.filter((t) => /^0*[.]?0*1/.test(String(t)));
  };

  // A frame with axes: scales from values to pixels, and the svg to draw into.
  const plot = (id, size) => {
    const width = Math.max(get(id).clientWidth, 200), height = size.height(width);
    const box = {left: size.left || 54, right: width - (size.right || 12), top: 12, bottom: height - 46};
    const x = size.x(box), y = size.y(box);
    const root = svg("svg", {viewBox: `0 0 ${width} ${height}`, width, height, role: "img"});
    const clip = id + "-clip";
    root.append(svg("clipPath", {id: clip}, svg("rect", {
      x: box.left, y: box.top, width: box.right - box.left, height: box.bottom - box.top})));
    const inside = svg("g", {"clip-path": `url(#${clip})`});
    const over = svg("g");
    const axes = () => {
      root.append(svg("path", {class: "axis", d: `M${box.left},${box.top}V${box.bottom}H${box.right}`}));
      x.ticks.forEach((v) => root.append(
        svg("path", {class: "axis", d: `M${x.of(v)},${box.bottom}v5`}),
        svg("text", {x: x.of(v), y: box.bottom + 19, "text-anchor": "middle"}, x.word(v))));
      y.ticks.forEach((v) => root.append(
        svg("path", {class: "axis", d: `M${box.left},${y.of(v)}h-5`}),
        svg("text", {x: box.left - 8, y: y.of(v) + 4.5, "text-anchor": "end"}, y.word(v))));
      root.append(svg("text", {x: (box.left + box.right) / 2, y: height - 6, "text-anchor": "middle"}, size.xWords),
                  svg("text", {x: 0, y: 0, "text-anchor": "middle", transform:
                    `translate(13 ${(box.top + box.bottom) / 2}) rotate(-90)`}, size.yWords));
    };
    return {root, inside, over, box, x, y, width, height, axes};
  };
  const linear = (low, high, from, to, most, word) => ({
    of: (v) => from + (v - low) / (high - low) * (to - from),
    back: (p) => low + (p - from) / (to - from) * (high - low),
    ticks: ticksOf(low, high, most), word: word || ((v) => plain(v))});
  const logarithmic = (low, high, from, to, most) => {
    const l = Math.log(low), h = Math.log(high);
    return {of: (v) => from + (Math.log(v) - l) / (h - l) * (to - from),
            back: (p) => Math.exp(l + (p - from) / (to - from) * (h - l)),
            ticks: logTicks(low, high, most), word: (v) => plain(v, 3)};
  };
  const line = (points) => {
    let out = "", pen = false;
    for (const [x, y] of points) {
      const fine = Number.isFinite(x) && Number.isFinite(y);
      if (fine) out += (pen ? "L" : "M") + x.toFixed(1) + "," + y.toFixed(1);
      pen = fine;
    }
    return out;
  };
  const show = (id, picture, words) => {
    picture.root.setAttribute("aria-label", page.seen(words));
    replace(id, picture.root);
  };

  // Marks of temperatures: shape, dash and colour together.
  const SHAPES = ["M0,-5A5,5 0 1 1 0,5A5,5 0 1 1 0,-5Z", "M0,-6L5.5,4.5H-5.5Z", "M-4.5,-4.5H4.5V4.5H-4.5Z",
                  "M0,-6L6,0L0,6L-6,0Z", "M0,6L5.5,-4.5H-5.5Z", "M-5,-1.7H-1.7V-5H1.7V-1.7H5V1.7H1.7V5H-1.7V1.7H-5Z"];
  const DASHES = ["", "7 4", "2 4", "10 3 2 3", "14 4", "4 2"];
  const colourOf = (k) => d.colours[document.documentElement.dataset.theme === "dark" ? "dark" : "light"][k];
  const kindOf = (temp) => d.temperatures.reduce((best, t, k) =>
    Math.abs(t - temp) < Math.abs(d.temperatures[best] - temp) ? k : best, 0);

  /* ---- map ---- */

  const levels = ticksOf(Math.min(worked, soft), Math.max(worked, soft), 8)
    .filter((h) => Math.abs(h - worked) > 1e-9 && Math.abs(h - soft) > 1e-9);
  let map = null;
  const drawMap = () => {
    const [coldest, hottest] = d.range.reach_c, [shortest, longest] = d.range.reach_min;
    map = plot("map", {
      height: (w) => clamp(0.75 * w, 300, 460), right: 20, xWords: "Temperature (\u00b0C)", yWords: "Time (min)",
      x: (b) => linear(coldest, hottest, b.left, b.right, (b.right - b.left) / 60),
      y: (b) => logarithmic(shortest, longest, b.bottom, b.top, 9)});
    const {box, inside, over, x, y} = map;
    const hatch = svg("pattern", {id: "hatch", width: 9, height: 9, patternUnits: "userSpaceOnUse",
                                  patternTransform: "rotate(45)"},
                      svg("path", {class: "hatch", d: "M0,0V9"}));
    const whole = {x: box.left, y: box.top, width: box.right - box.left, height: box.bottom - box.top};
    map.root.append(svg("defs", null, hatch), inside, over);
    const seen = {x: x.of(d.range.temp_c[0]), y: y.of(d.range.time_min[1]),
                  width: x.of(d.range.temp_c[1]) - x.of(d.range.temp_c[0]),
                  height: box.bottom - y.of(d.range.time_min[1])};
    inside.append(svg("rect", {class: "outside", ...whole}), svg("rect", {fill: "url(#hatch)", ...whole}),
                  svg("rect", {...seen, fill: "var(--ground)"}), svg("rect", {class: "frame", ...seen}));
    const temps = range(121).map((k) => coldest + (hottest - coldest) * k / 120), taken = [];
    for (const h of levels) {
      const times = api.timeTo(bare(fit.par), {hardness: h}, temps).time_min;
      const points = temps.map((t, k) => [x.of(t), y.of(times[k])]);
      inside.append(svg("path", {class: d.likelihood ? "iso open" : "iso", d: line(points)}));
      // the label where the line is inside and no other label stands
      const free = points.filter(([a, b]) => a > box.left + 22 && a < box.right - 22 && b > box.top + 14 &&
        b < box.bottom - 10 && taken.every(([u, v]) => Math.abs(a - u) > 34 || Math.abs(b - v) > 20));
      if (!free.length) continue;
      const middle = box.top + [0.22, 0.5, 0.78][taken.length % 3] * (box.bottom - box.top);
      const [a, b] = free.reduce((best, p) => Math.abs(p[1] - middle) < Math.abs(best[1] - middle) ? p : best);
      taken.push([a, b]);
      over.append(svg("text", {class: "halo", x: a, y: b + 4.5, "text-anchor": "middle"}, plain(h)));
    }
    const c = d.conditions;
    c.temp_c.forEach((t, i) => {
      if (c.time_min[i] > 0) inside.append(svg("circle", {class: "ring", cx: x.of(t), cy: y.of(c.time_min[i]), r: 4}));
    });
    map.here = svg("g");
    map.root.append(map.here);
    map.axes();
    placeHere();
    replace("map", map.root);
  };
  const placeHere = () => {
    const {box, x, y} = map, a = x.of(state.temp), b = y.of(state.time);
    map.here.replaceChildren(
      svg("path", {class: "cross", d: `M${a},${box.top}V${box.bottom}M${box.left},${b}H${box.right}`}),
      svg("path", {class: "here", transform: `translate(${a} ${b})`, d: "M0,-9L9,0L0,9L-9,0Z"}));
    const h = api.hardness(fit, state.temp, state.time)[0];
    map.root.setAttribute("aria-label", page.seen(
      `Map of hardness over temperature and time, with lines of equal hardness at ${levels.map((v) =>
        plain(v)).join(", ")}${unit}; hardness falls towards high temperature and long time. At ` +
      `${degrees(state.temp)} and ${minutes(state.time)}: ${fixed(h, 1)}${unit}, ` +
      `${isOutside(state.temp, state.time) ? "outside" : "inside"} the range of the data.`));
  };
  const press = (e) => {
    if (!(e.buttons & 1)) return;
    const r = map.root.getBoundingClientRect(), k = map.width / r.width;
    const [low, high] = d.range.reach_c, [short, long] = d.range.reach_min;
    state.temp = clamp(Math.round(map.x.back((e.clientX - r.left) * k)), low, high);
    state.time = clamp(Number(map.y.back((e.clientY - r.top) * k).toPrecision(3)), short, long);
    soon(update);
  };
  get("map").addEventListener("pointerdown", press);
  get("map").addEventListener("pointermove", press);

  const mapTable = () => {
    const [coldest, hottest] = d.range.reach_c;
    const temps = range(7).map((k) => Math.round(coldest + (hottest - coldest) * k / 6));
    const times = logTicks(...d.range.reach_min, 12);
    const h = api.hardness(bare(fit.par), times.flatMap(() => temps), times.flatMap((t) => temps.map(() => t)));
    replace("map-table", el("table", null,
      el("caption", null, `Hardness${unit && " (" + fit.scale + ")"}; outside the range of the data in parentheses`),
      el("thead", null, el("tr", null, el("th", {scope: "col"}, "Time (min)"),
                           temps.map((t) => el("th", {scope: "col"}, degrees(t))))),
      el("tbody", null, times.map((time, i) => el("tr", null, el("th", {scope: "row"}, plain(time, 3)),
        temps.map((temp, j) => {
          const word = fixed(h[i * temps.length + j], 1);
          return el("td", null, isOutside(temp, time) ? `(${word})` : word);
        }))))));
  };

  /* ---- the point ---- */

  // Once per picture of the screen, however fast a slider is moved.
  let waiting = 0;
  const soon = (what) => {
    cancelAnimationFrame(waiting);
    waiting = requestAnimationFrame(what);
  };

  const steps = 400;
  const onLog = (low, high) => ({
    put: (v) => Math.round(steps * Math.log(v / low) / Math.log(high / low)),
    get: (k) => Number((low * (high / low) ** (k / steps)).toPrecision(3)), low, high, top: steps, step: 1});
  const onLine = (low, high, step) => ({put: (v) => v, get: (v) => v, low, high, bottom: low, top: high, step});

  // A slider and the field beside it. Typed numbers are kept as typed.
  const control = (id, scale, word, read, write) => {
    const slider = get(id), field = get(id + "-number");
    slider.min = scale.bottom || 0;
    slider.max = scale.top;
    slider.step = scale.step;
    slider.addEventListener("input", () => soon(() => write(scale.get(Number(slider.value)))));
    field.addEventListener("change", () => {
      const x = parse(field.value), fine = x >= scale.low && x <= scale.high;
      field.setAttribute("aria-invalid", String(!fine));
      get("typed-fault").hidden = fine;
      if (fine) write(x); else {
        text("typed-fault", `'${field.value}' is not a number from ${plain(scale.low)} to ${plain(scale.high)}.`);
      }
    });
    return () => {
      const x = read();
      slider.value = scale.put(x);
      slider.setAttribute("aria-valuetext", word(x));
      if (document.activeElement !== field || parse(field.value) !== x) field.value = String(Number(x.toPrecision(6)));
      field.setAttribute("aria-invalid", "false");
    };
  };
  const showTemp = control("temp", onLine(...d.range.reach_c, 1), degrees, () => state.temp,
                           (x) => { state.temp = x; update(); });
  const showTime = control("time", onLog(...d.range.reach_min), minutes, () => state.time,
                           (x) => { state.time = x; update(); });

  const answer = () => {
    const one = pointAt(state.temp, state.time);
    const cell = (x, word) => el("td", {"data-value": x}, word);
    const endsWords = ([low, high], words) => low === 0 && high === Infinity ? "any" : low === 0 ? "at most " + words(high) :
      high === Infinity ? "at least " + words(low) : words(low).replace(/\u00a0%$/, "") + " to " + words(high);
    const ends = (pair, words) => pair ?
      el("td", {"data-lower": pair[0], "data-upper": pair[1]}, d.likelihood ? endsWords(pair, words) :
        words(pair[0]).replace(/\u00a0%$/, "") + " to " + words(pair[1])) :
      el("td", null, "\u2013");
    const tenth = (x) => fixed(x, 1);
    const rows = [["hardness", "Hardness" + (unit && ` (${fit.scale})`), one.h, tenth, one.curve, one.reading]];
    if (state.dial) {
      const all = [one.h, ...one.curve, ...(one.reading || [])], x = toDial(all);
      // ends without a limit stay what they are
      if (d.likelihood) all.forEach((v, k) => { if (k && (v === 0 || v === Infinity)) x[k] = v; });
      const word = (v) => Number.isNaN(v) ? one.open ? "\u2013" : "outside the table" : tenth(v);
      rows.push(["dial", `On the dial (${state.dial})`, x[0], word, x.slice(1, 3), one.reading && x.slice(3, 5)]);
    }
    rows.push(["softened", "Softened share", one.x, share, one.part, null]);
    replace("answer-rows", rows.map(([id, name, x, word, curve, reading], k) =>
      el("tr", {id: "answer-" + id, class: k === 0 && "first"}, el("th", {scope: "row"}, name), cell(x, word(x)),
         ends(curve, word), ends(reading, word))));
    get("open-here").hidden = !one.open;
    const out = isOutside(state.temp, state.time);
    get("outside").hidden = !out;
    text("outside", out ? `Outside the range of the data (${plain(d.range.temp_c[0])} to ` +
      `${plain(d.range.temp_c[1])} \u00b0C, up to ${minutes(d.range.time_min[1])}): the curve is ` +
      "extrapolated, and the intervals do not cover that." : "");
  };
  text("answer-caption", `Intervals: ${percent(d.level)}`);
  replace("answer-head", el("tr", null, el("td", null, ""), ["Value", "Interval of the curve",
    "Interval of a new reading"].map((x) => el("th", {scope: "col"}, x))));

  if (d.scales) {
    replace("dial", d.scales.names.map((name) => el("option", {value: name}, name)));
    get("dial").addEventListener("change", () => { state.dial = get("dial").value; answer(); addition(); });
  } else get("dial-choice").hidden = true;

  const update = () => {
    get("typed-fault").hidden = true;
    showTemp();
    showTime();
    answer();
    placeHere();
  };

  /* ---- n, k, Q against the readings ---- */

  const MOVED = [
    {term: "n", name: "n", unit: "", put: (x) => x, get: (x) => x, low: 0.3, high: 3, log: true},
    {term: "ln_k_ref", name: `k at ${degrees(fit.temp_ref_c)}`, unit: "1/min",
     put: Math.exp, get: Math.log, low: 1 / 20, high: 20, log: true},
    {term: "q_kj_mol", name: "Q", unit: "kJ/mol", put: (x) => x, get: (x) => x, low: 0.4, high: 1.8}];
  const moved = [];
  for (const m of MOVED) {
    const j = at(m.term), fitted = m.put(fit.par[j]), id = "move-" + m.term;
    const low = Number((m.low * fitted).toPrecision(3)), high = Number((m.high * fitted).toPrecision(3));
    const stopped = d.along && m.term === "q_kj_mol";
    get("sliders").append(el("div", {class: "control"},
      el("label", {for: id}, m.name + " ", el("span", {class: "unit"}, m.unit && `(${m.unit}) `,
        `fit: ${significant(fitted, 4)}` + (d.parameters.state[j] === "fixed" ? ", fixed" : ""))),
      el("input", {type: "text", inputmode: "decimal", id: id + "-number", "aria-label": m.name + ", typed",
                   disabled: stopped}),
      el("input", {type: "range", id, disabled: stopped})));
    if (stopped) {
      get("held").hidden = false;
      text("held", "Q stays: the times of this fit are equivalent times of its logs at the fitted Q.");
    }
    moved.push(control(id, m.log ? onLog(low, high) : onLine(low, high, Number(((high - low) / 400).toPrecision(2))),
                       (x) => significant(x) + " " + m.unit,
                       () => m.put(state.par[j]),
                       (x) => { state.par[j] = m.get(x); move(); }));
  }
  get("fitted").addEventListener("click", () => { state.par = Array.from(fit.par); move(); });
  const c = d.conditions, r = d.readings;
  const squaresOf = (par) => {
    const h = api.hardness(bare(par), c.temp_c, c.time_min);
    const residual = r.hardness.map((y, i) => y - h[r.of[i]]);
    const by = residual.map((e, i) => r.weight[i] * e * e);
    return {h, residual, by, sum: by.reduce((a, b) => a + b, 0)};
  };

  // pieces as rolled count as one step where their temperature does not matter yet
  const oneRolled = c.time_min.filter((t) => t === 0).length === 1;
  // Where the mark of each step stands: a step with limits at their bounds.
  const stepValues = () => c.mean.map((mean, i) => c.side && c.side[i] ? c.bound[i] : mean);
  const limited = (c.side || []).filter((s) => s).length;
  get("limit-marks").hidden = !limited;
  const drawCurves = () => {
    const now = squaresOf(state.par), times = c.time_min.filter((t) => t > 0);
    const short = Math.min(...times) / 2, long = Math.max(...times) * 2;
    const all = [...stepValues(), worked, soft], top = Math.max(...all), low = Math.min(...all);
    const picture = plot("curves", {
      height: (w) => clamp(0.72 * w, 300, 440), right: 62, xWords: "Time (min)",
      yWords: "Hardness" + (unit && ` (${fit.scale})`),
      x: (b) => logarithmic(short, long, b.left + 26, b.right, (b.right - b.left) / (long >= 1000 ? 52 : 34)),
      y: (b) => linear(low - 0.06 * (top - low), top + 0.06 * (top - low), b.bottom, b.top, 7)});
    const {inside, over, box, x, y} = picture;
    picture.root.append(inside, over);
    inside.append(svg("path", {class: "faint", d: `M${box.left + 18},${box.top}V${box.bottom}`}));
    const grid = range(101).map((k) => short * (long / short) ** (k / 100));
    const ends = [];
    const changed = state.par.some((v, j) => v !== fit.par[j]);
    d.temperatures.forEach((temp, k) => {
      const path = (par) => {
        const h = api.hardness(bare(par), temp, grid);
        return {d: line(grid.map((t, i) => [x.of(t), y.of(h[i])])), end: y.of(h[h.length - 1])};
      };
      if (changed) inside.append(svg("path", {class: "fit", d: path(fit.par).d}));
      const own = path(state.par);
      inside.append(svg("path", {d: own.d, fill: "none", stroke: colourOf(k), "stroke-width": 2.2,
                                 "stroke-dasharray": DASHES[k % DASHES.length] || null}));
      ends.push({k, temp, y: own.end});
    });
    c.temp_c.forEach((temp, i) => {
      const k = kindOf(temp), a = c.time_min[i] > 0 ? x.of(c.time_min[i]) : box.left + 9;
      // the mean of a step with limits lies where the arrow points
      const side = c.side ? c.side[i] : 0;
      const rolled = oneRolled && c.time_min[i] === 0;
      const mark = side ? `M-5,0H5M0,0V${-16 * side}M-4,${-10 * side}L0,${-16 * side}L4,${-10 * side}` :
        SHAPES[rolled ? 3 : k % SHAPES.length];
      over.append(svg("path", {d: mark, class: side ? "limit" : null,
                               transform: `translate(${a} ${y.of(stepValues()[i])})`,
                               fill: side ? "none" : "var(--ground)", stroke: rolled ? "var(--soft)" : colourOf(k), "stroke-width": 2}));
    });
    // names at the right, moved apart
    ends.sort((a, b) => a.y - b.y).forEach((e, i) => {
      e.y = i ? Math.max(e.y, ends[i - 1].y + 16) : Math.max(e.y, box.top + 6);
    });
    for (let i = ends.length - 1, most = box.bottom; i >= 0; i--) {
      ends[i].y = Math.min(ends[i].y, most);
      most = ends[i].y - 16;
    }
    ends.forEach((e) => over.append(
      svg("path", {d: SHAPES[e.k % SHAPES.length], transform: `translate(${box.right + 9} ${e.y}) scale(0.8)`,
                   fill: "var(--ground)", stroke: colourOf(e.k), "stroke-width": 2}),
      svg("text", {x: box.right + 17, y: e.y + 4.5}, plain(e.temp) + "\u00b0")));
    picture.axes();
    show("curves", picture, `Hardness over time at ${d.temperatures.map(degrees).join(", ")}: means of ` +
      `${c.mean.length} steps${limited ? ` (${limited} with limits, as arrows)` : ""} and the curves of the values chosen; sum of squares ${significant(now.sum, 4)}.`);
  };

  const partsOf = (now) => c.mean.map((mean, i) => {
    const rows = range(r.of.length).filter((j) => r.of[j] === i);
    const sum = rows.reduce((s, j) => s + now.by[j], 0), off = c.weight[i] * (mean - now.h[i]) ** 2;
    return {i, rows, share: sum / now.sum, off: Math.min(off, sum) / now.sum,
            leverage: rows.reduce((s, j) => s + r.leverage[j], 0)};
  });
  const stepWord = (i) => c.time_min[i] > 0 ? `${degrees(c.temp_c[i])}, ${minutes(c.time_min[i])}` :
    oneRolled ? "as rolled" : `${degrees(c.temp_c[i])}, as rolled`;

  const drawParts = (now) => {
    const most = 60, all = partsOf(now);
    const shown = all.length <= most ? all : all.slice().sort((a, b) => b.share - a.share).slice(0, most)
      .sort((a, b) => a.i - b.i);
    const width = Math.max(get("parts").clientWidth, 200), row = 20, top = 26;
    const height = top + row * shown.length + 6;
    const left = 134, gap = 16, right = width - clamp(0.3 * width, 76, 220), end = width - 10;
    const longest = Math.max(...shown.map((p) => p.share)) || 1;
    const bar = (x) => left + x / longest * (right - gap - left), place = (x) => right + clamp(x, 0, 1) * (end - right);
    const root = svg("svg", {viewBox: `0 0 ${width} ${height}`, width, height, role: "img", "aria-label":
      "Share of each step in the sum of squares, and its leverage; the largest share has " +
      stepWord(all.reduce((a, b) => b.share > a.share ? b : a).i) + ` with ${share(longest)}.`});
    root.append(svg("text", {x: left, y: 14}, `Share, to ${share(longest)}`),
                svg("text", {x: end, y: 14, "text-anchor": "end"}, width < 500 ? "Leverage" : "Leverage, 0 to 1"));
    shown.forEach((p, k) => {
      const y = top + row * k, middle = y + row / 2;
      root.append(
        svg("text", {x: left - 8, y: middle + 4.5, "text-anchor": "end"}, stepWord(p.i)),
        svg("rect", {class: "bar-light", x: left, y: y + 4, width: Math.max(bar(p.share) - left, 0), height: row - 8}),
        svg("rect", {class: "bar", x: left, y: y + 4, width: Math.max(bar(p.off) - left, 0), height: row - 8}),
        svg("path", {class: "faint", d: `M${right},${middle}H${end}`}),
        svg("path", {class: "here", transform: `translate(${place(p.leverage)} ${middle}) scale(0.6)`,
                     d: "M0,-9L9,0L0,9L-9,0Z"}));
    });
    root.append(svg("path", {class: "axis", d: `M${left},${top}V${height - 4}`}));
    replace("parts", root, shown.length < all.length &&
      el("p", {class: "soft"}, `The ${most} largest of ${all.length} steps; all stand in the numbers below.`));
  };
  const partsTable = (now) => {
    const most = 300, n = r.of.length, named = r.specimen.some((x) => x);
    const shown = n <= most ? range(n) : range(n).sort((a, b) => now.by[b] - now.by[a]).slice(0, most);
    const scale = unit ? ` (${fit.scale})` : "";
    replace("parts-table", el("table", null,
      el("caption", null, (n <= most ? `${n} readings` : `The ${most} of ${n} readings with the largest ` +
        "share") + "; the curve is that of the values chosen"),
      el("thead", null, el("tr", null, [named && "Specimen", "Temperature (\u00b0C)", "Time (min)", "As read",
        "Hardness" + scale, "Curve" + scale, "Difference", "Share", "Leverage"].filter(Boolean)
        .map((x) => el("th", {scope: "col"}, x)))),
      el("tbody", null, shown.map((j) => [r.of[j], j]).map(([i, j]) => el("tr", null,
        named && el("td", null, r.specimen[j]), el("td", null, plain(c.temp_c[i])), el("td", null, plain(c.time_min[i])),
        el("td", null, plain(r.as_read[j], 5) + " " + (r.scale_read[j] || "")),
        el("td", null, fixed(r.hardness[j], 1)), el("td", null, fixed(now.h[i], 1)),
        el("td", null, fixed(now.residual[j], 1)), el("td", null, fixed(100 * now.by[j] / now.sum, 2) + " %"),
        el("td", null, fixed(r.leverage[j], 3)))))));
  };

  const move = () => {
    get("typed-fault").hidden = true;
    const now = squaresOf(state.par), squared = unit ? unit + "\u00b2" : "";
    moved.forEach((f) => f());
    get("squares").dataset.value = now.sum;
    text("squares", `Sum of squares: ${significant(now.sum, 4)}${squared}. Fit: ${significant(d.squares, 4)}` +
      `${squared}; ${fixed(now.sum / d.squares, 3)} times that.`);
    drawCurves();
    drawParts(now);
    if (get("parts-table").parentElement.open) partsTable(now);
  };
  text("squares-words", d.se === "components" ? "The fit weighs steps by the errors they share (specimen, furnace, " +
    "step), so a slightly smaller sum may stand beside it." : d.loss === "huber" ?
    "The fit bends the squares of outliers (Huber loss), so a smaller plain sum may stand beside it." : d.weighted ? "Readings count by their weights." : "");
  text("leverage-sum", plain(r.leverage.reduce((a, b) => a + b, 0), 3));
  get("parts-table").parentElement.addEventListener("toggle", (e) => {
    if (e.target.open) partsTable(squaresOf(state.par));
  });
  get("map-table").parentElement.addEventListener("toggle", (e) => { if (e.target.open) mapTable(); });

  /* ---- two anneals ---- */

  const T = d.temperatures, [coldest, hottest] = d.range.reach_c;
  const STEPS = [
    {id: "temp-1", word: "First: temperature (\u00b0C)", value: Math.round(T[Math.floor((T.length - 1) / 3)]),
     low: coldest, high: hottest},
    {id: "time-1", word: "First: time (min)", value: null, low: 0.01, high: 10 * d.range.reach_min[1]},
    {id: "temp-2", word: "Second: temperature (\u00b0C)", value: Math.round(T[Math.ceil(2 * (T.length - 1) / 3)]),
     low: coldest, high: hottest},
    {id: "time-2", word: "Second: time (min)", value: null, low: 0.01,
     high: 10 * d.range.reach_min[1]},
    {id: "dip", word: "Door: fall of temperature (\u00b0C)", value: 0, low: 0, high: 300},
    {id: "back", word: "Door: back after (min)", value: 2, low: 0.01, high: 1000}];
  STEPS[1].value = timeAt(STEPS[0].value, 0.35);
  STEPS[3].value = timeAt(STEPS[2].value, 0.35);
  const chosen = {};
  for (const s of STEPS) {
    chosen[s.id] = s.value;
    const field = el("input", {type: "text", inputmode: "decimal", id: "step-" + s.id, value: String(s.value)});
    field.addEventListener("change", () => {
      const x = parse(field.value), fine = x >= s.low && x <= s.high;
      field.setAttribute("aria-invalid", String(!fine));
      get("steps-fault").hidden = fine;
      text("steps-fault", fine ? "" : `${s.word}: '${field.value}' is not a number from ${plain(s.low)} to ` +
        `${plain(s.high, 6)}.`);
      if (fine) { chosen[s.id] = x; addition(); }
    });
    get("steps").append(el("div", null, el("label", {for: "step-" + s.id}, s.word), field));
  }

  // The second step from its own start: door open at once, back along a line.
  const secondStep = () => {
    const long = 60 * chosen["time-2"], back = 60 * chosen.back, target = chosen["temp-2"], dip = chosen.dip;
    if (dip === 0) return {time_s: [0, long], temp_c: [target, target]};
    if (back >= long) return {time_s: [0, long], temp_c: [target - dip, target - dip * (1 - long / back)]};
    return {time_s: [0, back, long], temp_c: [target - dip, target, target]};
  };
  const addition = () => {
    const t1 = chosen["time-1"], first = chosen["temp-1"], target = chosen["temp-2"], second = secondStep();
    const history = {time_s: [0, 60 * t1, ...second.time_s.map((t) => t + 60 * t1)],
                     temp_c: [first, first, ...second.temp_c]};
    const end = history.time_s[history.time_s.length - 1];
    const marks = range(241).map((k) => k === 240 ? end : end * k / 240);
    const along = api.alongHistory(fit, history, marks), last = marks.length - 1;
    const step1 = api.alongHistory(fit, {time_s: [0, 60 * t1], temp_c: [first, first]}, [60 * t1]);
    const as1 = api.equivalentTime({time_s: [0, 60 * t1], temp_c: [first, first]}, q, target);
    const as2 = api.equivalentTime(second, q, target);
    const h = along.hardness[last], g = along.gradient[last];
    const variance = g.reduce((s, gj, j) => s + gj * g.reduce((u, gl, l) => u + gl * d.cov_full[j][l], 0), 0);
    const half = d.likelihood ? NaN : d.t * Math.sqrt(Math.max(variance, 0)), ends = [h - half, h + half];
    const one = (x) => fixed(x, 1) + unit;
    text("add-words", `The first step leaves ${one(step1.hardness[0])}, ${share(step1.softening[0])} softened: as much ` +
      (d.one_clock ? "" : "recrystallisation ") + `as ${minutes(as1)} at ${degrees(target)}. The second counts as ` +
      minutes(as2) + (chosen.dip > 0 ? ` there (the door costs ${minutes(Math.max(chosen["time-2"] - as2, 0))})` : "") +
      `, together ${minutes(as1 + as2)}` + (d.one_clock ? `, and ${minutes(as1 + as2)} at ${degrees(target)} alone give ` +
      `${one(api.hardness(fit, target, as1 + as2)[0])}.` :
      ". The other processes of this model have times of their own."));
    const box = get("add-end");
    box.dataset.value = h;
    box.dataset.lower = ends[0];
    box.dataset.upper = ends[1];
    const dial = state.dial ? toDial([h])[0] : NaN;
    replace("add-end", el("strong", null, `After both: ${one(h)}`), (d.likelihood ? " (without interval: something is open)" :
      ` (${percent(d.level)} interval of the curve ${fixed(ends[0], 1)} to ${fixed(ends[1], 1)})`) + `, ${share(along.softening[last])} softened` +
      (state.dial ? Number.isNaN(dial) ? `; outside the table of ${state.dial}.` : `; ${fixed(dial, 1)} ${state.dial} on the dial.` : "."));
    const hot = Math.max(...history.temp_c), begun = Math.abs(worked - h) > 0.01 * Math.abs(worked - soft);
    const out = hot > d.reach.hottest_c[1] + 1e-9 || Math.log(along.theta[last]) > d.reach.ln_theta + 1e-9 ||
      begun && hot < d.reach.hottest_c[0] - 1e-9;
    get("add-outside").hidden = !out;
    text("add-outside", out ? "Outside the range of the data (hotter, further softened, or softened at lower " +
      "temperatures than any reading): the curve is extrapolated." : "");
    drawHistory(history, marks, along, t1 - as1, target, chosen["time-2"] - as2);
  };

  const drawHistory = (history, marks, along, from, target, cost) => {
    const whole = history.time_s[history.time_s.length - 1] / 60;
    const start = d.one_clock ? clamp(Math.min(from, 0), -whole, 0) : 0;
    const lowT = Math.min(...history.temp_c), highT = Math.max(...history.temp_c), room = Math.max(highT - lowT, 20);
    const sizes = {left: 54, right: 14, xWords: "Time (min)"};
    const axis = (b) => linear(start, whole, b.left, b.right, (b.right - b.left) / 60);
    const top = plot("history", {...sizes, height: () => 170, yWords: "\u00b0C", x: axis,
      y: (b) => linear(lowT - 0.15 * room, highT + 0.15 * room, b.bottom, b.top, 4)});
    top.root.append(top.inside);
    top.inside.append(svg("path", {d: line(history.time_s.map((t, k) => [top.x.of(t / 60), top.y.of(history.temp_c[k])])),
                                   fill: "none", stroke: "var(--ink)", "stroke-width": 2}));
    top.axes();
    const drop = Math.abs(worked - soft), low = plot("history", {...sizes, height: () => 250,
      yWords: "Hardness" + (unit && ` (${fit.scale})`), x: axis,
      y: (b) => linear(Math.min(worked, soft) - 0.05 * drop, Math.max(worked, soft) + 0.05 * drop, b.bottom, b.top, 5)});
    low.root.querySelector("clipPath").id = "history-low-clip";
    low.inside.setAttribute("clip-path", "url(#history-low-clip)");
    low.root.append(low.inside);
    const points = marks.map((t, k) => [low.x.of(t / 60), low.y.of(along.hardness[k])]);
    low.inside.append(svg("path", {d: line(points), fill: "none", stroke: "var(--ink)", "stroke-width": 2.4}));
    if (d.one_clock) {
      const times = range(121).map((k) => Math.max(start - from, 0) + (whole - Math.max(from, start)) * k / 120);
      const h = api.hardness(bare(fit.par), target, times);
      low.inside.append(svg("path", {d: line(times.map((t, k) => [low.x.of(from + t), low.y.of(h[k])])), fill: "none",
                                     stroke: "var(--accent)", "stroke-width": 2.4, "stroke-dasharray": "7 5"}));
    }
    low.axes();
    top.root.setAttribute("aria-label", `Temperature over time: ${degrees(history.temp_c[0])}, then ${degrees(target)}` +
      (chosen.dip > 0 ? `, with a fall of ${degrees(chosen.dip)} as the door opens` : "") + ".");
    low.root.setAttribute("aria-label", page.seen(`Hardness along both steps, down to ` +
      `${fixed(along.hardness[along.hardness.length - 1], 1)}${unit}` + (d.one_clock ?
        `; dashed: the curve of ${degrees(target)} alone, on which the second step runs.` : ".")));
    replace("history", top.root, low.root, el("p", {class: "soft"}, d.one_clock ?
      `Full line: along both steps. Dashed: ${degrees(target)} alone, placed so that it has softened as much at the ` +
      "change; " + (chosen.dip > 0 ? `the second step ends ${minutes(Math.max(cost, 0))} behind it, which the open door costs.` :
        "the second step runs along it.") :
      "Full line: along both steps."));
  };

  /* ---- a history drawn or typed ---- */

  const DRAWN = 80; // pieces of the time that drawing fills
  const middle = d.start.temp_c, usual = timeAt(middle, 0.6);
  const doorAt = (t) => [0.45, 0.5, 0.65].map((x) => Number((x * t).toPrecision(3)));
  const [a0, a1, a2] = doorAt(usual);
  const begun = [[0, middle], [a0, middle], [a1, Math.max(middle - 60, coldest)], [a2, middle], [usual, middle]];
  let own = begun.map((p) => p.slice());
  const pointsWords = (p) => p.map(([t, c]) => plain(t, 4) + " " + plain(c, 4)).join("; ");
  // Points as typed, "0 330; 10 330": null with what is wrong otherwise.
  const pointsOf = (typed) => {
    const p = typed.split(/[;\n]+/).map((x) => x.trim()).filter(Boolean).map((x) => x.split(/\s+/).map(parse));
    const wrong = p.findIndex((x, k) => x.length !== 2 || !(x[0] >= 0 && x[0] <= 100 * d.range.reach_min[1]) ||
      !(x[1] >= coldest - 300 && x[1] >= -273 && x[1] <= hottest) || (k ? x[0] < p[k - 1][0] : x[0] !== 0));
    return p.length < 2 ? "Two points at least are needed." : wrong >= 0 ? `Point ${wrong + 1} is not a time that does not fall, from ` +
      `0 on, and a temperature up to ${plain(hottest)} \u00b0C.` : p[p.length - 1][0] > 0 ? p : "The last time must be above 0.";
  };
  const valueAt = (p, t) => {
    const k = p.findIndex((x) => x[0] >= t);
    if (k <= 0) return p[k < 0 ? p.length - 1 : 0][1];
    const [a, b] = [p[k - 1], p[k]];
    return b[0] === a[0] ? b[1] : a[1] + (b[1] - a[1]) * (t - a[0]) / (b[0] - a[0]);
  };
  let drawnPlot = null, stroke = null;
  const drawn = (typing) => {
    const history = {time_s: own.map((p) => 60 * p[0]), temp_c: own.map((p) => p[1])}, end = history.time_s[own.length - 1];
    const marks = range(241).map((k) => k === 240 ? end : end * k / 240), along = api.alongHistory(fit, history, marks), last = 240;
    const as = api.equivalentTime(history, q, middle), ends = d.likelihood ? api.historyInterval(fit, d.likelihood, history) : null;
    const h = ends ? ends.hardness : along.hardness[last], known = !Number.isNaN(h);
    if (!typing) get("points").value = pointsWords(own);
    Object.assign(get("drawn-end").dataset, {value: h}, ends ? {lower: ends.lower, upper: ends.upper} : {});
    const dial = state.dial && known ? toDial([h])[0] : NaN;
    const reach = ends && (ends.lower === 0 && ends.upper === Infinity ? "any hardness" : ends.lower === 0 ? `at most ${fixed(ends.upper, 1)}${unit}` :
      ends.upper === Infinity ? `at least ${fixed(ends.lower, 1)}${unit}` : `${fixed(ends.lower, 1)} to ${fixed(ends.upper, 1)}${unit}`);
    const told = known ? fixed(h, 1) + unit : reach;
    replace("drawn-end", el("strong", null, `At its end: ${told}`), (state.dial && !Number.isNaN(dial) ? ` (${fixed(dial, 1)} ${state.dial} on the dial)` : "") +
      (ends ? known ? `, ${percent(d.level)} interval ${reach}` : ` (${percent(d.level)} interval; no value in it is better than another)` :
        `, ${share(along.softening[last])} softened`) +
      `. ${d.one_clock ? "The history" : "Its recrystallisation"} counts as ${minutes(as)} at ${degrees(middle)}` +
      (ends ? " with the Q of the fit; the curve drawn leans on what is open." : "."));
    const hot = Math.max(...history.temp_c), out = hot > d.reach.hottest_c[1] + 1e-9 || Math.log(along.theta[last]) > d.reach.ln_theta + 1e-9;
    get("drawn-outside").hidden = !out;
    const whole = end / 60, axis = (b) => linear(0, whole, b.left, b.right, (b.right - b.left) / 60), sizes = {left: 54, right: 14, xWords: "Time (min)"};
    drawnPlot = plot("drawn", {...sizes, height: () => 220, yWords: "\u00b0C", x: axis,
      y: (b) => linear(Math.min(coldest, ...history.temp_c), hottest, b.bottom, b.top, 5)});
    drawnPlot.root.append(drawnPlot.inside);
    drawnPlot.inside.append(svg("path", {d: line(own.map((p) => [drawnPlot.x.of(p[0]), drawnPlot.y.of(p[1])])), fill: "none",
                                         stroke: "var(--accent)", "stroke-width": 2.4}));
    drawnPlot.axes();
    drawnPlot.root.setAttribute("aria-label", page.seen(`Temperature over time: ${pointsWords(own)} (minutes and degrees Celsius).`));
    const low = plot("drawn", {...sizes, height: () => 220, yWords: "Hardness" + (unit && ` (${fit.scale})`), x: axis,
      y: (b) => linear(Math.min(worked, soft) - 0.05 * Math.abs(worked - soft), Math.max(worked, soft) + 0.05 * Math.abs(worked - soft), b.bottom, b.top, 5)});
    low.root.querySelector("clipPath").id = "drawn-low-clip";
    low.inside.setAttribute("clip-path", "url(#drawn-low-clip)");
    low.root.append(low.inside);
    low.inside.append(svg("path", {d: line(marks.map((t, k) => [low.x.of(t / 60), low.y.of(along.hardness[k])])), fill: "none",
                                   stroke: "var(--ink)", "stroke-width": 2.4}));
    low.axes();
    low.root.setAttribute("aria-label", page.seen(`Hardness along it, down to ${told}.`));
    replace("drawn", drawnPlot.root, low.root);
  };
  const drawOn = (e) => {
    if (!(e.buttons & 1) || !drawnPlot) { stroke = null; return; }
    const r = drawnPlot.root.getBoundingClientRect(), k = drawnPlot.width / r.width;
    if (e.type === "pointerdown" && e.clientY > r.bottom) return;
    const whole = own[own.length - 1][0];
    const here = [clamp(drawnPlot.x.back((e.clientX - r.left) * k) / whole, 0, 1) * DRAWN,
                  clamp(Math.round(drawnPlot.y.back((e.clientY - r.top) * k)), coldest, hottest)];
    const from = stroke || here, low = Math.min(from[0], here[0]), high = Math.max(from[0], here[0]);
    const grid = range(DRAWN + 1).map((i) => {
      if (i < Math.round(low) || i > Math.round(high)) return valueAt(own, whole * i / DRAWN);
      const part = high === low ? 1 : clamp((i - from[0]) / (here[0] - from[0]), 0, 1);
      return from[1] + (here[1] - from[1]) * part;
    });
    stroke = here;
    // points within a line are left out
    own = grid.map((c, i) => [Number((whole * i / DRAWN).toPrecision(4)), Math.round(c)])
      .filter((p, i, all) => i === 0 || i === DRAWN || Math.abs(all[i - 1][1] + all[i + 1][1] - 2 * p[1]) > 0.5);
    get("points").setAttribute("aria-invalid", "false");
    get("points-fault").hidden = true;
    soon(() => drawn());
  };
  get("drawn").addEventListener("pointerdown", drawOn);
  get("drawn").addEventListener("pointermove", drawOn);
  get("points").addEventListener("change", () => {
    const p = pointsOf(get("points").value), fine = Array.isArray(p);
    get("points").setAttribute("aria-invalid", String(!fine));
    get("points-fault").hidden = fine;
    text("points-fault", fine ? "" : p);
    if (fine) { own = p; drawn(true); }
  });
  get("points-anew").addEventListener("click", () => { own = begun.map((p) => p.slice()); drawn(); });
  get("points-plain").addEventListener("click", () => { const t = own[own.length - 1][0]; own = [[0, middle], [t, middle]]; drawn(); });

  /* ---- the fit in numbers ---- */

  text("model-words", `Model: ${d.model}.`);
  get("open-words").hidden = !d.open_words.length;
  text("open-words", d.open_words.map((x) => x.replace(/[^.]$/, "$&.")).join(" ") + (d.likelihood ? " Lines of the map that lean on what is open are dashed; the curves drawn " +
    "are those of the lowest sum of squares." : ""));
  const isOpen = (j) => ["only an upper limit", "only a lower limit", "not determined"].includes(d.parameters.state[j]);
  const stateWords = (j) => {
    const word = d.parameters.state[j], [low, high] = d.parameters.limits[j] || [null, null];
    return word === "only an upper limit" ? "at most " + significant(high, 3) : word === "only a lower limit" ? "at least " + significant(low, 3) :
      word === "determined" ? significant(Math.sqrt(d.cov_full[j][j]), 2) : word;
  };
  replace("parameters", el("thead", null, el("tr", null, ["Parameter", "Estimate", "Standard error", "Meaning"]
    .map((x) => el("th", {scope: "col", class: x === "Meaning" && "words"}, x)))), el("tbody", null, d.parameters.term.map((term, j) => el("tr", null,
    el("th", {scope: "row"}, d.parameters.label[j]), el("td", null, isOpen(j) ? `(${significant(fit.par[j], 4)})` : significant(fit.par[j], 4)),
    el("td", null, stateWords(j)),
    el("td", {class: "words"}, d.parameters.meaning[j] || "")))));
  text("numbers-words", `Rates at ${degrees(fit.temp_ref_c)}. ${r.of.length} readings of ${c.mean.length} temperatures ` +
    "and times. The fit has one curve for each temperature, so that all readings count as of one cold reduction; a fit with " +
    "several (strains) has one for each reduction too, and is shown by predict() and plot() in R, not here. " +
    "Computed in this page by the compiled code of the R package softanneal; nothing is sent or stored.");

  /* ---- start, and anew when the page changes its width or dress ---- */

  const all = () => { drawMap(); update(); move(); addition(); drawn(); };
  get("wait").hidden = true;
  get("ready").hidden = false;
  all();
  let width = document.documentElement.clientWidth;
  window.addEventListener("resize", () => {
    if (document.documentElement.clientWidth === width) return;
    width = document.documentElement.clientWidth;
    soon(all);
  });
  document.addEventListener("page-dress", all);
})();
