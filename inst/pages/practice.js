"use strict";
/* The practice page: buttons for the acts, the clock, and what they have done as practice-physics.js computes it.
   The log of acts is all there is to keep; everything else follows from it. */
const practice = (() => {
  const d = page.data, el = page.el, place = "softanneal-practice/" + d.run;
  const GEAR = { glasses: "safety glasses", shield: "face shield", gloves: "heat gloves and tongs" };
  const USED_UP = "The time is used up: take out what is in, shut the doors, save the files.";
  const SPEEDS = [0, 1, 10, 60, 600];
  const draft = { gap: "", length: "30", wait: "5", piece: "", x: "", y: "", note: "", answers: {} };
  let log = [], api = null, lab = null, s = null, pending = null, sure = false, kept = "";
  const clock = { sim: 0, speed: 0, real: 0 };

  /* ---- the clock: stands until it is set going, and runs as in life while a door is open ---- */

  const speed = () => s && s.open.some((x) => x) ? 1 : clock.speed;
  function advance() {
    const real = Date.now();
    clock.sim += Math.min(Math.max(real - clock.real, 0), 2000) / 1000 * speed();
    clock.real = real;
    return clock.sim;
  }
  const two = (x) => String(x).padStart(2, "0");
  const span = (sec) => {
    const t = Math.max(0, Math.floor(sec));
    return Math.floor(t / 3600) + ":" + two(Math.floor(t / 60) % 60) + ":" + two(t % 60);
  };
  const left = () => d.budget_s - clock.sim;

  /* ---- acts ---- */

  function keep() {
    try {
      localStorage.setItem(place, JSON.stringify({ log, sim: clock.sim, answers: draft.answers }));
      kept = "Saved in this browser, " + log.length + " acts.";
    } catch (e) {
      kept = "";
      page.text("practice-store", "This browser does not save this page: save the files before it is closed.");
      page.get("practice-store").hidden = false;
    }
  }
  function enter(kind, more) {
    const t = Math.max(Math.round(advance()), s.end);
    log = log.concat([Object.assign({ t, kind }, more)]);
    s = lab.replay(log);
    clock.sim = Math.max(t + lab.seconds[kind], s.end);
    keep();
    tell(kind === "begin" || kind === "wear" ? "" : s.events[s.events.length - 1].said + ".");
    show();
  }
  function tell(text) {
    page.text("practice-told", text);
    page.get("practice-told").hidden = !text;
  }

  /* What an act needs, and what happens without: the caution comes first. */
  const HURT = { glasses: "an eye is hurt by a splinter", gloves: "a hand is burned", shield: "the face is burned at the open door",
                 bare: "a glove is drawn into the rolls", hot: "a hand is burned on the hot piece" };
  function faults(what, piece) {
    const on = (x) => s.wears.includes(x), out = [];
    if (["roll", "saw", "read"].includes(what) && !on("glasses")) out.push("glasses");
    if (what === "roll" && on("gloves")) out.push("bare");
    if (what === "furnace") ["gloves", "shield"].forEach((x) => { if (!on(x)) out.push(x); });
    if (piece && lab.tempOf(piece, s.doors, Math.max(clock.sim, s.end)) > 60) {
      if (what === "read") out.push("hot");
      if (what === "touch" && !on("gloves")) out.push("gloves");
    }
    return out;
  }
  function guarded(what, piece, kind, more) {
    if (left() <= 0 && !["out", "open", "shut", "probe"].includes(kind)) {
      tell(USED_UP);
      return;
    }
    const missing = faults(what, piece);
    if (!missing.length) { enter(kind, more); return; }
    pending = { what, piece, kind, more, missing, key: focused() };
    const wanted = missing.map((x) => x === "bare" ? "take the gloves off, which the rolls draw in" :
      x === "hot" ? "wait: this piece is hot, and a hot piece is never tested" : "put on " + GEAR[x]);
    page.text("practice-guard-why", "Before this act: " + wanted.join("; ") + ".");
    const of = { roll: "roll", saw: "saw", furnace: "furnace", touch: "hot", read: "read" };
    page.get("practice-guard-list").replaceChildren(...d.cautions[of[what]].concat(missing.includes("hot") ? d.cautions.hot : [])
      .map((t) => el("li", null, t)));
    page.get("practice-guard-choice").replaceChildren(el("span", { class: "buttons" },
      missing.includes("hot") ? null : button("guard do", "Do that, then go on", () => { settle("right"); }, { class: "main" }),
      button("guard leave", "Leave it", () => { settle("leave"); }), button("guard careless", "Go on all the same", () => { settle("careless"); })));
    page.get("practice-guard").hidden = false;
    page.get("practice-guard").querySelector("button").focus();
  }
  const focused = () => document.activeElement && document.activeElement.getAttribute("data-key");
  const toFocus = (key) => { const x = Array.from(document.querySelectorAll("[data-key]")).find((y) => y.getAttribute("data-key") === key); if (x) x.focus(); };
  function settle(choice) {
    const p = pending;
    pending = null;
    page.get("practice-guard").hidden = true;
    toFocus(p.key); /* back to where the act was asked for; what follows keeps it */
    if (choice === "right") {
      const wears = s.wears.filter((x) => !(x === "gloves" && p.missing.includes("bare")));
      enter("wear", { wears: wears.concat(p.missing.filter((x) => x in GEAR)) });
      guarded(p.what, p.piece, p.kind, p.more);
    } else if (choice === "careless") {
      enter("hurt", { what: p.missing.map((x) => HURT[x]).join("; ") });
      tell("In a room, " + HURT[p.missing[0]] + ": work stops, first aid, report to whoever is in charge. 20 min are gone, the act is not done. " +
        "What was in a furnace stayed in.");
    } else tell("Left.");
  }

  /* ---- what is shown ---- */

  const button = (key, text, act, more) => el("button", Object.assign({ type: "button", "data-key": key, onclick: act }, more), text);
  const field = (id, label, name, more) => {
    const input = el("input", Object.assign({ type: "text", inputmode: "decimal", autocomplete: "off", id: "practice-" + id, "data-key": id,
      oninput: (e) => { draft[name] = e.target.value; if (name === "x" || name === "y") aim(); } }, more));
    input.value = draft[name];
    return el("div", null, el("label", { for: "practice-" + id }, label), input);
  };
  const hints = (x) => el("details", null, el("summary", null, "Cautions for this act"), el("ul", null, x.map((t) => el("li", null, t))));
  const live = (write) => { const node = el("span", null, write()); node.practiceLive = write; node.classList.add("live"); return node; };
  const number = (text, what, low, high) => {
    const x = page.parse(text);
    if (Number.isFinite(x) && x > low && x <= high) return x;
    tell(what + " must be a number above " + low + " and up to " + page.plain(high) + ", such as 1,25 or 1.25.");
    return null;
  };
  const form = (act, ...parts) => el("form", { novalidate: true, onsubmit: (e) => { e.preventDefault(); act(); } }, ...parts);
  const submit = (key, text) => el("button", { type: "submit", class: "main", "data-key": key }, text);
  const furnaceName = (k) => "furnace " + (k + 1) + " (" + page.plain(d.temps[k]) + " \u00b0C)";

  function clockCard() {
    return [
      el("p", { class: "clock" }, live(() => span(clock.sim))),
      el("p", null, live(() => (left() > 0 ? span(left()) + " left of " + page.plain(d.budget_s / 3600) + " h" : "The time is used up") +
        (s.open.some((x) => x) ? "; a door is open, the clock runs as in life" : clock.speed ? "; runs " + clock.speed + " times as fast as life" : "; stands"))),
      el("div", { class: "buttons", role: "group", "aria-label": "Speed of the clock" }, SPEEDS.map((x) =>
        button("speed " + x, x ? "\u00d7 " + x : "Stop", () => { advance(); clock.speed = x; show(); }, { "aria-pressed": String(clock.speed === x) }))),
      form(() => { const x = number(draft.wait, "The wait in min", 0, 1000);
        if (x !== null) { advance(); clock.sim = Math.max(clock.sim, s.end) + 60 * x; keep(); tell(page.plain(x) + " min later." + (left() <= 0 ? " " + USED_UP : "")); show(); } },
      field("wait", "Wait (min)", "wait"), submit("wait go", "Wait")),
      el("div", { class: "buttons wears", role: "group", "aria-label": "Protection worn" }, Object.keys(GEAR).map((x) =>
        button("wear " + x, GEAR[x], () => enter("wear", { wears: s.wears.includes(x) ? s.wears.filter((y) => y !== x) : s.wears.concat([x]) }),
          { "aria-pressed": String(s.wears.includes(x)) }))),
      el("p", { class: "soft" }, kept + (s.hurts ? " Accidents: " + s.hurts + "." : ""))];
  }

  function stripCards() {
    const m = s.measured[s.measured.length - 1];
    return [el("div", { class: "card" }, el("h3", null, "Strip, " + s.strip.passes + " passes"),
      el("p", null, m ? "Measured after pass " + m.pass + ": " + m.thickness_mm.toFixed(2) + " mm thick, " + m.width_mm.toFixed(2) + " mm wide, " +
        m.length_mm.toFixed(1) + " mm long." : "Annealed, " + page.plain(d.strip.thickness_mm) + " mm thick by its label. Not measured yet: measure before the first pass and after each."),
      el("p", { class: "hint" }, "Rolls draw in: glasses on, gloves off, fingers and sleeves away from the gap. Roll to " + page.plain(d.rolled_mm) +
        " mm in several passes; the rolls spring back a little."),
      form(() => { const x = number(draft.gap, "The gap in mm", 0, d.strip.thickness_mm); if (x !== null) guarded("roll", null, "roll", { gap_mm: x }); },
        field("gap", "Gap of the rolls (mm)", "gap"), submit("roll", "One pass")),
      button("measure", "Measure the strip", () => guarded("measure", null, "measure", {})), hints(d.cautions.roll)),
    el("div", { class: "card" }, el("h3", null, "Saw"),
      el("p", null, s.pieces.length + " of " + d.max_specimens + " pieces sawn" + (s.strip.length_mm < 12 ? "; no strip is left" : "") + "."),
      el("p", { class: "hint" }, "Glasses on; clamp the strip; let the cut cool and deburr it."),
      form(() => { const x = number(draft.length, "The length in mm", 5, 500); if (x !== null) guarded("saw", null, "saw", { length_mm: x }); },
        field("length", "Length of a piece (mm)", "length"), submit("saw", "Saw off")), hints(d.cautions.saw))];
  }

  function furnaceCards() {
    return d.temps.map((set, k) => {
      const inside = s.pieces.filter((x) => x.inside === k), outside = s.pieces.filter((x) => x.inside === null), open = s.open[k];
      return el("div", { class: "card hot" }, el("h3", null, "Furnace " + (k + 1) + ", set to " + page.plain(set) + " \u00b0C"),
        el("p", null, "Shows ", live(() => Math.round(lab.furnaceAt(k, s.doors, clock.sim, 0)) + " \u00b0C"), "; door " + (open ? "OPEN" : "shut") + "; in it: " +
          (inside.map((x) => x.name).join(", ") || "nothing") + "."),
        el("p", { class: "hint" }, "HOT: face shield, gloves, tongs. Everything ready before opening; the door is never left open."),
        el("div", { class: "buttons" }, open ? button("door " + k, "Shut the door", () => guarded("furnace", null, "shut", { furnace: k }), { class: "main" }) :
          button("door " + k, "Open the door", () => guarded("furnace", null, "open", { furnace: k })),
        open ? outside.map((x) => button("in " + x.name + " " + k, "Put in " + x.name, () => guarded("furnace", null, "in", { piece: x.name, furnace: k }))) : null,
        open ? inside.map((x) => [button("block " + x.name, x.name + " out, to the block", () => guarded("furnace", null, "out", { piece: x.name, to: "block" })),
          button("air " + x.name, x.name + " out, to air", () => guarded("furnace", null, "out", { piece: x.name, to: "air" }))]).flat() : null),
        hints(d.cautions.furnace));
    });
  }

  function pieceCards() {
    if (!s.pieces.length) return [el("p", null, "No piece yet: roll, measure, saw.")];
    return s.pieces.map((x) => {
      const step = x.steps[x.steps.length - 1], before = Array.from(new Set(x.steps.map((y) => y.furnace)));
      const where = x.inside !== null ? () => "In " + furnaceName(x.inside) + " for " + span(clock.sim - step.in_s) :
        step ? () => "Out of " + furnaceName(step.furnace) + " since " + span(clock.sim - step.out_s) + ", " + (x.legs[x.legs.length - 1].rest === "block" ? "on the steel block" : "in air") :
          () => "As rolled";
      const probe = x.probes[x.probes.length - 1];
      return el("div", { class: "card" + (x.inside !== null ? " hot" : "") }, el("h3", null, "Piece " + x.name), el("p", null, live(where), "."),
        step ? el("p", null, "Steps: " + x.steps.map((y) => page.plain(d.temps[y.furnace]) + " \u00b0C " + (Number.isFinite(y.out_s) ? span(y.out_s - y.in_s) : "running")).join("; ") +
          (step.time_min > 0 ? ". At temperature " + page.significant(step.time_min) + " min in all, heat-up not counted." : ".")) : null,
        step && step.short ? el("p", { class: "remark" }, "Taken out before it was at temperature: the step counts for nothing as time at temperature. The file of events has what it saw.") : null,
        before.length > 1 ? el("p", { class: "remark" }, "This piece was in furnaces of different temperatures: it belongs on no curve of one temperature.") : null,
        probe && step && probe.t > step.out_s ? el("p", null, "Contact thermometer: " + probe.temp_c + " \u00b0C.") : null,
        x.inside === null ? el("div", { class: "buttons" },
          button("test " + x.name, "To the tester", () => { draft.piece = x.name; show(); }),
          step ? button("probe " + x.name, "Contact thermometer", () => guarded("touch", x, "probe", { piece: x.name })) : null) : null,
        step && x.inside === null ? el("p", { class: "hint" }, "It does not glow and may be hot.") : null);
    });
  }

  /* ---- the tester and the strip drawn to scale ---- */

  const tested = () => s.pieces.find((x) => x.name === draft.piece && x.inside === null);
  function drawing(x) {
    const pad = 3, wide = x.length_mm + 2 * pad, high = x.width_mm + 2 * pad + 6;
    const g = page.svg("svg", { class: "strip", viewBox: "0 0 " + wide + " " + high, role: "img", id: "practice-strip-drawn",
      "aria-label": "Piece " + x.name + " to scale, " + page.plain(x.length_mm) + " mm by " + page.plain(x.width_mm) + " mm, with " + x.readings.length + " indentations" });
    g.append(page.svg("rect", { class: "metal", x: pad, y: pad, width: x.length_mm, height: x.width_mm, "stroke-width": 0.2 }));
    if (x.crack_mm > 0) [pad, pad + x.width_mm - x.crack_mm].forEach((y) => g.append(page.svg("rect", { class: "crack", x: pad, y, width: x.length_mm, height: x.crack_mm })));
    x.readings.forEach((r) => g.append(page.svg("circle", { class: "dent", cx: pad + r.x, cy: pad + x.width_mm - r.y, r: d.spacing.diameter_mm / 2, "stroke-width": 0.1 })));
    g.append(page.svg("path", { class: "aim", id: "practice-aim", "stroke-width": 0.25 }),
      page.svg("path", { class: "bar", "stroke-width": 0.3, d: "M" + pad + " " + (high - 4.5) + "h10m0 -1v2m-10 -2v2" }));
    const label = page.svg("text", { x: pad + 11, y: high - 3.5 }, "10 mm");
    label.setAttribute("font-size", "2.6");
    label.style.fontSize = "2.6px";
    g.append(label);
    g.addEventListener("click", (e) => {
      const box = g.getBoundingClientRect(), unit = wide / box.width;
      const at = (v) => String(Math.round(2 * v) / 2);
      draft.x = at((e.clientX - box.left) * unit - pad);
      draft.y = at(x.width_mm + pad - (e.clientY - box.top) * unit);
      page.get("practice-x").value = draft.x;
      page.get("practice-y").value = draft.y;
      aim();
    });
    return g;
  }
  function aim() {
    const path = document.getElementById("practice-aim"), x = tested();
    if (!path || !x) return;
    const a = page.parse(draft.x), b = page.parse(draft.y);
    path.setAttribute("d", Number.isFinite(a) && Number.isFinite(b) ? "M" + (3 + a - 1.5) + " " + (3 + x.width_mm - b) + "h3M" + (3 + a) + " " + (3 + x.width_mm - b - 1.5) + "v3" : "");
  }
  /* The next free place of a grid at the distances of the rule. */
  function propose(x) {
    const [e, c] = [d.spacing.edge_mm, d.spacing.centre_mm].map((v) => Math.ceil(100 * v - 1e-6) / 100);
    for (let a = e; a <= x.length_mm - e + 1e-9; a += c) for (let b = e + x.crack_mm; b <= x.width_mm - x.crack_mm - e + 1e-9; b += c) {
      if (x.readings.every((r) => Math.hypot(r.x - a, r.y - b) > c - 1e-6)) return [a, b].map((v) => String(Number(v.toFixed(2))));
    }
    return null;
  }
  function testerCard() {
    const x = tested();
    if (!x) return [el("p", null, "No piece on the anvil: choose one above.")];
    const step = x.steps.length, own = x.readings.filter((r) => r.step === step), scale = d.scale[own.length % d.scale.length];
    return [el("div", { class: "card read" }, el("h3", null, "Piece " + x.name + ", " + (step ? "step " + step : "as rolled") + ", " + scale),
      el("p", { class: "hint" }, "Glasses on; fingers off the piece and away from the indenter while the force is on. Only cold pieces."),
      el("p", { class: "soft" }, "Indentation up to " + page.significant(d.spacing.diameter_mm, 2) + " mm wide: centres at least " + page.significant(d.spacing.centre_mm, 3) + " mm apart, " +
        page.significant(d.spacing.edge_mm, 3) + " mm from every edge" + (x.crack_mm ? " and crack" : "") + ". Touch the drawing or type the place."),
      drawing(x),
      form(() => {
        const a = number(draft.x, "The distance from the left end in mm", 0, x.length_mm), b = a === null ? null : number(draft.y, "The distance from the lower edge in mm", 0, x.width_mm);
        if (b === null || a >= x.length_mm || b >= x.width_mm) return;
        const note = draft.note;
        draft.note = "";
        guarded("read", x, "indent", { piece: x.name, x: a, y: b, note });
      }, field("x", "From the left end (mm)", "x"), field("y", "From the lower edge (mm)", "y"), field("note", "Note", "note", { inputmode: "text", maxlength: 80 }),
      button("propose", "Next place by the rule", () => { const p = propose(x);
        if (!p) { tell("By the rule there is no place left on this piece."); return; }
        [draft.x, draft.y] = p; show(); }), submit("indent", "Indent and read")),
      own.length ? el("p", null, "Read in this step (" + own.length + " of " + d.n_readings + " usual): " + own.map((r) => Number.isFinite(r.value) ? page.plain(r.value) + " " + r.scale : "none").join(", ")) : null,
      hints(d.cautions.read))];
  }

  function steps() {
    const out = [];
    s.pieces.forEach((x) => [{}].concat(x.steps).forEach((step, k) => {
      const own = x.readings.filter((r) => r.step === k);
      if (own.length) out.push({ piece: x, k, step, own, temp_c: x.steps.length ? d.temps[k ? step.furnace : x.steps[0].furnace] : NaN, time_min: k ? step.time_min : 0 });
    }));
    return out;
  }
  function readingsTable() {
    const rows = steps();
    if (!rows.length) return [el("p", null, "Nothing read yet.")];
    const mean = (v) => v.length ? page.significant(v.reduce((a, b) => a + b, 0) / v.length, 3) : "\u2013";
    return [el("div", { class: "scroll", tabindex: 0, role: "region", "aria-label": "Readings" }, el("table", null,
      el("thead", null, el("tr", null, ["Piece", "\u00b0C", "Step", "Time (min)", "Mean", "Readings"].map((t) => el("th", { scope: "col", class: t === "Readings" ? "values" : null }, t)))),
      el("tbody", null, rows.map((r) => el("tr", null, el("td", null, r.piece.name), el("td", null, page.plain(r.temp_c)), el("td", null, r.k), el("td", null, page.significant(r.time_min)),
        el("td", null, new Set(r.own.map((x) => x.scale)).size > 1 ? "\u2013" : mean(r.own.map((x) => x.value).filter(Number.isFinite))),
        el("td", { class: "values" }, r.own.map((x) => Number.isFinite(x.value) ? page.plain(x.value) : "none").join(", ")))))))];
  }
  const WORDS = { h_worked: "hardness as rolled", h_soft: "hardness when soft", n: "exponent n", k_per_min: "rate k", t50_min: "time to half of the softening", q_kj_mol: "activation energy Q" };
  function answersForm() {
    const f = d.form;
    return [el("p", null, "Asked for the strip rolled to " + page.plain(d.rolled_mm) + " mm. Empty is no answer; decimal comma or point."), el("div", { class: "scroll", tabindex: 0, role: "region", "aria-label": "Answers" }, el("table", null,
      el("thead", null, el("tr", null, ["Quantity", "\u00b0C", "Answer", "Unit"].map((t) => el("th", { scope: "col" }, t)))),
      el("tbody", null, f.quantity.map((q, i) => {
        const at = Number.isFinite(f.temp_c[i]) ? page.plain(f.temp_c[i]) : "", key = q + " " + at;
        const input = el("input", { type: "text", autocomplete: "off", "data-key": "answer " + key, maxlength: 40, "aria-label": (WORDS[q] || q) + (at ? " at " + at + " \u00b0C" : ""),
          oninput: (e) => { draft.answers[key] = e.target.value; }, onchange: keep });
        input.value = draft.answers[key] || "";
        return el("tr", null, el("td", null, WORDS[q] || q), el("td", null, at), el("td", null, input), el("td", null, f.unit[i] || "none"));
      }))))];
  }
  function logTable() {
    return [el("div", { class: "scroll", tabindex: 0, role: "region", "aria-label": "Acts" }, el("table", null, el("thead", null, el("tr", null, el("th", { scope: "col" }, "Clock"), el("th", { scope: "col" }, "Act"))),
      el("tbody", null, s.events.slice().reverse().map((x) => el("tr", null, el("td", null, span(x.t)), el("td", null, x.said))))))];
  }

  function show() {
    const focus = focused();
    page.get("practice-begin").hidden = s.begun;
    page.get("practice-run").hidden = !s.begun;
    if (!s.begun) return;
    const opened = new Set(Array.from(document.querySelectorAll("#practice-run .card details[open]"), (x) => x.closest(".card").querySelector("h3").textContent));
    const parts = { clock: clockCard, strip: stripCards, furnaces: furnaceCards, pieces: pieceCards, tester: testerCard, readings: readingsTable, log: logTable };
    for (const [name, make] of Object.entries(parts)) page.get("practice-" + name).replaceChildren(...make());
    document.querySelectorAll("#practice-run .card details").forEach((x) => { const h = x.closest(".card").querySelector("h3"); if (h && opened.has(h.textContent)) x.open = true; });
    aim();
    if (focus && page.get("practice-guard").hidden) toFocus(focus);
  }
  function tick() {
    if (!s || !s.begun) return;
    const was = left();
    advance();
    document.querySelectorAll(".live").forEach((node) => { const t = page.seen(node.practiceLive()); if (node.textContent !== t) node.textContent = t; });
    if (was > 0 && left() <= 0) { clock.speed = 0; tell(USED_UP); show(); }
  }

  /* ---- files ---- */

  function readingsFile() {
    const all = [], first = Math.min(...s.pieces.map((x) => x.legs.length ? x.legs[0].from : Infinity)); /* where the file of events begins */
    steps().forEach((r) => r.own.filter((x) => Number.isFinite(x.value)).forEach((x, i) => all.push({ group: d.group, specimen: r.piece.name, temp_c: r.temp_c, step: r.k, time_min: r.time_min,
      reading: i + 1, hardness: x.value, scale: x.scale, operator: x.operator, furnace: r.piece.steps.length ? "furnace " + ((r.k ? r.step.furnace : r.piece.steps[0].furnace) + 1) : "",
      position_mm: x.x, across_mm: x.y, in_s: r.step.in_s, out_s: r.step.out_s, log_s: r.k ? x.t - first : 0,
      note: [x.note, r.step.short ? "shorter in the furnace than the heat-up allowance" : ""].filter(Boolean).join("; ") })));
    const columns = ["group", "specimen", "temp_c", "step", "time_min", "reading", "hardness", "scale"].concat(s.operator ? ["operator"] : [],
      ["furnace", "position_mm", "across_mm", "in_s", "out_s", "log_s", "note"]);
    return page.csv(columns, all);
  }
  /* Temperature of the sheet as it follows from the set points: the error of a furnace is not seen on the bench. */
  function eventsFile() {
    const out = [], none = d.temps.map(() => 0);
    s.pieces.filter((x) => x.legs.length).forEach((x) => {
      const last = x.legs[x.legs.length - 1].from, end = x.inside === null ? Math.max(last + 600, ...x.readings.map((r) => r.t)) : Math.max(last + 1, Math.round(clock.sim));
      const h = lab.history(x, s.doors, end, none), marks = new Map();
      x.steps.forEach((y, k) => { marks.set(y.in_s, "in " + (k + 1)); if (Number.isFinite(y.out_s)) marks.set(y.out_s, "out " + (k + 1)); });
      const seen = new Set();
      h.time_s.forEach((t, i) => {
        const at = marks.has(t) ? t : Math.round(t);
        if (seen.has(at) || (!marks.has(t) && marks.has(at))) return;
        seen.add(at);
        out.push({ group: d.group, specimen: x.name, time_s: at, temp_c: Number(h.temp_c[i].toFixed(2)), event: marks.get(t) || "" });
      });
    });
    return page.csv(["specimen", "time_s", "temp_c", "event", "group"], out);
  }
  const rollingFile = () => {
    const last = new Map();
    s.measured.filter((m) => !m.cut).forEach((m) => last.set(m.pass, m));
    return page.csv(["specimen", "pass", "thickness_mm", "width_mm", "length_mm"], Array.from(last.values()).map((m) => ({ specimen: "strip", pass: m.pass,
      thickness_mm: Number(m.thickness_mm.toFixed(2)), width_mm: Number(m.width_mm.toFixed(2)), length_mm: Number(m.length_mm.toFixed(1)) })));
  };
  const answersFile = () => page.csv(["group", "quantity", "temp_c", "value", "unit"], d.form.quantity.map((q, i) => {
    const at = Number.isFinite(d.form.temp_c[i]) ? page.plain(d.form.temp_c[i]) : "";
    return { group: d.group, quantity: q, temp_c: d.form.temp_c[i], value: (draft.answers[q + " " + at] || "").trim().replace(/^(-?\d+),(\d+)$/, "$1.$2"), unit: d.form.unit[i] };
  }));
  function save(text, what) {
    const link = el("a", { download: d.group + "-" + what + ".csv" });
    link.href = URL.createObjectURL(new Blob(["\ufeff" + text], { type: "text/csv" }));
    document.body.append(link);
    link.click();
    link.remove();
    setTimeout(() => URL.revokeObjectURL(link.href), 60000);
  }

  /* A record as keep() wrote it; throws where it is damaged. */
  function take(text) {
    const old = JSON.parse(text || "null");
    if (!old || !Array.isArray(old.log) || !old.log.every((e) => Number.isFinite(e.t))) return;
    const end = lab.replay(old.log).end;
    log = old.log;
    clock.sim = Math.max(Number.isFinite(old.sim) ? old.sim : 0, end);
    draft.answers = old.answers || {};
  }
  async function begin() {
    page.text("practice-task", "Practice for " + d.group + ": annealed strip of " + d.words.material + ", " + page.plain(d.strip.thickness_mm) + " mm by " + page.plain(d.strip.width_mm) + " mm by " +
      page.plain(d.strip.length_mm) + " mm. Roll it to " + page.plain(d.rolled_mm) + " mm, saw pieces, read them as rolled, anneal them step by step in furnaces at " + d.temps.map((x) => page.plain(x)).join(", ") +
      " \u00b0C, read after each step. At most " + d.max_specimens + " pieces and " + page.plain(d.budget_s / 3600) + " h.");
    page.text("practice-deference", d.words.deference + " " + d.words.estimate + " Practice on a page is no instruction at the machines.");
    const all = Array.from(new Set(d.cautions.roll.concat(d.cautions.saw, d.cautions.furnace, d.cautions.read)));
    page.get("practice-first").replaceChildren(...all.map((t) => el("li", null, t)));
    const who = d.operators.length ? el("select", { id: "practice-operator" }, d.operators.map((t) => el("option", { value: t }, t))) :
      el("input", { type: "text", id: "practice-operator", autocomplete: "off", maxlength: 40 });
    page.get("practice-who").replaceChildren(el("label", { for: "practice-operator" }, "Operator"), " ", who);
    page.get("practice-start").addEventListener("click", () => { clock.real = Date.now(); enter("begin", { operator: who.value.trim() }); });
    for (const [what, make] of Object.entries({ readings: readingsFile, events: eventsFile, rolling: rollingFile, answers: answersFile })) {
      page.get("practice-save-" + what).addEventListener("click", () => save(make(), what));
    }
    page.get("practice-anew").addEventListener("click", () => {
      if (!sure) { sure = true; page.text("practice-anew", "All acts are lost: press again to begin anew"); return; }
      sure = false;
      page.text("practice-anew", "Begin anew");
      log = []; draft.answers = {}; draft.piece = ""; clock.sim = clock.speed = 0;
      s = lab.replay(log);
      keep();
      tell("");
      show();
    });
    api = await SoftannealAPI.load(SoftannealCore);
    lab = SoftannealPractice.bench(api, d);
    try { take(localStorage.getItem(place)); } catch (e) { log = []; }
    s = lab.replay(log);
    clock.real = Date.now();
    /* acts of another tab */
    window.addEventListener("storage", (e) => {
      const before = log.length;
      try { if (e.key === place && e.newValue && JSON.parse(e.newValue).log.length > before) take(e.newValue); } catch (x) { return; }
      if (log.length > before) { s = lab.replay(log); show(); }
    });
    page.get("practice-answers").replaceChildren(...answersForm());
    show();
    setInterval(tick, 250);
    setInterval(() => { if (s.begun && speed()) keep(); }, 2000);
    document.documentElement.dataset.ready = "yes";
  }
  begin().catch((e) => page.fault("This page could not begin: " + (e && e.message || e)));
  return { readingsFile, eventsFile, rollingFile, answersFile, log: () => log.slice(), state: () => s, lab: () => lab, clock: () => clock.sim };
})();
