/* Plain functions on JavaScript arrays over core.js, the compiled code of softanneal (MIT licence,
 * Copyright (c) 2026 softanneal authors). Temperatures in deg C, times in min (histories: s), energies in
 * kJ/mol, lengths in mm; NaN where there is no value. Each function has its twin in R, named beside it,
 * and takes no text apart: what comes from a file or a form is checked before.
 *   const api = await SoftannealAPI.load(SoftannealCore);
 */
const SoftannealAPI = (function () {
  "use strict";
  const ZERO = 273.15, GAS = 8.31446261815324;
  const LGL = 10, INT = 13, REAL = 14, STR = 16, VEC = 19, CHR = 9;

  /* ---- distributions (R: pnorm, qnorm, qt) ---- */

  function normalDensity(x) { return Math.exp(-x * x / 2) / Math.sqrt(2 * Math.PI); }

  /* Series about 0 (Abramowitz and Stegun 26.2.11), continued fraction in the tails (26.2.14). */
  function normalTail(x) {
    if (x < 0) return 1 - normalTail(-x);
    if (x < 3) {
      let term = x, sum = x;
      for (let k = 1; k < 200 && Math.abs(term) > 1e-18 * Math.abs(sum); k++) {
        term *= x * x / (2 * k + 1);
        sum += term;
      }
      return 0.5 - normalDensity(x) * sum;
    }
    let f = x;
    for (let k = 200; k >= 1; k--) f = x + k / f;
    return normalDensity(x) / f;
  }
  function normalProbability(x) { return normalTail(-x); }

  function normalQuantile(p) {
    if (!(p > 0 && p < 1)) return p === 0 ? -Infinity : p === 1 ? Infinity : NaN;
    if (p > 0.5) return -lowerNormal(1 - p);
    return lowerNormal(p);
  }
  function lowerNormal(p) { /* p <= 1/2; start 26.2.23, then Newton */
    const t = Math.sqrt(-2 * Math.log(p));
    let x = -(t - (2.515517 + t * (0.802853 + t * 0.010328)) /
              (1 + t * (1.432788 + t * (0.189269 + t * 0.001308))));
    for (let k = 0; k < 6; k++) {
      const gap = (normalTail(-x) - p) / normalDensity(x);
      x -= gap / (1 + x * gap / 2);
      if (Math.abs(gap) < 1e-16 * Math.abs(x)) break;
    }
    return x;
  }

  /* Gamma(a + 1/2) / Gamma(a), by the asymptotic series beyond 30 (DLMF 5.11.13). */
  function gammaRatio(a) {
    let factor = 1;
    while (a < 30) { factor *= a / (a + 0.5); a += 1; }
    const u = 1 / a;
    return factor * Math.sqrt(a) *
      (1 + u * (-1 / 8 + u * (1 / 128 + u * (5 / 1024 + u * (-21 / 32768 + u * (-399 / 262144 +
       u * (869 / 4194304 + u * 39325 / 33554432)))))));
  }

  /* Probability beyond t > 0 of Student's distribution: half the incomplete beta function, by its
   * continued fraction (DLMF 8.17.22). */
  function studentTail(t, df) {
    const x = df / (df + t * t), y = t * t / (df + t * t);
    const a = df / 2, b = 0.5;
    const front = Math.exp(a * Math.log1p(-y)) * Math.sqrt(y) * gammaRatio(a) / Math.sqrt(Math.PI);
    const swap = x >= (a + 1) / (a + b + 2);
    const f = swap ? betaFraction(b, a, y) / b : betaFraction(a, b, x) / a;
    return swap ? 0.5 - 0.5 * front * f : 0.5 * front * f;
  }
  function betaFraction(a, b, x) {
    const tiny = 1e-300;
    let c = 1, d = 1 - (a + b) * x / (a + 1);
    d = 1 / (Math.abs(d) < tiny ? tiny : d);
    let h = d;
    for (let m = 1; m < 20000; m++) {
      let e = m * (b - m) * x / ((a + 2 * m - 1) * (a + 2 * m));
      d = 1 + e * d; c = 1 + e / c;
      d = 1 / (Math.abs(d) < tiny ? tiny : d);
      if (Math.abs(c) < tiny) c = tiny;
      h *= d * c;
      e = -(a + m) * (a + b + m) * x / ((a + 2 * m) * (a + 2 * m + 1));
      d = 1 + e * d; c = 1 + e / c;
      d = 1 / (Math.abs(d) < tiny ? tiny : d);
      if (Math.abs(c) < tiny) c = tiny;
      h *= d * c;
      if (Math.abs(d * c - 1) < 1e-16) break;
    }
    return h;
  }
  function studentQuantile(p, df) {
    if (!(df > 0) || !(p > 0 && p < 1)) return NaN;
    if (p === 0.5) return 0;
    const q = p > 0.5 ? 1 - p : p;
    if (df > 1e10) return p > 0.5 ? -normalQuantile(q) : normalQuantile(q);
    let low = 0, high = 1;
    while (studentTail(high, df) > q) { low = high; high *= 2; if (high > 1e150) break; }
    const density = (t) => gammaRatio(df / 2) / Math.sqrt(Math.PI * df) *
      Math.exp(-(df + 1) / 2 * Math.log1p(t * t / df));
    let t = (low + high) / 2;
    for (let k = 0; k < 200; k++) {
      const gap = studentTail(t, df) - q;
      if (gap > 0) low = t; else high = t;
      let next = t + gap / density(t);
      if (!(next > low && next < high)) next = (low + high) / 2;
      if (Math.abs(next - t) <= 1e-16 * t) { t = next; break; }
      t = next;
    }
    return p > 0.5 ? t : -t;
  }

  /* Root of f between a and b of different sign, to `tolerance`: bisection with the secant's and the
   * inverse parabola's steps (Brent, 1973, ch. 4). */
  function findRoot(f, a, b, tolerance) {
    let fa = f(a), fb = f(b), c = a, fc = fa;
    for (let k = 0; k < 1000; k++) {
      const before = b - a;
      if (Math.abs(fc) < Math.abs(fb)) { a = b; b = c; c = a; fa = fb; fb = fc; fc = fa; }
      const least = 2 * 2.220446049250313e-16 * Math.abs(b) + tolerance / 2;
      let step = (c - b) / 2;
      if (Math.abs(step) <= least || fb === 0) return b;
      if (Math.abs(before) >= least && Math.abs(fa) > Math.abs(fb)) {
        const middle = c - b;
        let p, q;
        if (a === c) {
          const t = fb / fa;
          p = middle * t; q = 1 - t;
        } else {
          const r = fa / fc, s = fb / fc, t = fb / fa;
          p = t * (middle * r * (r - s) - (b - a) * (s - 1));
          q = (r - 1) * (s - 1) * (t - 1);
        }
        if (p > 0) q = -q; else p = -p;
        if (p < 0.75 * middle * q - Math.abs(least * q) / 2 && p < Math.abs(before * q / 2)) step = p / q;
      }
      if (Math.abs(step) < least) step = step > 0 ? least : -least;
      a = b; fa = fb;
      b += step; fb = f(b);
      if ((fb > 0 && fc > 0) || (fb < 0 && fc < 0)) { c = a; fc = fa; }
    }
    return b;
  }

  /* ---- to C and back ---- */

  const int = (x) => ({ type: INT, value: [].concat(Array.from(typeof x === "number" ? [x] : x)) });
  const logical = (x) => ({ type: LGL, value: [x ? 1 : 0] });
  const real = (x) => ({ type: REAL, value: typeof x === "number" ? [x] : Array.from(x, number) });
  /* rows to columns of a matrix; `cols` where there are no rows */
  const matrix = (rows, cols, type) => ({ type: type || REAL, rows: rows.length,
                                          cols: rows.length ? rows[0].length : cols || 0, byRows: rows });
  const list = (x) => ({ type: VEC, value: x });
  const texts = (x) => ({ type: STR, value: typeof x === "string" ? [x] : x });
  const number = (x) => x === null || x === undefined ? NaN : +x;

  function connect(m) {
    const utf8 = new TextEncoder();
    const entries = {};
    for (let k = 0; ; k++) {
      const at = m._core_entry(k);
      if (!at) break;
      entries[m.UTF8ToString(at).replace(/^sa_call_/, "")] = k;
    }
    const text = (s) => {
      const bytes = utf8.encode(s);
      const x = m._Rf_allocVector(CHR, bytes.length + 1);
      m.HEAPU8.set(bytes, m._core_data(x));
      return x;
    };
    function names(of) {
      const x = m._Rf_allocVector(STR, of.length);
      of.forEach((name, i) => m._core_put(x, i, text(name)));
      return x;
    }
    function send(v) {
      if (v === null || v === undefined) return m._core_nil();
      if (typeof v === "number") return send(real(v));
      if (typeof v === "string") return send(texts(v));
      if (typeof v === "boolean") return send(logical(v));
      if (Array.isArray(v) || ArrayBuffer.isView(v)) return send(real(v));
      if (v.type === undefined) { /* a named list */
        const keys = Object.keys(v), x = m._Rf_allocVector(VEC, keys.length);
        keys.forEach((key, i) => m._core_put(x, i, send(v[key])));
        m._core_name(x, names(keys));
        return x;
      }
      if (v.type === VEC) {
        const x = m._Rf_allocVector(VEC, v.value.length);
        v.value.forEach((part, i) => m._core_put(x, i, send(part)));
        return x;
      }
      if (v.type === STR) return names(v.value);
      let values = v.value;
      let x;
      if (v.byRows) {
        values = [];
        for (let j = 0; j < v.cols; j++) for (let i = 0; i < v.rows; i++) values.push(number(v.byRows[i][j]));
        x = m._Rf_allocMatrix(v.type, v.rows, v.cols);
      } else {
        x = m._Rf_allocVector(v.type, values.length);
      }
      const heap = v.type === REAL ? m.HEAPF64 : m.HEAP32, at = m._core_data(x) >> (v.type === REAL ? 3 : 2);
      for (let i = 0; i < values.length; i++) heap[at + i] = values[i];
      if (v.names) m._core_name(x, names(v.names));
      return x;
    }
    function namesOf(x) {
      const t = m._core_names(x);
      if (!t || m._core_type(t) !== STR) return null;
      const out = [];
      for (let i = 0; i < m._core_length(t); i++) out.push(m.UTF8ToString(m._core_data(m._core_part(t, i))));
      return out;
    }
    function receive(x) {
      const type = m._core_type(x), n = m._core_length(x), at = m._core_data(x), rows = m._core_rows(x);
      if (type === 0) return null;
      if (type === STR) {
        const out = [];
        for (let i = 0; i < n; i++) out.push(m.UTF8ToString(m._core_data(m._core_part(x, i))));
        return out;
      }
      const keys = namesOf(x);
      let values;
      if (type === VEC) {
        values = [];
        for (let i = 0; i < n; i++) values.push(receive(m._core_part(x, i)));
      } else if (type === REAL) {
        values = Array.from(m.HEAPF64.subarray(at >> 3, (at >> 3) + n));
      } else {
        values = Array.from(m.HEAP32.subarray(at >> 2, (at >> 2) + n), (v) => v === -2147483648 ? NaN : v);
      }
      if (rows >= 0) { /* rows of numbers; by columns in C */
        const out = [];
        const cols = rows > 0 ? n / rows : 0;
        for (let i = 0; i < rows; i++) {
          const row = [];
          for (let j = 0; j < cols; j++) row.push(values[i + j * rows]);
          out.push(row);
        }
        return out;
      }
      if (keys === null) return values;
      const named = {};
      keys.forEach((key, i) => { named[key] = values[i]; });
      return named;
    }
    return function call(name, ...args) {
      if (!(name in entries)) throw new Error("no entry '" + name + "'");
      const stack = m.stackSave();
      try {
        return receive(m._core_call(entries[name], send(list(args))));
      } finally {
        m.stackRestore(stack);
        m._core_forget();
      }
    };
  }

  /* ---- small vector work ---- */

  const range = (n) => Array.from({ length: n }, (_, i) => i);
  const sum = (x) => x.reduce((a, b) => a + b, 0);
  const identity = (p) => range(p).map((i) => range(p).map((j) => i === j ? 1 : 0));
  const vector = (x) => typeof x === "number" || x === null ? [number(x)] : Array.from(x, number);
  function common(...parts) {
    const all = parts.map(vector), n = all.some((x) => x.length === 0) ? 0 : Math.max(...all.map((x) => x.length));
    return all.map((x) => {
      if (x.length !== n && x.length !== 1 && n > 0) throw new Error("lengths differ");
      return x.length === n ? x : range(n).map(() => x[0]);
    });
  }
  const unique = (x) => Array.from(new Set(x));
  const stableOrder = (n, compare) => range(n).sort((i, j) => compare(i, j) || i - j);
  const sameNumber = (a, b) => Math.abs(a - b) <= 1e-9 * Math.max(Math.abs(a), Math.abs(b));
  function median(x) {
    const s = Array.from(x).sort((a, b) => a - b), n = s.length;
    return n % 2 ? s[(n - 1) / 2] : (s[n / 2 - 1] + s[n / 2]) / 2;
  }
  const signif = (x, digits) => Number(x.toPrecision(digits));

  /* A softening model with parameters: fields `kind` or `model`, `par`, `temp_ref_c`. */
  const coordinateAt = (temp_c, ref_c) => -1000 * (1 / (temp_c + ZERO) - 1 / (ref_c + ZERO)) / GAS;
  const celsiusAt = (coordinate, ref_c) => Number.isFinite(coordinate) ?
    1 / (1 / (ref_c + ZERO) - coordinate * GAS / 1000) - ZERO : coordinate;


  /* ---- everything that needs the compiled code ---- */

  function build(m) {
    m.studentQuantile = studentQuantile;
    const call = connect(m);
    const register = call("parts");
    const models = range(register.models.name.length).map((i) => ({
      name: register.models.name[i], words: register.models.words[i], terms: register.models.terms[i],
      line: register.models.line[i], usual: register.models.usual[i] === 1 }));
    const terms = range(register.terms.name.length).map((i) => {
      const row = {};
      for (const key of Object.keys(register.terms)) row[key] = register.terms[key][i];
      return row;
    });
    const termOf = (name) => {
      const found = terms.find((t) => t.name === name);
      if (!found) throw new Error("no parameter '" + name + "'");
      return found;
    };
    const stateWords = register.states;
    const isOpen = (state) => stateWords.indexOf(state) >= 4;
    const isLost = (state) => state !== "determined" && state !== "fixed";

    /* Number of the model and its parameters in order (R: model_setup). */
    function model(name, growth) {
      if (!models.some((x) => x.name === name)) throw new Error("no model '" + name + "'");
      const x = call("model", texts(name), { strain: false, soft_strain: false, growth: int(growth || 0), exponents: int(1) });
      return { kind: x.kind[0], terms: x.terms };
    }
    function curveOf(fit) {
      const known = model(fit.model, fit.growth);
      const par = vector(fit.par);
      if (par.length !== known.terms.length) throw new Error("model '" + fit.model + "' needs " + known.terms.join(", "));
      return { kind: int(known.kind), par, terms: known.terms, ref_c: number(fit.temp_ref_c) };
    }

    /* ---- the model curve (R: predict, soften) ---- */

    function hardnessGradient(fit, temp_c, time_min) {
      const c = curveOf(fit);
      const [temp, time] = common(temp_c, time_min);
      const at = temp.map((t, i) => coordinateAt(time[i] === 0 && !Number.isFinite(t) ? c.ref_c : t, c.ref_c));
      const fine = range(temp.length).filter((i) => Number.isFinite(at[i]) && time[i] >= 0);
      const out = { hardness: temp.map(() => NaN), gradient: temp.map(() => c.par.map(() => NaN)) };
      if (!fine.length) return out;
      const rows = call("hardness", c.kind, fine.map((i) => Math.log(time[i])), fine.map((i) => at[i]), c.par);
      fine.forEach((i, k) => {
        out.hardness[i] = rows[k][0];
        out.gradient[i] = rows[k].slice(1);
      });
      return out;
    }
    const hardness = (fit, temp_c, time_min) => hardnessGradient(fit, temp_c, time_min).hardness;
    const softened = (fit, h) => h.map((x) => (fit.par[0] - x) / (fit.par[0] - fit.par[1]));
    const softening = (fit, temp_c, time_min) => softened(fit, hardness(fit, temp_c, time_min));

    /* Recrystallised fraction: that of a history of constant temperature. */
    function fraction(fit, temp_c, time_min) {
      const [temp, time] = common(temp_c, time_min);
      return temp.map((t, i) => {
        if (time[i] === 0) return 0;
        if (!Number.isFinite(t) || !(time[i] > 0)) return NaN;
        return alongHistory(fit, { time_s: [0, 60 * time[i]], temp_c: [t, t] }).fraction[1];
      });
    }

    function historyOf(history) {
      const time = vector(history.time_s), temp = vector(history.temp_c);
      const points = { time_s: time, temp_c: temp, first: int([0, time.length]) };
      if (time.length < 1 || time.length !== temp.length) throw new Error("a history needs times and temperatures");
      const fault = call("history_check", points);
      if (fault[0] !== 0) throw new Error("point " + fault[1] + " of the history: " +
        ["", "a value is missing", "not above absolute zero", "time falls", "out of range"][fault[0]]);
      return points;
    }
    function alongHistory(fit, history, time_s) {
      const c = curveOf(fit), points = historyOf(history);
      const start = points.time_s[0], end = points.time_s[points.time_s.length - 1];
      const mark = time_s === undefined ? points.time_s : vector(time_s).slice().sort((a, b) => a - b);
      if (mark.some((t) => !(t >= start && t <= end))) throw new Error("a time lies outside the history");
      const r = call("soften", c.kind, points, mark, int([0, mark.length]), c.ref_c + ZERO, c.par);
      return { time_s: Array.from(mark), temp_c: time_s === undefined ? points.temp_c.slice() :
                 mark.map((t) => between(points.time_s, points.temp_c, t)),
               theta: r.ln_theta.map(Math.exp), fraction: r.fraction, hardness: r.hardness,
               softening: softened(fit, r.hardness), gradient: r.gradient };
    }
    function between(x, y, at) {
      let k = 0;
      while (k + 1 < x.length && x[k + 1] < at) k++;
      if (k + 1 >= x.length) return y[x.length - 1];
      return x[k + 1] === x[k] ? y[k + 1] : y[k] + (y[k + 1] - y[k]) * (at - x[k]) / (x[k + 1] - x[k]);
    }
    /* Time at `temp_c` of the same reduced time (R: equivalent_time). */
    function equivalentTime(history, q_kj_mol, temp_c) {
      const points = historyOf(history), n = points.time_s.length;
      const r = call("reduced_time", points, [points.time_s[n - 1]], int([0, 1]), number(q_kj_mol),
                     number(temp_c) + ZERO, int(0));
      return Math.exp(r[0][0]);
    }

    /* ---- intervals (R: error_interval, delta_se, interval_t) ---- */

    function problemOf(p) {
      return list([real(p.y), matrix(p.x, p.columns), real(p.g), real(p.noise),
                   p.share ? matrix(p.share) : null, int(p.piece), int(p.furnace), int(p.first),
                   int(p.first_column), int(p.is_furnace), real(p.factor)]);
    }
    function grid(errors, gradient, probability, extra) {
      return call("components_grid", list(errors.problems.map(problemOf)), matrix(errors.prior),
                  matrix(gradient, errors.free.length), extra ? matrix(extra) : null, real(probability));
    }
    const CENTRAL = [normalProbability(-1), normalProbability(1)];

    /* Distances of the ends from the estimate, for quantities with these gradients in the parameters. */
    function interval(fit, gradient, level, extra) {
      const at = level === undefined ? (fit.level || 0.95) : level;
      const n = gradient.length, out = { std_error: [], lower: [], upper: [] };
      for (let i = 0; i < n; i++) { out.std_error.push(NaN); out.lower.push(NaN); out.upper.push(NaN); }
      if (!fit.states) return out;
      if (fit.se === "components") {
        if (!fit.errors) return out;
        const fine = range(n).filter((i) => gradient[i].every((g, j) => Number.isFinite(g) &&
          !(isOpen(fit.states[j]) && g !== 0)));
        if (!fine.length) return out;
        const rows = fine.map((i) => fit.errors.free.map((j) => gradient[i][j]));
        const r = grid(fit.errors, rows, [0.5 - at / 2, 0.5 + at / 2, CENTRAL[0], CENTRAL[1]],
                       extra ? fine.map((i) => extra[i]) : null);
        if (r.status[0] !== 0) return out;
        fine.forEach((i, k) => {
          out.std_error[i] = (r.quantile[k][3] - r.quantile[k][2]) / 2;
          out.lower[i] = r.quantile[k][0];
          out.upper[i] = r.quantile[k][1];
        });
        return out;
      }
      const se = standardErrors(fit, gradient);
      const t = fit.df > 0 ? studentQuantile(0.5 + at / 2, fit.df) : NaN;
      se.forEach((x, i) => {
        out.std_error[i] = extra ? Math.sqrt(x * x + extra[i][extra[i].length - 1]) : x;
        out.lower[i] = -t * out.std_error[i];
        out.upper[i] = t * out.std_error[i];
      });
      return out;
    }
    function standardErrors(fit, gradient) {
      const p = fit.par.length;
      if (!gradient.length) return [];
      const se = call("gradient_se", matrix(gradient, p), matrix(fit.cov_full));
      const lost = call("gradient_se", matrix(gradient, p), matrix(fit.cov_null));
      return se.map((x, i) => lost[i] > 1e-6 || !gradient[i].every(Number.isFinite) ? NaN : x);
    }

    /* The curve with its interval. Where the readings leave a parameter open there is none (R goes on to
     * the likelihood there). */
    function predict(fit, temp_c, time_min, options) {
      const o = options || {};
      const at = hardnessGradient(fit, temp_c, time_min);
      const band = interval(fit, at.gradient, o.level, o.interval === "prediction" ?
        newReading(fit, temp_c, time_min) : undefined);
      const own = o.interval === "prediction" ? interval(fit, at.gradient, o.level).std_error : band.std_error;
      if (fit.states && fit.states.some(isLost)) {
        const span = Math.abs(fit.par[0] - fit.par[1]);
        own.forEach((x, i) => { if (!(x <= span / 2)) own[i] = band.lower[i] = band.upper[i] = NaN; });
      }
      return { hardness: at.hardness, std_error: own,
               lower: at.hardness.map((h, i) => h + band.lower[i]),
               upper: at.hardness.map((h, i) => h + band.upper[i]) };
    }
    /* Parts of a compiled call as R wrote them (typed_parts() in R/pages-core.R). */
    function untyped(x) {
      if (x.type === "none") return null;
      if (x.type === "matrix") return matrix(x.value, x.columns);
      if (x.type !== "list") return x.type === "integer" ? int(x.value) : real(x.value);
      const parts = x.value.map(untyped);
      return x.names ? Object.fromEntries(x.names.map((name, i) => [name, parts[i]])) : list(parts);
    }
    /* As among_readings() in R; `read`: temperature, first and last time of the readings there. */
    const amongReadings = (read, temp, time) => time === 0 ||
      read.some(([t, first, last]) => Math.abs(temp - t) < 1e-6 && time >= first && time <= last);
    /* The curve where something is open, by the likelihood of the hardness at each place (R: softening_band);
     * `with`: of page_likelihood(). Ends may be infinite; value NaN where no value is best. */
    function curveInterval(fit, ask, temp_c, time_min, what) {
      const [temp, time] = common(temp_c, time_min), { hardness: h, gradient } = hardnessGradient(fit, temp, time);
      const se = standardErrors(fit, gradient);
      const at = temp.map((t, i) => coordinateAt(time[i] === 0 && !Number.isFinite(t) ? number(fit.temp_ref_c) : t, fit.temp_ref_c));
      const fine = range(temp.length).filter((i) => Number.isFinite(h[i]));
      const out = { hardness: h.slice(), lower: h.map(() => NaN), upper: h.map(() => NaN), lost: h.map(() => false) };
      if (!fine.length) return out;
      const order = fine.slice().sort((i, j) => at[i] - at[j] || time[i] - time[j]);
      const stepAt = (half) => Math.min(Math.max(half > 0 && half <= ask.t * ask.span / 2 ? half : 0.1 * ask.span, 0.002 * ask.span), 0.5 * ask.span);
      const endsAt = (places, rise, narrow) => !places.length ? [] : call("curve_interval", untyped(ask.conditions),
        untyped(ask.setup), number(fit.temp_ref_c) + ZERO, vector(fit.par),
        matrix(places.map((i) => [at[i], Math.log(time[i]), stepAt(ask.t * se[i]), 0, 0, rise * ask.threshold])),
        [number(ask.misfit), ask.flat_rise, narrow], null);
      const ends = endsAt(order, 1, ask.narrow), wide = order.filter((i, k) =>
        ends[k][1] - ends[k][0] > ask.narrow && !amongReadings(ask.read, temp[i], time[i]));
      const quarter = endsAt(wide, ask.quarter, Infinity);
      order.forEach((i, k) => {
        const [low, high, from, to] = ends[k], width = high - low, open = !Number.isFinite(width);
        const share = (e) => Math.abs(quarter[wide.indexOf(i)][e] - h[i]) / Math.abs(ends[k][e] - h[i]);
        const leans = wide.includes(i) && !open && [0, 1].some((e) => share(e) < ask.leans[0] || share(e) > ask.leans[1]);
        const lost = !Number.isNaN(low) && (open || width > ask.narrow && (leans || !(to - from <= ask.flat_span * width)));
        out.lost[i] = lost;
        const away = [h[i] - low, high - h[i]];
        const grown = what === "prediction" ? away.map((x) => lost ? Math.abs(x) + ask.own : Math.hypot(x, ask.own)) : away;
        out.lower[i] = Math.max(h[i] - grown[0], 0);
        out.upper[i] = h[i] + grown[1];
        if (lost) out.hardness[i] = NaN;
      });
      return out;
    }

    /* The same at the end of a history (R: history_band). */
    function historyInterval(fit, ask, history) {
      const points = historyOf(history), n = points.time_s.length, minutes = (points.time_s[n - 1] - points.time_s[0]) / 60;
      const along = alongHistory(fit, history, [points.time_s[n - 1]]), h = along.hardness[0];
      if (!Number.isFinite(h)) return { hardness: h, lower: NaN, upper: NaN };
      const half = ask.t * standardErrors(fit, along.gradient)[0];
      const step = Math.min(Math.max(half > 0 && half <= ask.t * ask.span / 2 ? half : 0.1 * ask.span, 0.002 * ask.span), 0.5 * ask.span);
      const endsAt = (rise, narrow) => call("curve_interval", untyped(ask.conditions), untyped(ask.setup),
        number(fit.temp_ref_c) + ZERO, vector(fit.par), matrix([[0, 0, step, 0, 0, rise * ask.threshold]]),
        [number(ask.misfit), ask.flat_rise, narrow], list([points, int(1), real([minutes])]))[0];
      const [low, high, from, to] = endsAt(1, ask.narrow), width = high - low;
      let lost = !Number.isFinite(width) || width > ask.narrow && !(to - from <= ask.flat_span * width);
      if (!lost && width > ask.narrow) {
        const quarter = endsAt(ask.quarter, Infinity);
        lost = [low, high].some((x, e) => {
          const share = Math.abs(quarter[e] - h) / Math.abs(x - h);
          return share < ask.leans[0] || share > ask.leans[1];
        });
      }
      return { hardness: lost ? NaN : h, lower: Math.max(low, 0), upper: high };
    }

    /* Variances that a new reading on a new specimen adds (R: reading_extra). */
    function newReading(fit, temp_c, time_min) {
      const [temp, time] = common(temp_c, time_min);
      const e = fit.errors;
      if (fit.se !== "components" || !e) return temp.map(() => [number(fit.reading_variance)]);
      const up = hardness(fit, temp.map((t, i) => time[i] === 0 ? t : t + 1e-3), time);
      const down = hardness(fit, temp.map((t, i) => time[i] === 0 ? t : t - 1e-3), time);
      const reading = Number.isFinite(e.sd_reading) ? e.sd_reading : 0;
      return temp.map((_, i) => {
        const slope = time[i] === 0 ? 0 : (up[i] - down[i]) / 2e-3;
        return [(Number.isFinite(slope) ? slope * slope : 0) * e.furnace_scale2, 1, 1, e.operators ? 1 : 0,
                reading * reading];
      });
    }

    /* ---- answers (R: time_to, temp_for with method = "delta") ---- */

    function targetOf(target) {
      const kinds = ["hardness", "softening", "fraction"];
      const what = kinds.filter((k) => target[k] !== undefined);
      if (what.length !== 1) throw new Error("one of hardness, softening and fraction");
      return { code: int(kinds.indexOf(what[0])), value: number(target[what[0]]) };
    }
    function timeRows(c, temp, aim, par) {
      return call("time_to", c.kind, temp.map((t) => coordinateAt(t, c.ref_c)), temp.map(() => aim.value),
                  aim.code, par || c.par);
    }
    function lnTimes(fit, temp, aim, level) {
      const c = curveOf(fit);
      const rows = temp.length ? timeRows(c, temp, aim) : [];
      const ln = rows.map((r) => r[0]), gradient = rows.map((r) => r.slice(1));
      const ends = interval(fit, gradient, level);
      const open = !!fit.states && fit.states.some(isLost);
      ln.forEach((x, i) => {
        const wide = open && (fit.se === "components" ? standardErrors(fit, [gradient[i]])[0] : ends.std_error[i]) > 2;
        if (!Number.isFinite(x) || wide) ends.std_error[i] = ends.lower[i] = ends.upper[i] = NaN;
      });
      return { ln, ends };
    }
    function timeTo(fit, target, temp_c, options) {
      const aim = targetOf(target), temp = vector(temp_c);
      const a = lnTimes(fit, temp, aim, options && options.level);
      return { temp_c: temp, time_min: a.ln.map(Math.exp),
               std_error: a.ln.map((x, i) => Math.exp(x) * a.ends.std_error[i]),
               lower: a.ln.map((x, i) => Math.exp(x + a.ends.lower[i])),
               upper: a.ln.map((x, i) => Math.exp(x + a.ends.upper[i])) };
    }
    /* ln t falls with temperature: a grid finds the bracket. */
    function temperatureRoot(c, lnTime, aim) {
      const from = 1 / (3500 + ZERO), to = 1 / (-213.15 + ZERO);
      const inverse = range(400).map((k) => from + (to - from) * k / 399);
      const gap = timeRows(c, inverse.map((x) => 1 / x - ZERO), aim).map((r) => r[0] - lnTime);
      const fine = range(400).filter((k) => Number.isFinite(gap[k]));
      for (let k = 0; k + 1 < fine.length; k++) {
        if (gap[fine[k + 1]] >= 0 && gap[fine[k]] < 0) {
          const root = findRoot((x) => timeRows(c, [1 / x - ZERO], aim)[0][0] - lnTime,
                                inverse[fine[k]], inverse[fine[k] + 1], 1e-14);
          return 1 / root - ZERO;
        }
      }
      return NaN;
    }
    function tempFor(fit, target, time_min, options) {
      const c = curveOf(fit), aim = targetOf(target), time = vector(time_min);
      const temp = time.map((t) => t > 0 ? temperatureRoot(c, Math.log(t), aim) : NaN);
      const a = lnTimes(fit, temp.map((t) => Number.isFinite(t) ? t : c.ref_c), aim, options && options.level);
      const out = { time_min: time, temp_c: temp, std_error: [], lower: [], upper: [] };
      temp.forEach((t, i) => {
        if (!Number.isFinite(t)) { out.std_error.push(NaN); out.lower.push(NaN); out.upper.push(NaN); return; }
        const x = 1 / (t + ZERO), h = 1e-5 * x;
        const up = timeRows(c, [1 / (x + h) - ZERO], aim)[0][0], down = timeRows(c, [1 / (x - h) - ZERO], aim)[0][0];
        const slope = Math.abs((up - down) / (2 * h));
        const high = x - a.ends.upper[i] / slope;
        out.std_error.push(a.ends.std_error[i] / slope * (t + ZERO) * (t + ZERO));
        out.lower.push(1 / (x - a.ends.lower[i] / slope) - ZERO);
        out.upper.push(Number.isNaN(high) ? NaN : high > 0 ? 1 / high - ZERO : Infinity);
      });
      return out;
    }

    /* ---- fit (R: fit_softening) ---- */

    const CONTROL = { type: REAL, value: [1e-14, 1e-12, 1e-10, 1, 0, 1000],
                      names: ["ftol", "xtol", "gtol", "initial_radius", "huber", "max_iterations"] };

    /* Values that are the same as the next lower one become that one. */
    function mergeNear(x) {
      const values = unique(x).sort((a, b) => a - b), to = new Map(values.map((v) => [v, v]));
      for (let k = 1; k < values.length; k++) {
        if (sameNumber(values[k], values[k - 1])) to.set(values[k], to.get(values[k - 1]));
      }
      return x.map((v) => to.get(v));
    }
    function labels(x, n, what) {
      if (x === undefined || x === null) return null;
      if (x.length !== n) throw new Error(what + " has another length than hardness");
      return Array.from(x, String);
    }

    /* Readings in order for C; rows with a missing value are left out and counted. */
    function dataOf(readings, options) {
      const all = readings.hardness.length;
      const column = (name) => {
        const x = vector(readings[name]);
        if (x.length !== all) throw new Error(name + " has another length than hardness");
        return x;
      };
      const time0 = column("time_min"), temp0 = column("temp_c"), hard0 = column("hardness");
      const weight0 = readings.weight ? column("weight") : null;
      const keep = range(all).filter((i) => time0[i] >= 0 && hard0[i] > 0 && Number.isFinite(hard0[i]) &&
        Number.isFinite(time0[i]) && (temp0[i] > -ZERO && Number.isFinite(temp0[i]) || time0[i] === 0) &&
        !(weight0 && !(weight0[i] > 0)));
      const take = (x) => x && keep.map((i) => x[i]);
      const d = { n: keep.length, left_out: all - keep.length, rows: keep, time: take(time0), label_c: take(temp0),
                  hardness: take(hard0), weight: take(weight0),
                  specimen: take(labels(readings.specimen, all, "specimen")),
                  furnace: take(labels(readings.furnace, all, "furnace")),
                  operator: take(labels(readings.operator, all, "operator")) };
      if (!d.n) throw new Error("no complete reading");
      d.id = d.specimen ? numbers(d.specimen) : d.time.map(() => 1);
      const hot = range(d.n).filter((i) => d.time[i] > 0 && Number.isFinite(d.label_c[i]));
      if (!hot.length) throw new Error("no reading after an anneal");
      d.ref_k = options.temp_ref_c !== undefined ? options.temp_ref_c + ZERO :
        hot.length / sum(hot.map((i) => 1 / (d.label_c[i] + ZERO)));
      d.temp_k = d.label_c.map((t, i) => d.time[i] === 0 ? d.ref_k : t + ZERO); // as rolled is one condition
      d.temp_k = mergeNear(d.temp_k);
      d.time = mergeNear(d.time);
      d.order = stableOrder(d.n, (i, j) => d.temp_k[i] - d.temp_k[j] || d.time[i] - d.time[j] || d.id[i] - d.id[j]);
      return d;
    }
    function numbers(x) { /* place of each among those that differ, from 1 */
      const seen = new Map();
      return x.map((v) => {
        if (!seen.has(v)) seen.set(v, seen.size + 1);
        return seen.get(v);
      });
    }

    /* Starts, bounds and fixed parameters (R: softening_setup). */
    function setupOf(d, name, options) {
      const known = model(name, options.growth), p = known.terms.length;
      const after = range(d.n).filter((i) => d.time[i] > 0);
      const logTime = after.map((i) => Math.log(d.time[i]));
      const hottest = Math.max(...after.map((i) => d.temp_k[i])), coldest = Math.min(...after.map((i) => d.temp_k[i]));
      const top = Math.max(...d.hardness), soft = Math.min(...d.hardness);
      const rows = known.terms.map(termOf);
      const lower = rows.map((t) => t.rule === "times" ? t.low - Math.max(...logTime) : t.low);
      const upper = rows.map((t) => t.rule === "times" ? t.high - Math.min(...logTime) :
        t.rule === "top" ? t.high * 10 * top : t.rule === "softest" ? t.high * soft : t.high);
      const start = rows.map((t) => t.rule === "times" ? -sum(logTime) / logTime.length : t.start);
      start[0] = top;
      start[1] = soft;
      const has = (x, i) => x && x[known.terms[i]] !== undefined;
      for (const x of [options.lower, options.upper, options.fixed, options.start]) {
        for (const key of Object.keys(x || {})) if (!known.terms.includes(key)) throw new Error("no parameter '" + key + "'");
      }
      const natural = range(2 * p).map((k) => k < p ? +(rows[k].natural === 1 || has(options.lower, k)) : +has(options.upper, k - p));
      const held = range(p).map(() => 0), noEnergy = [];
      for (let j = 0; j < p; j++) {
        if (has(options.lower, j)) lower[j] = number(options.lower[known.terms[j]]);
        if (has(options.upper, j)) upper[j] = number(options.upper[known.terms[j]]);
        if (sameNumber(hottest, coldest) && rows[j].role === "energy" && !has(options.fixed, j)) {
          start[j] = 0; held[j] = 1; noEnergy.push(j);
        }
        if (has(options.start, j)) start[j] = number(options.start[known.terms[j]]);
        if (has(options.fixed, j)) { start[j] = number(options.fixed[known.terms[j]]); held[j] = 1; }
        if (!(lower[j] < upper[j])) throw new Error("lower is not below upper for " + known.terms[j]);
      }
      const conditions = new Set(range(d.n).map((i) => d.temp_k[i] + " " + d.time[i])).size;
      if (conditions < p - sum(held)) throw new Error("too few steps: " + conditions + " for " + (p - sum(held)) + " parameters");
      return { kind: known.kind, terms: known.terms, start, lower, upper, natural, held, noEnergy,
               use_start: !!options.start };
    }
    function solve(d, set, level, clusters, start, held) {
      return call("softening",
        { temp_k: d.temp_k, time: d.time, hardness: d.hardness, weight: d.weight, specimen: int(d.id),
          order: int(d.order.map((i) => i + 1)), history: null, strain: null, exponent_k: null },
        { kind: int(set.kind), start: start || set.start, lower: set.lower, upper: set.upper,
          natural: int(set.natural), held: int(held || set.held) },
        { ref_k: d.ref_k, level, clusters, use_start: start ? true : set.use_start, every: false }, CONTROL);
    }

    function fit(readings, options) {
      const o = { model: "jmak", se: "components", level: 0.95 };
      for (const [key, x] of Object.entries(options || {})) if (x !== null && x !== undefined) o[key] = x;
      const d = dataOf(readings, o), set = setupOf(d, o.model, o), p = set.terms.length;
      const se = set.held.every((h) => h) && o.se === "components" ? "model" : o.se;
      let r = solve(d, set, o.level, se !== "model");
      let errors = null;
      if (se === "components") {
        errors = components(r, d, set, o);
        if (errors) {
          const moved = solve(d, set, o.level, false, errors.m.par, set.held.map(() => 1));
          for (const field of ["par", "jac", "fitted"]) r[field] = moved[field];
          for (const part of ["objective", "pure_error", "between"]) r.sums[part] = moved.sums[part];
        }
      }
      const estimated = p - sum(set.held), df = d.n - estimated, dfSteps = r.counts.treatments - estimated;
      const deviance = r.sums.objective + r.sums.pure_error, variance = df > 0 ? deviance / df : NaN;
      const scaled = (x, by) => x.map((row) => row.map((v) => v * by));
      let full = se === "model" ? scaled(r.model, variance) :
        se === "steps" ? scaled(r.model, dfSteps > 0 ? r.sums.between / dfSteps : NaN) :
        scaled(r.cluster, dfSteps > 0 ? 1 : NaN);
      let states = r.state.map((k) => stateWords[k]);
      let limits = set.terms.map((_, j) => [r.limit[0][j], r.limit[1][j]]);
      let dfInterval = se === "model" ? df : dfSteps;
      const residuals = d.hardness.map((h, i) => h - r.fitted[i]);
      const out = { model: o.model, growth: o.growth || 0, kind: set.kind, terms: set.terms, par: r.par, temp_ref_c: d.ref_k - ZERO,
                    states, limits, fixed: set.held, level: o.level, se, scale: o.scale || "HV",
                    sigma: Math.sqrt(variance), deviance, nobs: d.n, df_residual: df,
                    converged: r.counts.end < register.converged_ends[0], end: register.ends[r.counts.end],
                    cov_null: r.null, errors: null, sd: null, left_out: d.left_out, rows: d.rows,
                    fitted: r.fitted, residuals,
                    conditions: { temp_c: r.temp_k.map((t) => t - ZERO), time_min: r.time, mean: r.mean, weight: r.weight,
                                  of_reading: r.condition } };
      const after = range(r.time.length).filter((k) => r.time[k] > 0);
      out.range = { temp_c: [Math.min(...after.map((k) => r.temp_k[k])) - ZERO, Math.max(...after.map((k) => r.temp_k[k])) - ZERO],
                    time_min: [Math.min(...after.map((k) => r.time[k])), Math.max(...after.map((k) => r.time[k]))] };
      if (se === "components") {
        if (errors) {
          const s = summaryOf(errors, p, o.level);
          errors.sds = s.sd;
          const lost = states.some(isLost);
          if (lost || limits.some((x) => !Number.isNaN(x[0])) || isOneSided(out) || isSoftOnce(out)) {
            const profile = profileOf(out, errors, set, d, o.level);
            if (lost || profile.states.some(isLost) || isBent(out, profile)) {
              states = profile.states;
              limits = profile.limits;
            } else limits = limits.map(() => [NaN, NaN]);
          }
          full = s.vcov;
          dfInterval = s.df;
          out.errors = { problems: errors.problems, prior: errors.prior, free: errors.free,
                         sd_reading: errors.steps.sd_reading, furnace_scale2: errors.scale2,
                         operators: errors.steps.share !== null, visible: errors.visible,
                         stated: o.u_temp_c !== undefined };
          out.sd = s.sd.map((x) => x[0]).concat([errors.steps.sd_reading]);
        } else {
          full = full.map((row) => row.map(() => NaN));
          dfInterval = NaN;
        }
      }
      out.states = states;
      out.limits = limits;
      out.df = dfInterval;
      out.cov_full = full;
      out.cov = full.map((row, i) => row.map((v, j) => states[i] !== "determined" || states[j] !== "determined" ? NaN : v));
      out.std_error = out.cov.map((row, j) => Math.sqrt(row[j]));
      out.known = out.par.map((x, j) => set.noEnergy.includes(j) ? NaN : x);
      const ends = interval(out, identity(p), o.level);
      out.conf = out.par.map((x, j) => states[j] === "determined" && Number.isNaN(limits[j][0]) ?
        [x + ends.lower[j], x + ends.upper[j]] : states[j] === "fixed" ? [NaN, NaN] : limits[j]);
      return out;
    }

    /* ---- components of error (R: fit_components and what it calls) ---- */

    const groupSums = (x, group, count) => {
      const out = range(count).map(() => 0);
      x.forEach((v, i) => { out[group[i]] += v; });
      return out;
    };

    function errorSteps(r, d) {
      const w = d.weight || d.time.map(() => 1), count = r.counts.treatments;
      const step = r.cluster_of;
      const total = groupSums(w, step, count);
      const mean = groupSums(w.map((v, i) => v * d.hardness[i]), step, count).map((v, k) => v / total[k]);
      const first = range(count).map((k) => step.indexOf(k));
      const condition = r.first_of.slice(0, count);
      const time = condition.map((k) => r.time[k]);
      const piece = d.specimen ? first.map((i) => d.id[i]) : range(count).map((k) => k + 1);
      const run = errorRuns(d, first, time, piece);
      let share = null, within = step.slice();
      if (d.operator && unique(d.operator).length > 1) {
        const id = numbers(d.operator), people = Math.max(...id);
        share = range(count).map((k) => range(people).map((q) =>
          sum(range(d.n).filter((i) => step[i] === k && id[i] === q + 1).map((i) => w[i])) / total[k]));
        within = numbers(step.map((k, i) => k + " " + id[i])).map((k) => k - 1);
      }
      const parts = Math.max(...within) + 1;
      const weightOf = groupSums(w, within, parts);
      const centre = groupSums(w.map((v, i) => v * d.hardness[i]), within, parts).map((v, k) => v / weightOf[k]);
      const df = d.n - parts;
      const squares = sum(w.map((v, i) => v * Math.pow(d.hardness[i] - centre[within[i]], 2)));
      return { n: count, key: condition.map((k) => r.temp_k[k]), time, mean, weight: total, piece, run: run.run,
               insertion: run.insertion, runs: run.labels, share, df_reading: df,
               sd_reading: df > 0 ? Math.sqrt(squares / df) : NaN };
    }
    /* R: at_settings */
    const settingApartK = 5;
    function atSettings(label, temp, after) {
      const out = label.slice();
      for (const name of unique(after.map((k) => label[k]))) {
        const own = after.filter((k) => label[k] === name);
        const each = unique(own.map((k) => temp[k])).sort((a, b) => a - b);
        let setting = 0;
        const of = each.map((t, i) => i > 0 && t - each[i - 1] > settingApartK - 1e-6 ? ++setting : setting);
        if (setting === 0) continue;
        own.forEach((k) => { out[k] = name + " at setting " + of[each.indexOf(temp[k])]; });
      }
      return out;
    }
    function errorRuns(d, first, time, piece) {
      const after = range(time.length).filter((k) => time[k] > 0);
      const label = d.furnace ? atSettings(first.map((i) => d.furnace[i]), first.map((i) => d.label_c[i]), after)
        : first.map((i) => signif(d.label_c[i], 10) + " C");
      const names = unique(after.map((k) => label[k]));
      const run = label.map((x) => names.indexOf(x) + 1);
      let alone = names.length;
      range(time.length).filter((k) => !(time[k] > 0)).forEach((k) => {
        const own = after.find((j) => piece[j] === piece[k]);
        run[k] = own !== undefined ? run[own] : ++alone;
      });
      return { run, labels: names, insertion: numbers(run.map((x, k) => x + " " + time[k])) };
    }
    function errorBlocks(piece, run) {
      let block = numbers(piece);
      for (;;) {
        const before = block.join();
        for (const key of [run, piece]) {
          const least = new Map();
          key.forEach((x, k) => { if (!least.has(x) || block[k] < least.get(x)) least.set(x, block[k]); });
          block = key.map((x) => least.get(x));
        }
        if (block.join() === before) {
          const sorted = unique(block).sort((a, b) => a - b);
          return block.map((x) => sorted.indexOf(x) + 1);
        }
      }
    }
    function errorStructure(piece, furnaceKey, byRun, block) {
      const n = piece.length, order = stableOrder(n, (i, j) => block[i] - block[j]);
      const take = (x) => order.map((i) => x[i]);
      const own = take(piece), key = take(furnaceKey), of = take(block);
      const several = (x) => x.map((v) => x.indexOf(v) !== x.lastIndexOf(v));
      const hasPiece = several(own), hasFurnace = byRun ? key.map(() => true) : several(key);
      let columns = [];
      const add = (kind, id, has) => {
        const seen = new Set();
        id.forEach((v, k) => {
          if (has[k] && !seen.has(v)) { seen.add(v); columns.push([of[k], kind, v]); }
        });
      };
      add(0, own, hasPiece);
      add(1, key, hasFurnace);
      const sorted = stableOrder(columns.length, (i, j) => columns[i][0] - columns[j][0] ||
        columns[i][1] - columns[j][1] || columns[i][2] - columns[j][2]);
      columns = sorted.map((k) => columns[k]);
      const place = (kind, id, has) => id.map((v, k) => has[k] ? columns.findIndex((c) => c[1] === kind && c[2] === v) : -1);
      const blocks = Math.max(...of);
      const cumulated = (x) => {
        const out = [0];
        for (let b = 1; b <= blocks; b++) out.push(out[b - 1] + x.filter((v) => v === b).length);
        return out;
      };
      return { order, piece: place(0, own, hasPiece), furnace: place(1, key, hasFurnace), first: cumulated(of),
               first_column: cumulated(columns.map((c) => c[0])), is_furnace: columns.map((c) => c[1]) };
    }

    const PRIOR = { fixed: 0, half_cauchy: 1, half_normal: 2, log_normal: 3 };
    const priorRow = (kind, scale, cut, nodes) => [PRIOR[kind], scale, cut === undefined ? 40 : cut, 0.5,
      kind === "fixed" ? 1 : nodes === undefined ? 12 : nodes];

    function components(r, d, set, o) {
      const steps = errorSteps(r, d), n = steps.n;
      if (n <= set.terms.length - sum(set.held)) return null;
      const block = errorBlocks(steps.piece, steps.run);
      const structure = errorStructure(steps.piece, steps.run, true, block);
      const drop = Math.abs(r.par[0] - r.par[1]);
      const stated = o.u_temp_c !== undefined;
      const scale = steps.time.map((t) => stated && t > 0 ? number(o.u_temp_c) : 1);
      const scales = stated ? steps.time.map(() => number(o.u_temp_c)) : scale;
      const hv = Math.max(0.025 * drop, (o.scale || "HV") === "HV" ? 2 : 1e-6);
      const visible = steps.runs.length >= 3;
      const pieces = structure.piece.some((k) => k >= 0), operators = steps.share !== null;
      const zero = priorRow("fixed", 0), hardnessPrior = priorRow("half_cauchy", hv, 20 * hv);
      const furnace = stated ? (o.u_temp_exact || scales.every((x) => x === 0) ? priorRow("fixed", 1) : priorRow("log_normal", 1, undefined, 8)) :
        visible ? priorRow("half_cauchy", 2, 40, 8) : priorRow("half_normal", 2, undefined, 8);
      const prior = [furnace, pieces ? hardnessPrior : zero, hardnessPrior,
                     operators ? hardnessPrior.slice(0, 4).concat([8]) : zero];
      const start = [stated ? 1 : visible ? 1 : normalQuantile(0.75) * 2, pieces ? 0.5 * hv : 0, 0.5 * hv, operators ? 0.5 * hv : 0];
      const estimated = [!stated && visible, pieces, true, operators];
      const order = structure.order, take = (x) => order.map((i) => x[i]);
      const least = Math.pow(1e-7 * Math.max(...steps.mean.map(Math.abs)), 2);
      const replicated = Number.isFinite(steps.sd_reading);
      const noise = steps.weight.map((w) => least + (replicated ? steps.sd_reading * steps.sd_reading / w : 0));
      const meanWeight = sum(steps.weight) / n;
      const factor = steps.weight.map((w) => replicated ? 1 : meanWeight / w);
      const share = steps.share;
      const input = list([real(steps.key), real(steps.time), real(steps.mean), null, null, null, null]);
      const form = list([int(order), int(structure.piece), int(structure.furnace), int(structure.first),
                         int(structure.first_column), int(structure.is_furnace), share ? matrix(take(share)) : null]);
      const errorsOf = (variance) => [real(take(noise)), real(take(factor)), real(take(scales)), real(variance), int(estimated.map(Number))];
      const run = (held, open) => call("mixed", input, list([int(set.kind), real(set.lower), real(set.upper), int(set.natural),
        int(held), open ? int(open) : null]), d.ref_k, real(r.par), form, list(errorsOf(start.map((x) => x * x))));
      let m = run(set.held), held = null;
      const bad = (x) => x.counts[0] > 1 && x.counts[0] !== 5;
      if (bad(m)) {
        held = r.state.map((k, j) => +(k >= 2 || set.held[j] !== 0));
        if (held.every((h) => h)) return null;
        m = run(held, held.map((h, j) => +(h !== 0 && set.held[j] === 0)));
        if (bad(m)) return null;
      }
      const back = range(n);
      order.forEach((i, k) => { back[i] = k; });
      const linear = (form2) => ({
        y: form2.order.map((i) => m.y[back[i]]), x: form2.order.map((i) => m.x[back[i]]), columns: m.place.length,
        g: form2.order.map((i) => m.g[back[i]]), noise: form2.order.map((i) => noise[i]),
        share: share ? form2.order.map((i) => share[i]) : null, piece: form2.piece, furnace: form2.furnace,
        first: form2.first, first_column: form2.first_column, is_furnace: form2.is_furnace,
        factor: form2.order.map((i) => factor[i]) });
      const problems = [linear(structure)];
      const hot = range(n).filter((k) => steps.time[k] > 0);
      const firstOf = new Map();
      hot.forEach((k) => { if (!firstOf.has(steps.run[k])) firstOf.set(steps.run[k], steps.time[k]); });
      if (hot.some((k) => steps.time[k] !== firstOf.get(steps.run[k]))) {
        problems.push(linear(errorStructure(steps.piece, steps.insertion, false, block)));
      }
      const scale2 = stated ? sum(hot.map((k) => scales[k] * scales[k])) / hot.length : 1;
      return { m, steps, structure, prior, estimated, visible, problems, free: m.place.map((k) => k - 1), input, form,
               errorsOf, loading: r.loading, scale2 };
    }

    /* What the readings say of the standard deviations: median and central 95 % (R: marginal_sds). */
    function marginal(sds, weight) {
      return range(4).map((k) => {
        const node = sds.map((row) => signif(row[k], 10));
        const x = unique(node).sort((a, b) => a - b), n = x.length;
        if (n === 1) return [x[0], NaN, NaN];
        const at = new Map(x.map((v, i) => [v, i]));
        const mass = groupSums(weight, node.map((v) => at.get(v)), n);
        for (let i = 1; i < n; i++) mass[i] += mass[i - 1];
        const cumulated = [0].concat(mass.map((v) => v / mass[n - 1]));
        const edge = [Math.max(0, 1.5 * x[0] - 0.5 * x[1])];
        for (let i = 1; i < n; i++) edge.push((x[i - 1] + x[i]) / 2);
        edge.push(1.5 * x[n - 1] - 0.5 * x[n - 2]);
        return [0.5, 0.025, 0.975].map((q) => between(cumulated, edge, q));
      });
    }
    function summaryOf(errors, p, level) {
      const g = identity(p).map((row) => errors.free.map((j) => row[j]));
      const r = grid(errors, g, [CENTRAL[0], CENTRAL[1], 0.025, 0.975]);
      const vcov = identity(p).map((row) => row.map(() => NaN));
      if (r.status[0] !== 0) return { vcov, df: NaN, sd: range(4).map(() => [NaN, NaN, NaN]) };
      const se = r.quantile.map((q) => (q[1] - q[0]) / 2);
      const sd = marginal(r.sd, r.weight);
      const at = call("components_reml", problemOf(errors.problems[0]), real(sd.map((x) => x[0] * x[0])),
                      int([0, 0, 0, 0]), matrix([], errors.free.length));
      for (const row of vcov) row.fill(0);
      errors.free.forEach((i, a) => errors.free.forEach((j, b) => {
        vcov[i][j] = a === b ? se[i] * se[i] : at.cov[a][b] / Math.sqrt(at.cov[a][a] * at.cov[b][b]) * se[i] * se[j];
      }));
      return { vcov, sd, df: matchingDf(median(errors.free.map((j) => (r.quantile[j][3] - r.quantile[j][2]) / 2 / se[j]))) };
    }
    /* t whose 95 % and 68.27 % intervals stand in that ratio. */
    function matchingDf(ratio) {
      const of = (df) => studentQuantile(0.975, df) / studentQuantile(CENTRAL[1], df);
      if (!Number.isFinite(ratio) || ratio <= of(1e4)) return 1e4;
      if (ratio >= of(1)) return 1;
      return Math.exp(findRoot((u) => of(Math.exp(u)) - ratio, 0, Math.log(1e4), 1e-6));
    }

    /* Half-seen curves (R: components_profile, effective_sds). */
    function effectiveSds(errors, states, terms, level) {
      const r = grid(errors, [], []), p = 0.5 + level / 2;
      const of = (sd, weight) => {
        const most = Math.max(...sd), low = Math.min(...sd);
        if (most <= 0 || most - low <= 1e-9 * most) return most;
        const all = sum(weight), positive = sd.filter((x) => x > 0), z = normalQuantile(p);
        const root = findRoot((x) => sum(sd.map((s, i) => weight[i] / all * normalProbability(Math.exp(x) / s))) - p,
                              Math.log(Math.min(...positive) * z * 0.5), Math.log(most * z * 2), 1e-10);
        return Math.exp(root) / z;
      };
      const out = range(4).map((k) => of(r.sd.map((row) => row[k]), r.weight));
      if (isOpen(states[terms.indexOf("q_kj_mol")])) {
        const prior = errors.prior[0], u = range(200).map((k) => (k + 0.5) / 200);
        const nodes = prior[0] === 0 ? [prior[1]] :
          prior[0] === 1 ? u.map((x) => prior[1] * Math.tan(x * Math.atan(prior[2] / prior[1]))) :
          prior[0] === 2 ? u.map((x) => prior[1] * normalQuantile(0.5 + x / 2)) :
          u.map((x) => prior[1] * Math.exp(prior[3] * normalQuantile(x)));
        out[0] = of(nodes, nodes.map(() => 1));
      }
      return out;
    }
    function profileOf(fitted, errors, set, d, level) {
      const p = fitted.par.length, z = normalQuantile(0.5 + level / 2);
      const sds = effectiveSds(errors, fitted.states, fitted.terms, level);
      const r = call("mixed_profile", errors.input, list([int(set.kind), real(set.lower), real(set.upper), int(set.natural), int(set.held)]),
        d.ref_k, real(fitted.par), errors.form,
        list(errors.errorsOf(sds.map((x) => x * x)).concat([real(errors.m.g), real(errors.m.mode)])),
        list([real(errors.m.g), real(errors.m.mode), real(errors.loading)]), real(range(p).map(() => z * z)));
      return { states: r[0].map((k) => stateWords[k]), limits: range(p).map((j) => [r[1][0][j], r[1][1][j]]), line: r[2] };
    }
    /* As progress(), one_sided(), soft_once() and is_bent() in R (R/fit-settle.R, R/fit-errors.R). */
    function progressOf(fitted) {
      const at = fitted.conditions, drop = fitted.par[0] - fitted.par[1], temps = [];
      at.temp_c.forEach((t, i) => { if (at.time_min[i] > 0 && !temps.some((x) => Math.abs(x - t) < 1e-6)) temps.push(t); });
      return temps.map((t) => {
        const k = range(at.mean.length).filter((i) => at.time_min[i] > 0 && Math.abs(at.temp_c[i] - t) < 1e-6)
          .sort((a, b) => at.time_min[a] - at.time_min[b]);
        const gone = (i) => (fitted.par[0] - at.mean[i]) / drop;
        return { first: gone(k[0]), last: gone(k[k.length - 1]) };
      });
    }
    function isOneSided(fitted) {
      if (fitted.states[fitted.terms.indexOf("q_kj_mol")] === "fixed") return false;
      const p = progressOf(fitted);
      return p.some((x) => x.first > 0.9) || p.filter((x) => x.last > 0.1 && x.first < 0.9).length < 2;
    }
    function isSoftOnce(fitted) {
      if (fitted.states[fitted.terms.indexOf("h_soft")] === "fixed") return false;
      return progressOf(fitted).filter((x) => x.last > 0.9).length < 2;
    }
    function isBent(fitted, profile) {
      return ["h_soft", "ln_k_ref", "q_kj_mol"].some((term) => {
        const j = fitted.terms.indexOf(term);
        return profile.limits[j].some((x) => Math.abs(x - fitted.par[j]) / profile.line[j] > 1.5);
      });
    }

    /* Readings against a curve with any parameters. */
    function sumOfSquares(fitted, readings) {
      const h = hardness(fitted, readings.temp_c, readings.time_min);
      const residuals = h.map((x, i) => readings.hardness[i] - x);
      const by = residuals.map((x, i) => x * x * (readings.weight ? readings.weight[i] : 1));
      return { sum: sum(by), residuals, by_reading: by };
    }

    /* ---- hardness scales (R: convert_hardness) ---- */

    /* tables.pairs["HRF>HV"] = {x, y}: points of the curve of a pair; flag 0 converted, 1 missing, 2 outside. */
    function convert(x, from, to, tables) {
      const values = vector(x);
      if (from === to) return { value: values.slice(), flag: values.map((v) => Number.isNaN(v) ? 1 : 0) };
      const pair = tables.pairs[from + ">" + to];
      if (!pair) throw new Error("no table from " + from + " to " + to);
      const r = call("convert", values, null, list([list([real(pair.x), real(pair.y)])]), int(1));
      return { value: r.value, flag: r.flag, derivative: r.derivative };
    }

    /* ---- sheet in the furnace (R: heat_up, cool_down) ---- */

    function heat(o) {
      const metal = o.metal, block = (o.support || "block") === "block";
      const edges = 2 / ((o.width_mm || Infinity) / 1000) + 2 / ((o.length_mm || Infinity) / 1000);
      const thick = number(o.thickness_mm) / 1000;
      const air = o.h_w_m2k === undefined ? 10 : number(o.h_w_m2k);
      const contact = o.h_block_w_m2k === undefined ? 260 : number(o.h_block_w_m2k);
      const surface = o.emissivity === undefined ? number(metal.emissivity) : number(o.emissivity);
      const around = o.around || { time_s: [0], temp_c: [o.around_c] };
      const knots = vector(around.time_s), k = vector(around.temp_c).map((t) => t + ZERO);
      const asked = o.time_s === undefined ? [] : vector(o.time_s);
      const piece = [1 / thick, 1 / thick + edges, block ? contact : air, air, block ? 0 : surface, surface,
                     metal.density_kg_m3, metal.heat_j_kgk, metal.heat_slope_j_kgk2, metal.heat_at_c + ZERO];
      const end = o.until_s === undefined ? Infinity : number(o.until_s);
      const r = call("heat", matrix([piece]), matrix([[number(o.start_c) + ZERO, end, k[k.length - 1],
        o.tolerance_c === undefined ? 2 : number(o.tolerance_c)]]),
        { time_s: knots, above_k: k, below_k: k }, int([0, knots.length]), real(asked), int([0, asked.length]));
      const fine = r.status[0] === 0;
      return { time_s: asked, temp_c: r.temp.map((t) => t - ZERO), time_within_s: fine ? r.time_within[0] : NaN,
               end_s: r.end_time[0], end_c: fine ? r.end_temp[0] - ZERO : NaN };
    }

    /* ---- what a further step is worth (R: improve_plan) ---- */

    const AIMS = ["determinant", "q", "t50", "hardness"];

    /* The fit as the only draw of a guess. */
    function guessOf(fitted, sd) {
      return { model: fitted.model, growth: fitted.growth, par: fitted.par, draws: [fitted.par], temp_ref_c: fitted.temp_ref_c,
               estimated: fitted.fixed.map((h) => h ? 0 : 1), sd_reading: sd.reading, sd_step: sd.step };
    }
    function widest(g, terms) {
      const drop = Math.abs(g.par[0] - g.par[1]);
      const of = { level: drop, amplitude: drop, rate: 10, exponent: 5, energy: 1000, delay: 10 };
      return terms.map((t) => of[termOf(t).role]);
    }
    /* Criteria of plans on the same specimens; each plan is a list of {specimen, temp_c, time_min}. */
    function planValues(guess, plans, aim, setting) {
      const known = model(guess.model, guess.growth), code = AIMS.indexOf(aim.name);
      if (code < 0) throw new Error("no aim '" + aim.name + "'");
      const s = Object.assign({ n_readings: 5, baseline: 1 }, setting);
      const specimens = unique(plans[0].map((x) => x.specimen));
      const temps = unique([].concat(...plans).map((x) => x.temp_c)).sort((a, b) => a - b);
      const times = unique([].concat(...plans).map((x) => x.time_min)).sort((a, b) => a - b);
      if (times.length > 64) throw new Error("more than 64 times");
      const temp = specimens.map(() => []), read = [];
      plans.forEach((plan) => {
        const cells = specimens.map(() => times.map(() => 0));
        const of = specimens.map(() => 0);
        plan.forEach((x) => {
          const k = specimens.indexOf(x.specimen);
          if (k < 0) throw new Error("plans of other specimens");
          of[k] = temps.indexOf(x.temp_c);
          cells[k][times.indexOf(x.time_min)] = 1;
        });
        of.forEach((t, k) => temp[k].push(t));
        cells.forEach((c) => read.push(...c));
      });
      const at = (code === 2 || code === 3) ? vector(aim.at_c) : [];
      const r = call("design",
        { kind: int(known.kind), draws: real([].concat(...guess.draws)), estimated: int(guess.estimated),
          floor: real(widest(guess, known.terms).map((x) => 1 / (x * x))) },
        { coordinate: real(temps.map((t) => coordinateAt(t, guess.temp_ref_c))), heat_up: real(temps.map(() => 0)),
          minutes: real(times) },
        { weight: 1 / (guess.sd_step * guess.sd_step + guess.sd_reading * guess.sd_reading / s.n_readings),
          at_start: s.baseline * specimens.length, max_steps: int(times.length), furnace_min: 1e9, improve: false },
        { code: int(code), target: code === 3 ? number(aim.hardness) : 0.5,
          coordinate: real(at.map((t) => coordinateAt(t, guess.temp_ref_c))) },
        { temp: matrix(temp, plans.length, INT), read: int(read) });
      if (r.finite[0] !== 1 || !r.counted.some((x) => x === 1)) return plans.map(() => NaN);
      return r.values;
    }
    const planValue = (guess, steps, aim, setting) => planValues(guess, [steps], aim, setting)[0];

    /* Each candidate added to the steps; its gain is sd_factor, the standard deviation of what is asked
     * after it over that before. A candidate on a specimen that has no step yet counts as a new one. */
    function nextStep(guess, steps, candidates, aim, setting) {
      const now = planValue(guess, steps, aim, setting);
      const known = new Set(steps.map((x) => x.specimen));
      const on = candidates.filter((c) => known.has(c.specimen)), fresh = candidates.filter((c) => !known.has(c.specimen));
      const value = new Map();
      if (on.length) planValues(guess, on.map((c) => steps.concat([c])), aim, setting).forEach((v, k) => value.set(on[k], v));
      fresh.forEach((c) => value.set(c, planValue(guess, steps.concat([c]), aim, setting)));
      const per = aim.name === "determinant" ? 1 : 2;
      return candidates.map((c) => Object.assign({}, c, { criterion: value.get(c), criterion_now: now,
                                                          sd_factor: Math.exp((value.get(c) - now) / per) }))
        .sort((a, b) => a.criterion - b.criterion);
    }

    return { call, models: () => models.map((x) => Object.assign({}, x)), terms: () => terms.map((x) => Object.assign({}, x)),
             hardness, hardnessGradient, softening, fraction, alongHistory, equivalentTime, interval, predict, curveInterval, historyInterval,
             timeTo,
             tempFor, fit, sumOfSquares, convert, heat, guessOf, planValue, planValues, nextStep, quantileT: studentQuantile,
             quantileNormal: normalQuantile, types: { int, logical, real, matrix, list, texts } };
  }

  return { load: (core) => core().then(build), quantileT: studentQuantile, quantileNormal: normalQuantile,
           probabilityNormal: normalProbability };
})();
if (typeof module !== "undefined" && module.exports) module.exports = SoftannealAPI;
