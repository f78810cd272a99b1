"use strict";
/* The bench page. What is done is a log of entries {id, kind, specimen, step, time, recorded, ...} that is only
   ever added to: each is saved under a key of its own, so that two tabs put their entries together and neither
   overwrites the other. Corrections and undoings are entries too; state is what the log amounts to. */
const bench = (() => {
  const plan = page.data, el = page.el;
  const rows = plan.steps.specimen.map((_, i) => {
    const row = {};
    for (const key of Object.keys(plan.steps)) row[key] = plan.steps[key][i];
    return row;
  });
  const specimens = Array.from(new Set(rows.map((r) => r.specimen)));
  const stepsOf = (s) => rows.filter((r) => r.specimen === s).sort((a, b) => a.step - b.step);
  const minute = 60000;
  const draft = {}; /* what is typed and not entered yet, by field */
  let log = [], api = null, fitted = null, fitKey = "", kept = "none", open = null;

  /* ---- the store: IndexedDB, else localStorage, else nothing but the memory, which is said ---- */

  const store = {
    base: null, kind: "none",
    request: (r) => new Promise((yes, no) => { r.onsuccess = () => yes(r.result); r.onerror = () => no(r.error); }),
    async begin() {
      try {
        const opening = indexedDB.open("softanneal-bench", 1);
        opening.onupgradeneeded = () => opening.result.createObjectStore("entries", { keyPath: "key" });
        this.base = await this.request(opening);
        this.kind = "IndexedDB";
      } catch (e) {
        try {
          localStorage.setItem("softanneal-bench-try", "1");
          localStorage.removeItem("softanneal-bench-try");
          this.kind = "localStorage";
        } catch (e2) { this.kind = "none"; }
      }
    },
    name: (id) => plan.run + "/" + id,
    async add(entry) {
      if (this.kind === "IndexedDB") {
        try {
          const t = this.base.transaction("entries", "readwrite", { durability: "strict" });
          t.objectStore("entries").put({ key: this.name(entry.id), entry });
          await new Promise((yes, no) => { t.oncomplete = yes; t.onerror = t.onabort = () => no(t.error); });
          return;
        } catch (e) {
          localStorage.setItem("softanneal-bench/" + this.name(entry.id), JSON.stringify(entry));
          return;
        }
      }
      if (this.kind === "localStorage") {
        localStorage.setItem("softanneal-bench/" + this.name(entry.id), JSON.stringify(entry));
        return;
      }
      throw new Error("this browser does not save pages opened from a file");
    },
    async all() {
      const found = new Map();
      if (this.kind === "IndexedDB") {
        const range = IDBKeyRange.bound(plan.run + "/", plan.run + "/\uffff");
        const got = await this.request(this.base.transaction("entries").objectStore("entries").getAll(range));
        got.forEach((x) => found.set(x.entry.id, x.entry));
      }
      try {
        const head = "softanneal-bench/" + plan.run + "/";
        for (let k = 0; k < localStorage.length; k++) {
          const key = localStorage.key(k);
          if (key.startsWith(head)) { const e = JSON.parse(localStorage.getItem(key)); found.set(e.id, e); }
        }
      } catch (e) { /* no such storage here */ }
      return Array.from(found.values());
    }
  };

  // with a letter first: a column of digits alone would pass for numbers where the file is read
  const newId = () => "n" + Array.from(crypto.getRandomValues(new Uint8Array(6)), (b) => b.toString(16).padStart(2, "0")).join("");
  /* In the order in which they were made, also where the clock of the device was set back in between. */
  const orderOf = (e) => e.order || e.recorded;
  const sorted = (x) => x.sort((a, b) => orderOf(a) - orderOf(b) || (a.id < b.id ? -1 : 1));

  async function enter(kind, more) {
    const now = Date.now(); /* times count in whole seconds, as in the files */
    const entry = Object.assign({ id: newId(), kind, time: Math.round(now / 1000) * 1000, recorded: now }, more);
    const before = log[log.length - 1], back = before && now < before.recorded - 2000;
    if (before && now <= orderOf(before)) entry.order = orderOf(before) + 1;
    log = sorted(log.concat([entry]));
    kept = "Saving ...";
    changed(); /* at once, so that a second tap meets what comes next */
    if (back) tell(page.get("bench-told").textContent + " The clock of the device was set back since the last entry: times before and after " +
      "do not fit together. Set it right, or correct the times under Entries.");
    await keep([entry]);
  }
  const unsaved = [];
  let saving = Promise.resolve();
  function keep(entries) { /* one after the other, in order */
    unsaved.push(...entries);
    saving = saving.then(flush);
    return saving;
  }
  async function flush() {
    try {
      while (unsaved.length) { await store.add(unsaved[0]); unsaved.shift(); }
      kept = "Saved at " + clock(Date.now()) + " (" + log.length + " entries, " + store.kind + ")";
      page.get("bench-store").hidden = true;
    } catch (e) {
      kept = unsaved.length + " entries NOT saved";
      page.text("bench-store", "This browser did not save " + unsaved.length + " of " + log.length + " entries (" +
        (e && e.message || e) + "). They are lost when the page is closed: save both files now, and again after " +
        "each step, or go on with paper.");
      page.get("bench-store").hidden = false;
    }
    page.text("bench-saved", kept);
  }
  /* Entries of another tab. */
  async function look() {
    if (unsaved.length) await keep([]);
    let found;
    try { found = await store.all(); } catch (e) { return; }
    const known = new Set(log.map((e) => e.id));
    const fresh = found.filter((e) => !known.has(e.id));
    if (!fresh.length) return;
    log = sorted(log.concat(fresh));
    kept = log.length + " entries, " + store.kind;
    changed();
  }

  /* ---- what the log amounts to ---- */

  function state() {
    const gone = new Set(), times = new Map(), why = new Map();
    log.forEach((e) => {
      if (e.kind === "undo") gone.add(e.of);
      if (e.kind === "correct") { times.set(e.of, e.time); why.set(e.of, e.note || ""); }
    });
    const s = { begun: false, operator: "", pieces: {}, entries: [], last: null, gone, corrected: times };
    specimens.forEach((name) => {
      s.pieces[name] = stepsOf(name).map((row) => ({ row, in: null, shut: null, out: null, cold: null, readings: [], done: false }));
    });
    log.forEach((e) => {
      if (e.kind === "undo" || e.kind === "correct" || gone.has(e.id)) return;
      const time = times.has(e.id) ? times.get(e.id) : e.time;
      const seen = Object.assign({}, e, { at: time, corrected: times.has(e.id), reason: why.get(e.id) || "" });
      s.entries.push(seen);
      if (e.kind === "begin") { s.begun = true; s.operator = e.operator || ""; s.last = s.last || null; return; }
      s.last = seen;
      const step = (s.pieces[e.specimen] || []).find((x) => x.row.step === e.step);
      if (!step) return;
      if (e.kind === "reading") step.readings.push(seen);
      else if (e.kind === "done") step.done = true;
      else if (!step[e.kind]) step[e.kind] = seen;
      else seen.twice = true; /* the same act entered in two tabs: the first counts */
    });
    specimens.forEach((name) => {
      let total = 0;
      s.pieces[name].forEach((x) => {
        const heated = x.row.step > 0 && x.in && x.out;
        if (heated) {
          const held = (x.out.at - x.in.at) / minute - x.row.heat_up_min;
          x.short = held < 0.001;
          total += Math.max(held, 0.001);
        } else if (x.row.step > 0 && (x.out || x.cold || x.readings.length)) {
          total = NaN; /* a time is missing: no later one is known either */
        }
        x.time_min = x.row.step === 0 ? 0 : heated ? Number(total.toFixed(3)) : NaN;
      });
    });
    return s;
  }
  const finished = (x) => x.done || x.readings.length >= x.row.readings;
  const current = (steps) => steps.find((x) => !finished(x)) || null;
  const ACTS = ["in", "shut", "out", "cold"];
  /* Minutes that a step was in the furnace beyond its plan, as words where it is more than a twentieth and
     six seconds. */
  function lateWords(x) {
    if (!x.in || !x.out) return "";
    const over = (x.out.at - x.in.at) / minute - x.row.furnace_min;
    return Math.abs(over) <= Math.max(0.05 * x.row.furnace_min, 0.1) ? "" : "out " + page.significant(Math.abs(over), 2) + " min " + (over > 0 ? "late" : "early");
  }
  const phase = (x) => x.row.step === 0 || x.cold ? "read" : x.out ? "out" : x.in ? "in" : "wait";

  /* ---- readings as rows, for fit and file ---- */

  const inVickers = (values) => plan.table ? api.convert(values, plan.scale, "HV", plan.table).value : values.slice();
  const furnaceOf = (row) => "furnace " + row.furnace + " at " + row.temp_c + " C";
  function readingsOf(s) {
    const out = [], first = Math.min(...s.entries.filter((e) => ACTS.includes(e.kind) && !e.twice).map((e) => e.at));
    specimens.forEach((name) => s.pieces[name].forEach((x) => {
      if (!Number.isFinite(x.time_min)) return;
      x.readings.forEach((r, k) => out.push({ specimen: name, temp_c: x.row.temp_c, step: x.row.step, time_min: x.time_min,
        reading: k + 1, hardness: r.value, scale: plan.scale, furnace: furnaceOf(x.row), operator: r.operator || s.operator || "",
        log_s: x.cold ? Math.round((x.cold.at - first) / 1000) : 0,
        note: [r.note || "", x.short ? "shorter in the furnace than the heat-up allowance" : ""].filter(Boolean).join("; "),
        entered: stamp(r.at), entry: r.id }));
    }));
    return out;
  }
  const inDial = (hv) => plan.table ? api.convert([hv], "HV", plan.scale, plan.table).value[0] : hv;
  function planSd(value) { /* of the plan, which is in HV, at this number of the dial */
    if (!plan.table) return plan.guess.sd_reading;
    const r = api.convert([value], plan.scale, "HV", plan.table);
    return r.derivative[0] > 0 ? plan.guess.sd_reading / r.derivative[0] : plan.guess.sd_reading;
  }
  const valuesOf = (x) => x.readings.map((r) => r.value);
  const middleHv = (x) => benchJudge.median(inVickers(valuesOf(x)).filter(Number.isFinite));

  /* What one reading of a step may be, on the dial: by the steps of the others (a quick fit without this step,
     before that the draws of the plan, moved to the hardness as rolled that was read), and not harder than
     the step before. null: nothing is known. */
  function expectedOf(name, x, s) {
    const time = x.time_min, g = plan.guess, reading = g.sd_reading, spread = benchJudge.FAR * Math.hypot(reading, g.sd_step);
    if (!Number.isFinite(time)) return null;
    const rolled = specimens.map((p) => s.pieces[p].find((y) => y.row.step === 0)).filter((y) => y && y !== x && y.readings.length)
      .map(middleHv).filter(Number.isFinite);
    const drop = Math.abs(g.par[0] - g.par[1]), top = rolled.length ? benchJudge.median(rolled) : NaN;
    let range = null;
    if (time > 0) range = byOthers(x, s, time);
    if (!range) {
      const h = g.draws.map((par) => {
        const own = time > 0 ? api.hardness({ model: g.model, par, temp_ref_c: g.temp_ref_c }, x.row.temp_c, time)[0] : par[0];
        return Number.isFinite(top) ? par[1] + (own - par[1]) * (top - par[1]) / (par[0] - par[1]) : own;
      }).filter(Number.isFinite);
      /* the levels are guesses too: half of the softening more, a quarter where one of them was read */
      const room = spread + drop * (Number.isFinite(top) ? 0.25 : 0.5);
      range = [Math.min(...h) - room, Math.max(...h) + room];
    }
    const before = s.pieces[name].filter((y) => y.row.step < x.row.step && y.readings.length).pop();
    if (before && time > 0) range[1] = Math.min(range[1], middleHv(before) + Math.SQRT2 * spread);
    const ends = range.map((hv) => inDial(Math.max(hv, 1)));
    const low = Number.isFinite(ends[0]) ? ends[0] : -Infinity, high = Number.isFinite(ends[1]) ? ends[1] : Infinity;
    return [Math.min(low, high), Math.max(low, high)];
  }
  /* The medians of all other steps fitted, one row a step. */
  function byOthers(x, s, time) {
    const d = { temp_c: [], time_min: [], hardness: [], weight: [] };
    specimens.forEach((p) => s.pieces[p].forEach((y) => {
      const hv = y === x || !Number.isFinite(y.time_min) ? NaN : middleHv(y);
      if (!Number.isFinite(hv)) return;
      d.temp_c.push(y.row.temp_c); d.time_min.push(y.time_min); d.hardness.push(hv); d.weight.push(1);
    }));
    if (d.hardness.length < 7) return null;
    let f;
    try { f = api.fit(d, { model: "jmak", se: "model", start: lastStart() }); } catch (e) { return null; }
    if (lost(f).length) return null;
    const p = api.predict(f, x.row.temp_c, time, {}), h = p.hardness[0], own = Math.max(f.sigma, plan.guess.sd_step);
    const half = benchJudge.FAR * Math.hypot(p.std_error[0], own, plan.guess.sd_reading);
    return Number.isFinite(half) ? [h - half, h + half] : null;
  }

  /* Marks of all readings of a step, anew from all of them; what is asked of the neighbours is kept until
     something is entered. */
  const judged = new Map();
  function judgeStep(name, x, s, readings = x.readings) {
    const key = name + "/" + x.row.step + "/" + readings.length;
    if (readings === x.readings && judged.has(key)) return judged.get(key);
    const values = readings.map((r) => r.value);
    const all = [].concat(...specimens.map((p) => s.pieces[p].map(valuesOf)));
    const usual = benchJudge.usualSd(all), m = benchJudge.median(values);
    const sd = Math.max(planSd(m), Number.isFinite(usual) ? usual : 0);
    const own = benchJudge.judge(values, sd, () => expectedOf(name, x, s));
    const words = {
      far: (v) => "far from the others of this step (" + page.significant(Math.abs(v - own.centre), 2) + " from their middle; " +
        page.significant(benchJudge.FAR * sd, 2) + " is usual at most): read again, keep both",
      apart: () => "the readings of this step differ by more than is usual, and nothing says which is right: read again",
      alone: () => "not what the plan and the other steps let expect: check the number, the scale and the specimen, read again"
    };
    const out = { off: own.off, marks: readings.map((r, i) => {
      const list = own.marks[i] ? [words[own.marks[i]](r.value)] : [];
      if (!(r.value >= plan.range[0] && r.value <= plan.range[1])) {
        list.push("outside the range of " + plan.scale + " (" + plan.range[0] + " to " + plan.range[1] + ")");
      }
      if (plan.table && !Number.isFinite(inVickers([r.value])[0])) list.push("outside the conversion table: it cannot enter the fit");
      if (x.out && r.at < x.out.at + x.row.cool_min * minute) list.push("read when the specimen may still have been warm: a warm one reads soft");
      return list;
    }) };
    if (readings === x.readings) judged.set(key, out);
    return out;
  }

  /* ---- fit and advice ---- */

  /* The readings for the fit; null where they are those of the last one. */
  function fitData(s) {
    const all = readingsOf(s), hv = inVickers(all.map((r) => r.hardness));
    const use = all.map((r, i) => i).filter((i) => Number.isFinite(hv[i]));
    const d = { temp_c: use.map((i) => all[i].temp_c), time_min: use.map((i) => all[i].time_min),
                hardness: use.map((i) => hv[i]), specimen: use.map((i) => all[i].specimen), furnace: use.map((i) => all[i].furnace) };
    if (all.some((r) => r.operator)) d.operator = use.map((i) => all[i].operator);
    return { d, outside: all.length - use.length, key: JSON.stringify(d) };
  }
  /* Where the next fit starts: at the last one. */
  let last = null;
  const lastStart = () => last ? Object.fromEntries(last.terms.map((t, j) => [t, last.par[j]])) : undefined;
  /* After each reading the quick fit: least squares from the last minimum, standard errors by specimen and
     step. The full one, all starts and components of error, follows when the hand rests or a step ends.
     asked(): what the next fit is of; null where it is known, or the steps are too few. */
  function asked(s, full) {
    const { d, outside, key } = fitData(s), whole = key + (full ? " full" : "");
    if (whole === fitKey || fitKey === key + " full") return null;
    const next = { key: whole, data: d, outside, fit: null, why: "", quick: !full };
    const steps = new Set(d.time_min.map((t, i) => (t > 0 ? d.temp_c[i] : 0) + " " + t));
    if (steps.size >= 5 && d.time_min.some((t) => t > 0)) return next;
    last = null;
    next.why = "The fit begins with 5 different steps; there are " + steps.size + ". Shown: the guess of the plan.";
    take(next);
    return null;
  }
  function take(next) {
    fitKey = next.key;
    fitted = next;
    if (next.fit) last = next.fit;
  }
  const noFit = (next, e) => { next.why = "No fit yet: " + (e && e.message || e) + "."; };
  function quickFit(s) {
    const next = asked(s, false);
    if (!next) return;
    try { next.fit = api.fit(next.data, { model: "jmak", se: "cluster", start: lastStart() }); } catch (e) { noFit(next, e); }
    take(next);
  }
  async function fullFit(s, mine) {
    const next = asked(s, true), began = performance.now();
    if (!next) return;
    try { next.fit = await away("fit", next.data, { model: "jmak" }); } catch (e) { noFit(next, e); }
    if (mine !== turn) return;
    if (next.fit) timings.push(performance.now() - began);
    take(next);
  }

  /* What takes long is computed beside the page, by the same scripts in a worker, so that no tap waits for it;
     in the page itself where the browser has none. */
  let helper = null, count = 0;
  const jobs = new Map();
  function help() {
    const script = "(" + (() => {
      SoftannealAPI.load(SoftannealCore).then((own) => {
        self.onmessage = (e) => {
          let out;
          try { out = { id: e.data.id, value: own[e.data.name](...e.data.args) }; } catch (x) { out = { id: e.data.id, said: x.message }; }
          self.postMessage(out);
        };
        self.postMessage({ id: 0 });
      });
    }) + ")();";
    const without = () => { /* what it was asked for is computed here */
      if (helper) helper.terminate();
      helper = null;
      jobs.forEach((job) => job.here());
      jobs.clear();
    };
    try {
      const parts = Array.from(document.querySelectorAll("script:not([type])")).slice(0, 2).map((x) => x.textContent + "\n");
      const at = URL.createObjectURL(new Blob(parts.concat([script]), { type: "text/javascript" })), worker = new Worker(at);
      worker.onerror = (e) => { e.preventDefault(); without(); };
      worker.onmessage = (e) => {
        if (e.data.id === 0) { helper = worker; URL.revokeObjectURL(at); return; }
        const job = jobs.get(e.data.id);
        jobs.delete(e.data.id);
        if (job && e.data.said === undefined) job.yes(e.data.value); else if (job) job.no(new Error(e.data.said));
      };
    } catch (e) { helper = null; }
  }
  const away = (name, ...args) => new Promise((yes, no) => {
    const here = () => setTimeout(() => { try { yes(api[name](...args)); } catch (e) { no(e); } }, 0);
    if (!helper) { here(); return; }
    const id = ++count;
    jobs.set(id, { yes, no, here });
    helper.postMessage({ id, name, args });
  });

  const lost = (f) => f.terms.filter((_, j) => f.states[j] !== "determined" && f.states[j] !== "fixed");
  const WORDS = { h_worked: "hardness as rolled", h_soft: "hardness when soft", ln_k_ref: "rate", n: "exponent n", q_kj_mol: "Q" };

  async function advice(s) {
    const done = [], next = [];
    specimens.forEach((name) => {
      const steps = s.pieces[name];
      steps.forEach((x) => {
        if (x.row.step > 0 && x.readings.length && Number.isFinite(x.time_min) && x.time_min > 0) {
          done.push({ specimen: name, temp_c: x.row.temp_c, time_min: x.time_min });
        }
      });
      const left = steps.filter((x) => x.row.step > 0 && !x.in && !finished(x));
      left.slice(0, 2).forEach((x) => next.push({ specimen: name, temp_c: x.row.temp_c, time_min: x.row.time_min, planned: true }));
      const last = steps[steps.length - 1];
      const reached = done.filter((d) => d.specimen === name).map((d) => d.time_min);
      if (!left.length && finished(last)) {
        next.push({ specimen: name, temp_c: last.row.temp_c, time_min: Number((2 * Math.max(...reached, last.row.time_min)).toPrecision(3)), planned: false });
      }
    });
    const out = { lines: [], reached: false };
    const f = fitted && fitted.fit, open = f ? lost(f) : [];
    if (f && !open.length) {
      const now = await wantedNow(f);
      out.reached = now.reached;
      out.lines.push(now.words + (now.reached ? "This is enough: you may stop after this step." : "Not enough yet."));
    } else if (f) {
      out.lines.push("The readings do not determine " + open.map((t) => WORDS[t] || t).join(", ") + " yet. Go on.");
    } else out.lines.push("Too early for a result. Go on with the plan.");
    if (!done.length || !next.length) return out;
    const guess = f && !open.length ? api.guessOf(f, { reading: plan.guess.sd_reading, step: plan.guess.sd_step }) : plan.guess;
    const set = { n_readings: plan.n_readings, baseline: plan.baseline }, aim = await aimOf(guess);
    let ranked;
    try { ranked = (await away("nextStep", guess, done, next, aim, set)).filter((c) => Number.isFinite(c.sd_factor)); } catch (e) { return out; }
    const narrower = (factor) => factor > 0.985 ? "adds next to nothing for " + AIM_WORDS[plan.aim.name] + "." :
      "interval of " + AIM_WORDS[plan.aim.name] + " about " + Math.round(100 * (1 - factor)) + " % narrower.";
    ranked.slice(0, 3).forEach((c, k) => out.lines.push((k === 0 ? "Next best: " : "Then: ") + c.specimen + " at " + plain(c.temp_c) +
      " \u00b0C to " + plain(c.time_min) + " min in all" + (c.planned ? "" : " (beyond the plan)") + ": " + narrower(c.sd_factor)));
    const now = await away("planValue", guess, done, aim, set);
    const more = await away("planValue", guess, done, aim, Object.assign({}, set, { n_readings: set.n_readings + 1 }));
    if (Number.isFinite(now) && Number.isFinite(more)) out.lines.push("One reading more in each step read so far: " + narrower(Math.exp((more - now) / 2)));
    return out;
  }
  const AIM_WORDS = { q: "Q", time: "the time", temperature: "the temperature" };
  const target = () => !Number.isFinite(plan.aim.hardness) ? { softening: plan.aim.softening } : { hardness: plan.aim.hardness };
  const targetWords = () => !Number.isFinite(plan.aim.hardness) ? page.plain(100 * plan.aim.softening) + " % softening" : plain(plan.aim.hardness) + " HV";
  /* What is asked, as the design kernels know it: variance of Q, or of ln time to a hardness at a temperature,
     for a temperature asked at the one that the curve now gives. */
  async function aimOf(guess) {
    const a = plan.aim;
    if (a.name === "q") return { name: "q" };
    const bare = { model: guess.model, growth: guess.growth, par: guess.par, temp_ref_c: guess.temp_ref_c };
    const at_c = a.name === "time" ? a.temp_c : (await away("tempFor", bare, target(), a.time_min)).temp_c[0];
    const hardness = !Number.isFinite(a.hardness) ? guess.par[0] - a.softening * (guess.par[0] - guess.par[1]) : a.hardness;
    return !Number.isFinite(a.hardness) && a.softening === 0.5 ? { name: "t50", at_c } : { name: "hardness", at_c, hardness };
  }
  async function wantedNow(f) {
    const a = plan.aim, number = page.significant, tail = (x) => x + (Number.isFinite(a.hardness) && plan.table ? ", without the uncertainty of the conversion to HV" : "") + ". ";
    if (a.name === "q") {
      const j = f.terms.indexOf("q_kj_mol"), half = (f.conf[j][1] - f.conf[j][0]) / 2;
      return { reached: half <= a.wanted, words: tail("Q = " + number(f.par[j]) + " kJ/mol, 95 % interval " + number(f.conf[j][0]) + " to " +
        number(f.conf[j][1]) + ". Wanted: half-width " + plain(a.wanted) + ", reached: " + number(half, 2)) };
    }
    if (a.name === "time") {
      const t = await away("timeTo", f, target(), a.temp_c), low = t.lower[0], high = t.upper[0], factor = Math.sqrt(high / low);
      if (!Number.isFinite(factor)) return { reached: false, words: tail("The time to " + targetWords() + " at " + plain(a.temp_c) + " \u00b0C has no interval yet") };
      return { reached: factor <= a.wanted, words: tail(number(t.time_min[0]) + " min at " + plain(a.temp_c) + " \u00b0C to " + targetWords() + ", 95 % interval " + number(low) +
        " to " + number(high) + ". Wanted: within a factor of " + plain(a.wanted) + ", reached: " + number(factor)) };
    }
    const t = await away("tempFor", f, target(), a.time_min), half = (t.upper[0] - t.lower[0]) / 2;
    if (!Number.isFinite(half)) return { reached: false, words: tail("The temperature for " + targetWords() + " in " + plain(a.time_min) + " min has no interval yet") };
    return { reached: half <= a.wanted, words: tail(number(t.temp_c[0], 4) + " \u00b0C for " + targetWords() + " in " + plain(a.time_min) + " min, 95 % interval " +
      number(t.lower[0], 4) + " to " + number(t.upper[0], 4) + ". Wanted: half-width " + plain(a.wanted) + " \u00b0C, reached: " + number(half, 2)) };
  }

  /* ---- how times are written ---- */

  const plain = (x) => String(Number(Number(x).toPrecision(5))); /* a set point as it was planned */
  const two = (x) => String(x).padStart(2, "0");
  const clock = (ms) => { const d = new Date(ms); return two(d.getHours()) + ":" + two(d.getMinutes()) + ":" + two(d.getSeconds()); };
  const stamp = (ms) => new Date(Math.round(ms / 1000) * 1000).toISOString().replace(".000Z", "Z");
  const span = (ms) => {
    const t = Math.floor(Math.abs(ms) / 1000), h = Math.floor(t / 3600);
    return (h ? h + ":" + two(Math.floor(t / 60) % 60) : Math.floor(t / 60)) + ":" + two(t % 60);
  };
  /* hh:mm or hh:mm:ss on the day that is nearest to `near`; NaN for anything else */
  function timeOf(text, near) {
    const m = /^\s*(\d{1,2})[:.](\d{2})(?:[:.](\d{2}))?\s*$/.exec(text);
    if (!m || +m[1] > 23 || +m[2] > 59 || +(m[3] || 0) > 59) return NaN;
    const d = new Date(near);
    d.setHours(+m[1], +m[2], +(m[3] || 0), 0);
    return [-1, 0, 1].map((k) => d.getTime() + k * 86400000).sort((a, b) => Math.abs(a - near) - Math.abs(b - near))[0];
  }

  /* ---- what is shown ---- */

  const hints = (list) => list.length ? el("details", null, el("summary", null, "Cautions for this act"),
    el("ul", null, list.map((t) => el("li", null, t)))) : null;
  /* A glove that bounces taps what comes next too: a second tap of a hand within 0.4 s is none. */
  let tapped = -Infinity;
  const once = (act) => (e) => {
    if (e.detail > 0) {
      if (e.timeStamp - tapped < 400) return;
      tapped = e.timeStamp;
    }
    act(e);
  };
  const button = (key, text, act, attributes) => el("button", Object.assign({ type: "button", "data-key": key, onclick: once(act) }, attributes), text);
  const rowsBusy = (s, row) => specimens.map((n) => current(s.pieces[n])).filter((x) => x && phase(x) === "in" && x.row.furnace === row.furnace && x.row.temp_c !== row.temp_c);

  function card(name, s) {
    const steps = s.pieces[name], x = current(steps);
    if (!x) return el("div", { class: "card" }, el("h3", null, name + ": all steps of the plan are done"));
    const row = x.row, where = phase(x), act = (kind) => () => enter(kind, { specimen: name, step: row.step });
    const head = el("h3", null, name + ", " + (row.step === 0 ? "as rolled" : "step " + row.step + " of " + (steps.length - (plan.baseline ? 1 : 0)) +
      ": " + plain(row.temp_c) + " \u00b0C, furnace " + row.furnace));
    if (where === "wait") {
      const other = rowsBusy(s, row);
      return el("div", { class: "card" }, head,
        el("p", null, "In for " + plain(row.furnace_min) + " min, of which " + plain(row.heat_up_min) +
          " min heat-up" + (row.in_clock ? "; planned at " + row.in_clock : "") + "."),
        el("p", { class: "hint" }, "Check the furnace: " + plain(row.temp_c) + " \u00b0C. Face shield, gloves, long tongs; everything laid ready before opening."),
        other.length ? el("p", { class: "remark" }, "Furnace " + row.furnace + " still holds " + other[0].row.specimen + " at " + other[0].row.temp_c + " \u00b0C.") : null,
        button("in " + name, name + " is in", act("in"), { class: "main act" }),
        button("skip " + name, "Leave this step out", act("done")), hints(plan.cautions.furnace.concat(plan.cautions.hot)));
    }
    if (where === "in") {
      return el("div", { class: "card hot" }, head,
        el("p", { class: "clock", "data-from": x.in.at, "data-until": x.in.at + row.furnace_min * minute }, ""),
        el("p", null, "In since " + clock(x.in.at) + "; out at " + clock(x.in.at + row.furnace_min * minute) + "."),
        el("p", { class: "hint" }, "HOT: face shield, gloves, tongs. Lay it on the marked place only."),
        x.shut ? el("p", null, "Door open for " + span(x.shut.at - x.in.at) + ".") :
          button("shut " + name, "The door is shut", act("shut"), { class: "main act" }),
        button("out " + name, name + " is out", () => {
          const held = (Date.now() - x.in.at) / minute;
          tell(held - row.heat_up_min < 0.001 ? name + " was in for " + page.significant(held, 2) + " min, less than its heat-up allowance: the step counts as 0.001 min. The file of events has the temperatures." : "");
          enter("out", { specimen: name, step: row.step });
        }, { class: x.shut ? "main act" : "act" }),
        el("p", { class: "soft" }, "Too late, or forgotten? Tap now, then correct the time under Entries."), hints(plan.cautions.furnace.concat(plan.cautions.hot)));
    }
    if (where === "out") {
      return el("div", { class: "card hot" }, head,
        el("p", { class: "clock", "data-from": x.out.at, "data-until": x.out.at + row.cool_min * minute }, ""),
        el("p", null, "Cools" + (plan.sheet.cooling === "water" ? " in water" : plan.sheet.cooling === "block" ? " on the block" : " in air") + "; cold after about " + plain(row.cool_min) + " min."),
        el("p", { class: "hint" }, "It does not glow and is hot. Touch it only when a contact thermometer shows it cold."),
        button("cold " + name, name + " is cold by the thermometer", act("cold"), { class: "main act" }), hints(plan.cautions.cool.concat(plan.cautions.hot)));
    }
    return readCard(name, x, s, head);
  }

  function readCard(name, x, s, head) {
    const row = x.row, key = name + "/" + row.step, n = x.readings.length;
    const at = plan.places.step.findIndex((v, i) => v === row.step + (plan.baseline ? 1 : 0) && plan.places.reading[i] === n + 1);
    const number = el("input", { type: "text", class: "number", inputmode: "decimal", autocomplete: "off", id: "value-" + key,
      "data-key": "value " + name, oninput: (e) => { draft["v" + key] = e.target.value; if (fitted && fitted.quick) schedule(REST); } });
    number.value = draft["v" + key] || "";
    const note = el("input", { type: "text", class: "note", maxlength: 80, autocomplete: "off", id: "note-" + key, "data-key": "note " + name,
      oninput: (e) => { draft["n" + key] = e.target.value; } });
    note.value = draft["n" + key] || "";
    const form = el("form", { novalidate: true, onsubmit: (e) => { e.preventDefault(); take(); } },
      el("div", null, el("label", { for: "value-" + key }, "Reading " + (n + 1) + " of " + row.readings + " (" + plan.scale + ")"), number),
      el("div", null, el("label", { for: "note-" + key }, "Note"), note),
      el("button", { type: "submit", class: "main", "data-key": "enter " + name }, "Enter"));
    function take() {
      const value = page.parse(number.value);
      if (!Number.isFinite(value) || value <= 0) {
        number.setAttribute("aria-invalid", "true");
        tell("'" + number.value + "' is not a number. Type digits with comma or point, such as 71,5.");
        number.focus();
        return;
      }
      if (value > plan.top) {
        number.setAttribute("aria-invalid", "true");
        tell(value + " is no number of the scale " + plan.scale + ", which ends at " + plan.top + ": not taken. Check the point.");
        number.focus();
        return;
      }
      const now = judgeStep(name, x, s, x.readings.concat([{ value, at: Date.now() }])), odd = now.marks[n];
      delete draft["v" + key]; delete draft["n" + key];
      tell(odd.length ? name + ", " + value + " " + plan.scale + ": " + odd.join("; ") + "." : n === 1 && now.off() ?
        name + ": the readings of this step agree, and not with the other steps. Right specimen, furnace and scale?" : "");
      enter("reading", { specimen: name, step: row.step, value, note: note.value.trim(), operator: s.operator, doubts: odd });
    }
    return el("div", { class: "card read" }, head,
      el("p", { class: "hint" }, "Fingers off the specimen and away from the indenter while the force is on; eye protection." +
        (at >= 0 ? " Place: " + page.significant(plan.places.position_mm[at], 3) + " mm from the end, " + page.significant(plan.places.across_mm[at], 3) + " mm from the side." : "")),
      n ? el("ol", { class: "values", "aria-label": "Readings of this step" }, x.readings.map((r, i) => {
        const odd = judgeStep(name, x, s).marks[i].length;
        return el("li", { class: odd ? "odd" : null }, plain(r.value) + (odd ? " (doubtful)" : ""));
      })) : null,
      form, n ? button("done " + name, "Enough readings here", () => enter("done", { specimen: name, step: row.step })) : null,
      hints(plan.cautions.read));
  }

  function tell(text) {
    page.text("bench-told", text);
    page.get("bench-told").hidden = !text;
  }

  function entryWords(e) {
    const what = { in: "in", shut: "door shut", out: "out", cold: "cold", done: e.left ? "left out" : "enough read", begin: "run begun" }[e.kind];
    return e.kind === "reading" ? plain(e.value) + " " + plan.scale + (e.note ? " (" + e.note + ")" : "") : what || e.kind;
  }
  const marksOf = (e, s) => {
    const x = e.kind === "reading" && (s.pieces[e.specimen] || []).find((y) => y.row.step === e.step);
    const at = x ? x.readings.findIndex((r) => r.id === e.id) : -1;
    return at < 0 ? [] : judgeStep(e.specimen, x, s).marks[at];
  };
  function logTable(s) {
    const body = s.entries.slice().reverse().map((e) => {
      const cells = el("tr", null, el("td", null, clock(e.at)), el("td", null, e.specimen ? e.specimen + ", step " + e.step : ""),
        el("td", null, entryWords(e) + (e.twice ? "; entered twice, not counted" : "") + marksOf(e, s).map((t) => "; " + t).join("") +
          (e.kind === "out" && !e.twice ? [lateWords(s.pieces[e.specimen].find((x) => x.row.step === e.step))].filter(Boolean).map((t) => "; " + t).join("") : "") +
          (e.corrected ? "; corrected, entered at " + clock(e.recorded) + (e.reason ? ": " + e.reason : "") : "")));
      const last = el("td", null);
      if (ACTS.includes(e.kind) && !e.twice) {
        if (open === e.id) last.append(correction(e, s));
        else last.append(button("correct " + e.id, "Correct time", () => { open = e.id; changed(); }));
      }
      if (e.kind === "reading") last.append(button("strike " + e.id, "Undo", () => enter("undo", { of: e.id })));
      cells.append(last);
      return cells;
    });
    return el("div", { class: "scroll" }, el("table", null, el("thead", null, el("tr", null, ["Time", "Specimen", "Entry", ""].map((t) => el("th", { scope: "col" }, t)))), el("tbody", null, body)));
  }
  function correction(e, s) {
    const time = el("input", { type: "text", inputmode: "numeric", id: "right-time", "data-key": "right-time", autocomplete: "off" });
    const why = el("input", { type: "text", id: "right-why", maxlength: 80, autocomplete: "off" });
    time.value = draft.time !== undefined ? draft.time : clock(e.at);
    time.addEventListener("input", () => { draft.time = time.value; });
    const form = el("form", { novalidate: true, onsubmit: (event) => {
      event.preventDefault();
      const right = timeOf(time.value, e.at), fault = wrongTime(e, right, s);
      if (fault) { tell(fault); time.setAttribute("aria-invalid", "true"); time.focus(); return; }
      open = null; delete draft.time; tell("");
      enter("correct", { of: e.id, time: right, note: why.value.trim() });
    } }, el("div", null, el("label", { for: "right-time" }, "Right time"), time), el("div", null, el("label", { for: "right-why" }, "Reason"), why),
      el("button", { type: "submit", class: "main" }, "Record"), button("leave", "Leave", () => { open = null; delete draft.time; changed(); }));
    return form;
  }
  function wrongTime(e, right, s) {
    if (!Number.isFinite(right)) return "A time is written as 14:05:30.";
    if (right > Date.now() + 1000) return "This time is still to come.";
    const steps = s.pieces[e.specimen], order = [];
    steps.forEach((x) => ACTS.forEach((kind) => { if (x[kind]) order.push(x[kind]); }));
    const k = order.findIndex((x) => x.id === e.id);
    if (k > 0 && right < order[k - 1].at) return "This is before '" + entryWords(order[k - 1]) + "' at " + clock(order[k - 1].at) + ".";
    if (k + 1 < order.length && right > order[k + 1].at) return "This is after '" + entryWords(order[k + 1]) + "' at " + clock(order[k + 1].at) + ".";
    return "";
  }

  const temperatures = () => Array.from(new Set(rows.map((r) => r.temp_c))).sort((a, b) => a - b);
  function spanOfTimes() {
    const times = rows.filter((r) => r.time_min > 0).map((r) => r.time_min).concat(fitted.data.time_min.filter((t) => t > 0));
    return [Math.log(Math.max(Math.min(...times), 0.2) / 3), Math.log(Math.max(...times) * 1.5)];
  }
  const along = (n) => { const [t0, t1] = spanOfTimes(); return Array.from({ length: n + 1 }, (_, i) => Math.exp(t0 + (t1 - t0) * i / n)); };
  /* Band of one temperature: each row costs the mixture of all errors, so that a third of the points carry it. */
  function bandAt(t) {
    if (!fitted.fit) return null;
    if (!fitted.bands) fitted.bands = new Map();
    if (!fitted.bands.has(t)) fitted.bands.set(t, { at: along(20), band: api.predict(fitted.fit, t, along(20), {}) });
    return fitted.bands.get(t);
  }

  /* Hardness over time, one curve per temperature. */
  const DASH = ["", "9 5", "2 4", "12 4 2 4", "5 3", "16 5"];
  const SHAPES = ["M0,-5A5,5 0 1 1 0,5A5,5 0 1 1 0,-5Z", "M0,-6L5.5,4.5H-5.5Z", "M-4.5,-4.5H4.5V4.5H-4.5Z",
                  "M0,-6L6,0L0,6L-6,0Z", "M0,6L5.5,-4.5H-5.5Z", "M-5,-1.7H-1.7V-5H1.7V-1.7H5V1.7H1.7V5H-1.7V1.7H-5Z"];
  function picture() {
    const wide = Math.max(300, Math.min(760, page.get("bench-curve").clientWidth || 360)), high = 300, left = 54, right = 66, top = 12, bottom = 40;
    const f = fitted.fit || plan.guess, d = fitted.data;
    const temps = temperatures(), [t0, t1] = spanOfTimes();
    const hs = d.hardness.concat([f.par[0], f.par[1]]);
    const h0 = Math.min(...hs) - 8, h1 = Math.max(...hs) + 8;
    const px = (t) => left + (Math.log(t) - t0) / (t1 - t0) * (wide - left - right), py = (h) => top + (h1 - h) / (h1 - h0) * (high - top - bottom);
    const grid = along(60);
    const g = page.svg("svg", { viewBox: "0 0 " + wide + " " + high, role: "img", "aria-label": "Hardness in HV over time in minutes, one curve per temperature, with the mean of each step" });
    const line = (points) => points.map((p, i) => (i ? "L" : "M") + p[0].toFixed(1) + " " + p[1].toFixed(1)).join("");
    for (let e = Math.ceil(t0 / Math.LN10); e <= Math.floor(t1 / Math.LN10); e++) {
      const t = Math.pow(10, e);
      g.append(page.svg("line", { class: "axis", x1: px(t), x2: px(t), y1: high - bottom, y2: high - bottom + 5 }), page.svg("text", { x: px(t), y: high - bottom + 19, "text-anchor": "middle" }, plain(t)));
    }
    const by = h1 - h0 > 60 ? 20 : 10;
    for (let h = Math.ceil(h0 / by) * by; h <= h1; h += by) g.append(page.svg("line", { class: "axis", x1: left - 5, x2: left, y1: py(h), y2: py(h) }), page.svg("text", { x: left - 8, y: py(h) + 4, "text-anchor": "end" }, String(h)));
    g.append(page.svg("path", { class: "axis", fill: "none", d: "M" + left + " " + top + "V" + (high - bottom) + "H" + (wide - right) }),
      page.svg("text", { x: (left + wide - right) / 2, y: high - 6, "text-anchor": "middle" }, "Time at temperature (min)"), page.svg("text", { "text-anchor": "middle", transform: "translate(14 " + (top + high - bottom) / 2 + ") rotate(-90)" }, "Hardness (HV)"));
    const dark = document.documentElement.dataset.theme === "dark";
    let under = Infinity;
    temps.slice().reverse().forEach((t) => {
      const k = temps.indexOf(t), colour = "hsl(" + (temps.length > 1 ? 215 - 200 * k / (temps.length - 1) : 215) + " 75% " + (dark ? 66 : 34) + "%)";
      const own = { hardness: api.hardness(f, t, grid) }, known = fitted.quick || fitted.bands && fitted.bands.has(t) ? bandAt(t) : null;
      const clip = (h) => Math.min(Math.max(h, h0), h1);
      if (known && known.band.lower.every(Number.isFinite) && known.band.upper.every(Number.isFinite)) {
        const edge = (h) => known.at.map((x, i) => [px(x), py(clip(h[i]))]);
        g.append(page.svg("path", { class: "band", fill: colour, d: line(edge(known.band.upper).concat(edge(known.band.lower).reverse())) + "Z" }));
      }
      g.append(page.svg("path", { class: "curve", stroke: colour, "stroke-dasharray": DASH[k % DASH.length] || null, opacity: fitted.fit ? 1 : 0.55, d: line(grid.map((x, i) => [px(x), py(clip(own.hardness[i]))])) }));
      let y = py(clip(own.hardness[60])) + 4;
      if (under - y < 15) y = under - 15;
      under = y;
      g.append(page.svg("path", { class: "mark", d: SHAPES[k % SHAPES.length], transform: "translate(" + (wide - right + 9) + " " + (y - 4.5) + ") scale(0.8)", stroke: colour }),
        page.svg("text", { x: wide - right + 18, y }, plain(t) + "\u00b0"));
      const at = new Map();
      d.time_min.forEach((x, i) => { if (d.temp_c[i] === t) { if (!at.has(x)) at.set(x, []); at.get(x).push(d.hardness[i]); } });
      at.forEach((v, x) => {
        const m = v.reduce((a, b) => a + b, 0) / v.length;
        g.append(page.svg("path", { class: "mark", d: SHAPES[k % SHAPES.length], transform: "translate(" + (x > 0 ? px(x) : left) + " " + py(m) + ")", stroke: colour }));
      });
    });
    return g;
  }

  function changed() {
    judged.clear();
    const s = state(), focus = document.activeElement && document.activeElement.getAttribute("data-key");
    /* the hazards stand once: before the run in the box to be read, then below */
    const hazards = document.querySelector("[aria-labelledby='page-cautions']"), to = s.begun ? document.querySelector("main") : page.get("bench-first");
    if (hazards.parentElement !== to) to.append(hazards);
    page.get("bench-begin").hidden = s.begun;
    page.get("bench-run").hidden = !s.begun;
    page.text("bench-saved", kept);
    if (!s.begun || !api) return;
    const rank = { in: 0, out: 1, read: 2, wait: 3 };
    const order = specimens.map((name, i) => ({ name, i, x: current(s.pieces[name]) })).sort((a, b) => {
      if (!a.x || !b.x) return (a.x ? 0 : 1) - (b.x ? 0 : 1) || a.i - b.i;
      const pa = phase(a.x), pb = phase(b.x);
      return rank[pa] - rank[pb] || (pa === "in" ? a.x.in.at + a.x.row.furnace_min * minute - b.x.in.at - b.x.row.furnace_min * minute :
        rows.indexOf(a.x.row) - rows.indexOf(b.x.row));
    });
    const over = order.every((o) => !o.x) ? el("p", { class: "remark" }, "The plan is done: switch off and mark what is hot, then save both files below.") : null;
    page.get("bench-now").replaceChildren(...order.map((o) => card(o.name, s)), ...(over ? [over] : []));
    page.get("bench-undo").disabled = !s.last;
    page.text("bench-undo", s.last ? "Undo last entry: " + s.last.specimen + ", " + entryWords(s.last) : "Undo last entry");
    if (page.get("bench-log-box").open) page.get("bench-log").replaceChildren(logTable(s));
    /* after what was tapped is on the screen; the whole at once where a step has ended */
    const at = s.last && s.last.kind === "reading" && s.pieces[s.last.specimen].find((x) => x.row.step === s.last.step);
    const ended = !at || finished(at);
    schedule(ended ? 60 : REST);
    setTimeout(() => quick(state()), 0);
    tick();
    if (focus) {
      const again = Array.from(document.querySelectorAll("[data-key]")).find((x) => x.getAttribute("data-key") === focus);
      const value = focus.startsWith("enter ") ? document.querySelector("[data-key='" + CSS.escape(focus.replace("enter ", "value ")) + "']") : null;
      const first = document.querySelector("#bench-now [data-key]");
      const to = value || again || first;
      if (to) to.focus();
    }
  }

  /* The quick fit at once; fit with components, bands and advice when nothing was typed or tapped for a
     while, piece by piece, so that the hand never waits for them. */
  let waiting = 0, turn = 0;
  const timings = []; /* of the full fit, ms */
  const REST = 700;
  function schedule(rest) {
    turn++;
    clearTimeout(waiting);
    page.get("bench-fit").dataset.busy = "yes";
    waiting = setTimeout(whole, rest, turn);
  }
  async function whole(mine) {
    const s = state();
    await fullFit(s, mine);
    if (mine !== turn) return;
    for (const t of fitted && fitted.fit && !fitted.quick ? temperatures() : []) {
      if (!fitted.bands) fitted.bands = new Map();
      if (fitted.bands.has(t)) continue;
      const at = along(20), band = await away("predict", fitted.fit, t, at, {});
      if (mine !== turn) return;
      fitted.bands.set(t, { at, band });
    }
    show();
    const a = await advice(s);
    if (mine !== turn) return;
    page.get("bench-advice").replaceChildren(...a.lines.map((t) => el("p", null, t)), el("p", { class: "soft" }, plan.words.estimate));
    page.get("bench-fit").dataset.busy = "no";
  }
  function quick(s) {
    const began = performance.now();
    quickFit(s);
    show();
    page.get("bench-fit").dataset.ms = (performance.now() - began).toFixed(1);
  }
  function show() {
    page.get("bench-curve").replaceChildren(picture());
    const f = fitted.fit, p = page.get("bench-fit");
    p.textContent = f ? (fitted.quick ? "Quick fit (the full one follows): " : "") + f.terms.map((t, j) => (WORDS[t] || t) + " " + page.significant(f.par[j], 4) +
      (f.states[j] === "determined" ? " (" + page.significant(f.conf[j][0], 4) + " to " + page.significant(f.conf[j][1], 4) + ")" : " (" + f.states[j] + ")")).join("; ") +
      "; rates in 1/min, as logarithm, at " + page.significant(f.temp_ref_c, 4) + " \u00b0C; 95 % intervals" +
      (fitted.quick ? " by specimen and step" : "") + "." : fitted.why;
    p.dataset.par = f ? JSON.stringify(f.par) : "";
    if (fitted.outside) p.textContent += " " + fitted.outside + " readings outside the conversion table are left out.";
  }

  function tick() {
    const now = Date.now();
    document.querySelectorAll("[data-until]").forEach((node) => {
      const until = +node.getAttribute("data-until"), from = +node.getAttribute("data-from");
      const text = now < from - 2000 ? "clock of the device set back: correct the time" :
        now <= until ? span(until - now) + " to go" : span(now - until) + " over";
      if (node.textContent !== text) node.textContent = text;
      node.classList.toggle("late", now > until);
    });
  }

  /* ---- files ---- */

  function readingsFile() {
    const s = state();
    const all = readingsOf(s);
    const columns = ["specimen", "temp_c", "step", "time_min", "reading", "hardness", "scale", "furnace"]
      .concat(all.some((r) => r.operator) ? ["operator"] : [], ["log_s", "note", "entered", "entry"]);
    return page.csv(columns, all);
  }
  /* Between two events the temperature of the sheet as the package computes it, at whole seconds. */
  const SECONDS = [0, 5, 10, 15, 20, 30, 45, 60, 90, 120, 180, 240, 360, 600, 1200, 3600, 7200, 14400, 28800];
  const correctedWords = (e) => e.corrected ? "corrected" + (e.reason ? ": " + e.reason : "") : "";
  function eventsFile() {
    const s = state(), out = [], sheet = plan.sheet;
    specimens.forEach((name) => {
      let temp = sheet.ambient_c;
      s.pieces[name].forEach((x) => {
        [["in", x.in, x.row.temp_c, sheet.support], ["out", x.out, sheet.ambient_c, sheet.cooling === "block" ? "block" : "free"]].forEach(([kind, e, around, support]) => {
          if (!e) return;
          const next = kind === "in" ? x.out : x.cold, at = Math.round(e.at / 1000);
          out.push({ specimen: name, time: stamp(e.at), temp_c: Number(temp.toFixed(2)), event: kind + " " + x.row.step, entered: stamp(e.recorded), note: [kind === "out" ? lateWords(x) : "", correctedWords(e)].filter(Boolean).join("; "), entry: e.id });
          const shut = kind === "in" && x.shut ? Math.round(x.shut.at / 1000) - at : NaN;
          const shutRow = (t) => ({ event: "shut " + x.row.step, entered: stamp(x.shut.recorded), note: correctedWords(x.shut), entry: x.shut.id });
          if (!next) { /* still in: the door alone, at a temperature that is not known yet */
            if (Number.isFinite(shut)) out.push(Object.assign({ specimen: name, time: stamp(x.shut.at), temp_c: Number(temp.toFixed(2)) }, shutRow()));
            return;
          }
          const long = Math.max(0, Math.round(next.at / 1000) - at);
          const seconds = SECONDS.filter((t) => t > 0 && t < long && t !== shut).concat(shut >= 0 && shut < long ? [shut] : [], long > 0 ? [long] : []).sort((a, b) => a - b);
          if (kind === "out" && sheet.cooling === "water") { temp = sheet.ambient_c; return; }
          const h = api.heat({ thickness_mm: sheet.thickness_mm, width_mm: sheet.width_mm, length_mm: sheet.length_mm, support, metal: sheet.metal, start_c: temp, around_c: around, until_s: Math.max(long, 1), time_s: seconds });
          seconds.slice(0, -1).forEach((t, i) => out.push({ specimen: name, time: stamp((at + t) * 1000), temp_c: Number(h.temp_c[i].toFixed(2)), ...(t === shut ? shutRow() : { event: "", entered: "", note: "", entry: "" }) }));
          if (seconds.length) temp = h.temp_c[seconds.length - 1];
        });
        if (x.cold) out.push({ specimen: name, time: stamp(x.cold.at), temp_c: Number(temp.toFixed(2)), event: "cold " + x.row.step, entered: stamp(x.cold.recorded), note: correctedWords(x.cold), entry: x.cold.id });
      });
    });
    return page.csv(["specimen", "time", "temp_c", "event", "entered", "note", "entry"], out);
  }
  function save(text, what) {
    const link = el("a", { download: "bench-" + what + "-" + plan.run.slice(0, 6) + ".csv" });
    link.href = URL.createObjectURL(new Blob(["\ufeff" + text], { type: "text/csv" }));
    document.body.append(link);
    link.click();
    link.remove();
    setTimeout(() => URL.revokeObjectURL(link.href), 60000);
    if (!unsaved.length) return;
    tell("The file holds what the browser did not save.");
  }

  function cellsOf(text) { /* rows of a file that this page wrote, maybe saved again by a spreadsheet */
    const body = text.replace(/^\ufeff/, ""), sep = body.split("\n")[0].includes(";") ? ";" : ",";
    const out = [];
    let row = [], field = "", inside = false;
    for (let i = 0; i < body.length; i++) {
      const c = body[i];
      if (inside) { if (c === "\"" && body[i + 1] === "\"") { field += "\""; i++; } else if (c === "\"") inside = false; else field += c; }
      else if (c === "\"") inside = true;
      else if (c === sep) { row.push(field); field = ""; }
      else if (c === "\n") { row.push(field.replace(/\r$/, "")); out.push(row); row = []; field = ""; }
      else field += c;
    }
    if (field || row.length) { row.push(field); out.push(row); }
    const head = out.shift() || [];
    return out.filter((r) => r.length === head.length).map((r) => {
      const x = {};
      head.forEach((name, i) => { x[name] = r[i].replace(/^'+(?=[=+@-])/, ""); });
      return x;
    });
  }
  async function takeIn(text) {
    const all = cellsOf(text), known = new Set(log.map((e) => e.id)), fresh = [], refused = [];
    if (!all.length || !("entry" in all[0])) { tell("This is not a file of readings or events of this page."); return; }
    all.forEach((r, k) => {
      if (!r.entry) return;
      const event = /^(in|shut|out|cold) (\d+)$/.exec(r.event || ""), time = Date.parse(event ? r.time : r.entered);
      const step = Number(event ? event[2] : r.step), value = page.parse(r.hardness || "");
      const right = specimens.includes(r.specimen) && stepsOf(r.specimen).some((x) => x.step === step) && Number.isFinite(time) &&
        /^n[0-9a-f]{12}$/.test(r.entry) && (event || (value > 0 && value <= plan.top && r.scale === plan.scale));
      if (!right) { refused.push(k + 2); return; }
      if (known.has(r.entry)) return;
      const recorded = event ? Date.parse(r.entered) : time;
      const base = { id: r.entry, specimen: r.specimen, step, time, recorded: Number.isFinite(recorded) ? recorded : time, taken_in: true };
      fresh.push(event ? Object.assign(base, { kind: event[1] }) : Object.assign(base, { kind: "reading", value, note: r.note || "", operator: r.operator || "" }));
    });
    log = sorted(log.concat(fresh));
    await keep(fresh);
    tell(fresh.length + " entries taken in" + (refused.length ? "; lines that do not belong to this run or are damaged: " + refused.slice(0, 10).join(", ") : "") + ".");
    changed();
  }

  async function begin() {
    page.get("bench-start").addEventListener("click", () => enter("begin", { operator: page.get("bench-operator").value.trim() }));
    page.get("bench-undo").addEventListener("click", once(() => { const s = state(); tell(""); if (s.last) enter("undo", { of: s.last.id }); }));
    page.get("bench-save-readings").addEventListener("click", () => save(readingsFile(), "readings"));
    page.get("bench-save-events").addEventListener("click", () => save(eventsFile(), "events"));
    page.get("bench-log-box").addEventListener("toggle", () => page.get("bench-log").replaceChildren(logTable(state())));
    page.get("bench-take").addEventListener("change", async (e) => {
      const file = e.target.files[0];
      if (file) await takeIn(await file.text());
      e.target.value = "";
    });
    await store.begin();
    if (store.kind === "none") await keep([]).then(() => {
      page.text("bench-store", "This browser does not save anything for a page opened from a file: save both files after each step.");
      page.get("bench-store").hidden = false;
    });
    api = await SoftannealAPI.load(SoftannealCore);
    log = sorted(await store.all().catch(() => []));
    if (log.length) kept = log.length + " entries found, " + store.kind;
    changed();
    let width = window.innerWidth;
    window.addEventListener("resize", () => {
      if (window.innerWidth === width) return;
      width = window.innerWidth;
      if (fitted) page.get("bench-curve").replaceChildren(picture());
    });
    help();
    document.addEventListener("page-dress", () => { if (fitted) page.get("bench-curve").replaceChildren(picture()); });
    setInterval(tick, 500);
    setInterval(look, 2000);
    document.addEventListener("visibilitychange", () => { tick(); look(); });
    document.documentElement.dataset.ready = "yes";
  }
  begin().catch((e) => page.fault("This page could not begin: " + (e && e.message || e)));
  return { readingsFile, eventsFile, takeIn, log: () => log.slice(), timings: () => timings.slice(-12) };
})();
