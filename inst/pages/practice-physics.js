/* The bench of the practice page without its looks: what the acts of a log {kind, t, ...} (t in s since the run
   began) have done to strip, pieces, furnaces and dial. Heat, softening and conversion are the compiled code of
   the package; scatter comes from a counter, so that the same act of the same group gives the same number
   whatever was done before it. Constants and their sources: help page of practice_page(). */
const SoftannealPractice = (function () {
  "use strict";

  /* Philox 4x32-10: four words from a counter of four and a key of two (Salmon, Moraes, Dror, Shaw 2011).
     Twin: philox() in R/pages-practice-random.R. */
  function philox(counter, key) {
    let [a, b, c, d] = counter.map((x) => x >>> 0), [k0, k1] = key.map((x) => x >>> 0);
    for (let round = 0; round < 10; round++) {
      const p = 0xD2511F53n * BigInt(a), q = 0xCD9E8D57n * BigInt(c);
      [a, b, c, d] = [(Number(q >> 32n) ^ b ^ k0) >>> 0, Number(q & 0xFFFFFFFFn),
                      (Number(p >> 32n) ^ d ^ k1) >>> 0, Number(p & 0xFFFFFFFFn)];
      k0 = (k0 + 0x9E3779B9) >>> 0;
      k1 = (k1 + 0xBB67AE85) >>> 0;
    }
    return [a, b, c, d];
  }
  /* Between 0 and 1 by 52 bits. */
  function uniform(counter, key) {
    const w = philox(counter, key);
    return ((w[0] >>> 6) * 67108864 + (w[1] >>> 6) + 0.5) / 4503599627370496;
  }
  /* Doubles hidden by the words of counter (0, block, 0, 0): no secret, only not to be read at a glance. */
  function unseal(text, key) {
    const bytes = Uint8Array.from(atob(text), (c) => c.charCodeAt(0)), view = new DataView(bytes.buffer), out = [];
    for (let at = 0; at + 4 <= bytes.length; at += 4) {
      view.setUint32(at, (view.getUint32(at, true) ^ philox([0, at >> 4, 0, 0], key)[(at >> 2) % 4]) >>> 0, true);
    }
    for (let at = 0; at + 8 <= bytes.length; at += 8) out.push(view.getFloat64(at, true));
    return out;
  }

  const KIND = { piece: 1, furnace: 2, machine: 3, operator: 4, step: 5, reading: 6, mill: 7, thickness: 8, width: 9, length: 10 };
  const SECONDS = { begin: 0, roll: 60, measure: 60, saw: 120, open: 2, in: 4, out: 4, shut: 2, probe: 15, indent: 40, wear: 5,
                    hurt: 1200, note: 0 };
  /* Own choices, see the help page: share of a draft that the rolls spring back, sd of the gap (mm), pass that
     cracks the edges and pass at which the rolls stall, depth of the cracks and kerf of the saw (mm), power of
     the spread; loss of hardness per K; gain beside an old indentation, loss in it, loss at the edge. */
  const SPRING = 0.15, MILL_SD = 0.004, CRACK = 0.25, STALL = 0.4, CRACK_MM = 2, KERF_MM = 1, SPREAD = 0.023;
  const WARM = 5e-4, CROWDED = 0.1, FALLEN = 0.25, EDGE = 0.15;

  function bench(api, d) {
    const secret = unseal(d.sealed, d.seed), truth = { model: d.model, par: secret.slice(0, -1), temp_ref_c: secret[secret.length - 1] };
    const normal = (kind, i, j, k) => api.quantileNormal(uniform([KIND[kind], i || 0, j || 0, k || 0], d.seed));
    const offset = d.temps.map((_, k) => normal("furnace", k) * d.sd.temp_c);
    const scales = Array.from(new Set(d.scale));
    const refStrain = strain(d.rolled_mm);
    const tauShut = 60 * d.recover_min / 3;
    const tauOpen = d.temps.map((set) => -d.open_s / Math.log(1 - d.dip_c / (set - d.ambient_c)));

    function strain(thickness_mm) { return 2 / Math.sqrt(3) * Math.log(d.strip.thickness_mm / thickness_mm); }

    /* The true curve of a piece of this strain, by the power laws of the package's strain model. */
    function curveOf(eps) {
      const par = truth.par.slice(), terms = d.terms, share = eps / refStrain;
      const worked = terms.indexOf("h_worked"), soft = terms.indexOf("h_soft"), rate = terms.indexOf("ln_k_ref");
      par[worked] = Math.max(par[soft], par[worked] * Math.pow(share, d.h_strain));
      par[rate] += d.k_strain * Math.log(Math.max(share, 1e-6));
      return { model: truth.model, par, temp_ref_c: truth.temp_ref_c };
    }

    /* ---- furnaces: towards the room while the door is open, back to the set point when it is shut ---- */

    function relax(k, temp, open, seconds, off) {
      const to = open ? d.ambient_c : d.temps[k] + off;
      return to + (temp - to) * Math.exp(-seconds / (open ? tauOpen[k] : tauShut));
    }
    function furnaceAt(k, doors, t, off) {
      let temp = d.temps[k] + off, last = 0, open = false;
      for (const x of doors[k]) {
        if (x.t > t) break;
        temp = relax(k, temp, open, x.t - last, off);
        last = x.t;
        open = x.open;
      }
      return relax(k, temp, open, t - last, off);
    }
    /* Points of its temperature between two times, s after the first, so close that chords stay within 0.2 % of
       a dip, as door_opening() sets them. */
    const CLOSE = [];
    for (let x = 0.125; x <= 2; x += 0.125) CLOSE.push(x);
    CLOSE.push(2.25, 2.5, 2.75, 3, 3.25, 3.5, 3.75, 4, 4.25, 4.5, 4.75, 5, 5.5, 6, 6.5, 7, 7.5, 8, 10);
    function furnaceHistory(k, doors, from, to, off) {
      const times = new Set([from]), marks = doors[k].filter((x) => x.t < to);
      marks.forEach((x, i) => {
        const end = Math.min(to, i + 1 < marks.length ? marks[i + 1].t : Infinity);
        const gaps = x.open ? Array.from({ length: 400 }, (_, j) => 0.02 * (j + 1) * tauOpen[k]) : CLOSE.map((c) => c * tauShut);
        [0].concat(gaps).forEach((g) => { if (x.t + g >= from && x.t + g < end) times.add(x.t + g); });
      });
      const time = Array.from(times).sort((a, b) => a - b);
      return { time_s: time.map((t) => t - from), temp_c: time.map((t) => furnaceAt(k, doors, t, off)) };
    }

    /* ---- a sheet along its legs: in a furnace, on the block, in air ---- */

    function sheet(piece, start_c, around, support, seconds) {
      const h = api.heat({ thickness_mm: piece.thickness_mm, width_mm: piece.width_mm, length_mm: piece.length_mm, support,
        metal: d.metal, start_c, around, until_s: Math.max(seconds[seconds.length - 1], 1), time_s: seconds });
      return h.temp_c;
    }
    function gridTo(long) {
      const out = [];
      for (let t = 2, by = 2; t < long; t += by) {
        out.push(t);
        by = t < 60 ? 2 : t < 240 ? 5 : Math.max(5, 0.12 * t);
      }
      return long > 0 ? out.concat([long]) : out;
    }
    const known = new Map();
    /* Temperatures of a piece up to time t: {time_s, temp_c}, from its first leg on; `off`: of each furnace. */
    function history(piece, doors, t, off) {
      const time = [], temp = [];
      let now = d.ambient_c;
      piece.legs.forEach((leg, i) => {
        if (leg.from > t) return;
        const next = i + 1 < piece.legs.length ? piece.legs[i + 1].from : Infinity, until = Math.min(next, t), long = until - leg.from;
        const hot = leg.furnace !== undefined;
        const around = hot ? furnaceHistory(leg.furnace, doors, leg.from, until, off[leg.furnace]) : { time_s: [0], temp_c: [d.ambient_c] };
        const seconds = Array.from(new Set(gridTo(long).concat(around.time_s.filter((x) => x > 0 && x < long)))).sort((a, b) => a - b);
        if (!time.length) { time.push(leg.from); temp.push(now); }
        if (!seconds.length) return;
        const key = JSON.stringify([piece.name, i, now, long, around.time_s.length, around.temp_c]);
        let got = known.get(key);
        if (!got) {
          got = sheet(piece, now, around, hot ? "block" : leg.rest === "block" ? "block" : "free", seconds);
          if (known.size > 400) known.clear();
          known.set(key, got);
        }
        seconds.forEach((x, j) => { time.push(leg.from + x); temp.push(got[j]); });
        now = got[got.length - 1];
      });
      return { time_s: time, temp_c: temp };
    }
    function tempOf(piece, doors, t) {
      const h = history(piece, doors, t, offset);
      return h.temp_c.length ? h.temp_c[h.temp_c.length - 1] : d.ambient_c;
    }
    /* True hardness in HV at time t. */
    function hardnessOf(piece, doors, t) {
      const curve = curveOf(piece.strain), h = history(piece, doors, t, offset);
      if (!h.time_s.length) return curve.par[d.terms.indexOf("h_worked")];
      return api.alongHistory(curve, h, [h.time_s[h.time_s.length - 1]]).hardness[0];
    }
    /* What a dial without errors shows after an anneal at one temperature throughout. */
    const ideal = (temp_c, time_min, scale) => inScale(api.hardness(curveOf(refStrain), temp_c, time_min)[0], scale);
    /* Minutes until a sheet of this thickness is within 2 degrees of the set point: not counted as annealing. */
    function allowance(piece, k) {
      return api.heat({ thickness_mm: piece.thickness_mm, width_mm: piece.width_mm, length_mm: piece.length_mm, support: "block",
        metal: d.metal, start_c: d.ambient_c, around_c: d.temps[k] }).time_within_s / 60;
    }

    /* ---- the dial ---- */

    const round = (x, to) => to > 0 ? Math.round(x / to) * to : x;
    function inScale(hv, scale) {
      return scale.startsWith("HV") ? hv : api.convert([hv], "HV", scale, d.table).value[0];
    }
    /* What an indentation at x, y (mm from the left end and from the lower edge) of a piece gives. */
    function indent(s, piece, x, y, t) {
      const step = piece.steps.length, n = piece.readings.filter((r) => r.step === step).length + 1;
      const scale = d.scale[(n - 1) % d.scale.length], turn = d.operators.indexOf(s.operator);
      const temp = tempOf(piece, s.doors, t);
      const edge = Math.min(x, piece.length_mm - x, y - piece.crack_mm, piece.width_mm - piece.crack_mm - y);
      const gap = Math.min(Infinity, ...piece.readings.map((r) => Math.hypot(r.x - x, r.y - y)));
      const true_hv = hardnessOf(piece, s.doors, t);
      const clean = true_hv + normal("piece", piece.index) * d.sd.specimen + normal("step", piece.index, step) * d.sd.step +
        normal("reading", piece.index, step, n) * d.sd.reading;
      let factor = 1 - WARM * Math.max(0, temp - d.ambient_c);
      factor *= gap < 0.7 * d.spacing.diameter_mm ? 1 - FALLEN : 1 + CROWDED * Math.max(0, 1 - gap / d.spacing.centre_mm);
      factor *= 1 - EDGE * Math.min(1, Math.max(0, 1 - edge / d.spacing.edge_mm));
      const shown = inScale(clean * factor, scale) + normal("machine", scales.indexOf(scale)) * d.sd.machine +
        (turn >= 0 ? normal("operator", turn) * d.sd.operator : 0);
      const value = Number(round(shown, d.resolution).toPrecision(12));
      const fine = Number.isFinite(value) && value > 0 && value <= d.top[(n - 1) % d.scale.length];
      return { step, reading: n, x, y, t, scale, value: fine ? value : NaN, true_hv, clean, factor, temp, edge, gap,
               operator: s.operator };
    }

    /* ---- what the acts amount to ---- */

    const name = (i) => (i < 26 ? "" : String.fromCharCode(64 + Math.floor(i / 26))) + String.fromCharCode(65 + i % 26);
    const act = {
      begin(s, e) { s.begun = true; s.operator = e.operator || ""; return "Run begun"; },
      wear(s, e) { s.wears = e.wears.slice(); return "Wears: " + (e.wears.join(", ") || "nothing"); },
      hurt(s, e) { s.hurts += 1; return "Accident: " + e.what; },
      roll(s, e) {
        const p = s.strip, draft = p.thickness_mm - e.gap_mm;
        if (draft <= 0) return "The strip goes through a gap of " + e.gap_mm + " mm untouched";
        if (draft / p.thickness_mm > STALL) return "The rolls stall at a gap of " + e.gap_mm + " mm: too much for one pass, nothing is rolled";
        p.passes += 1;
        const before = p.thickness_mm;
        p.thickness_mm = Math.min(before, e.gap_mm + SPRING * draft + MILL_SD * normal("mill", p.passes));
        p.width_mm *= Math.pow(before / p.thickness_mm, SPREAD);
        p.length_mm = p.volume / (p.thickness_mm * p.width_mm);
        const cracks = 1 - p.thickness_mm / before > CRACK;
        if (cracks) p.crack_mm += CRACK_MM;
        return "Pass " + p.passes + " at a gap of " + e.gap_mm + " mm" + (cracks ? ": the edges crack" : "");
      },
      measure(s) {
        const p = s.strip, k = s.measured.length + 1;
        const m = { pass: p.passes, thickness_mm: round(p.thickness_mm + 0.01 * normal("thickness", k), 0.01),
                    width_mm: round(p.width_mm + 0.05 * normal("width", k), 0.05), length_mm: round(p.length_mm + 0.5 * normal("length", k), 0.5),
                    cut: s.pieces.length > 0 };
        s.measured.push(m);
        return "Measured: " + m.thickness_mm.toFixed(2) + " mm thick, " + m.width_mm.toFixed(2) + " mm wide, " + m.length_mm.toFixed(1) + " mm long";
      },
      saw(s, e) {
        const p = s.strip, i = s.pieces.length;
        if (i >= d.max_specimens || e.length_mm + KERF_MM > p.length_mm || !(e.length_mm > 0)) return "Not enough strip";
        p.volume -= (e.length_mm + KERF_MM) * p.width_mm * p.thickness_mm;
        p.length_mm -= e.length_mm + KERF_MM;
        s.pieces.push({ name: name(i), index: i, thickness_mm: p.thickness_mm, width_mm: p.width_mm, length_mm: e.length_mm,
                        crack_mm: p.crack_mm, strain: strain(p.thickness_mm), legs: [], steps: [], readings: [], probes: [], inside: null });
        return "Sawn: piece " + name(i) + ", " + e.length_mm + " mm";
      },
      open(s, e) {
        if (!s.open[e.furnace]) s.doors[e.furnace].push({ t: e.t, open: true });
        s.open[e.furnace] = true;
        return "Door of furnace " + (e.furnace + 1) + " opened";
      },
      shut(s, e, end) {
        if (s.open[e.furnace]) s.doors[e.furnace].push({ t: end, open: false });
        s.open[e.furnace] = false;
        return "Door of furnace " + (e.furnace + 1) + " shut";
      },
      in(s, e, end) {
        const piece = s.pieces.find((x) => x.name === e.piece);
        if (!piece || piece.inside !== null || !s.open[e.furnace]) return "Not done";
        piece.inside = e.furnace;
        piece.legs.push({ from: end, furnace: e.furnace });
        piece.steps.push({ furnace: e.furnace, in_s: end, out_s: NaN });
        return "Piece " + e.piece + " in furnace " + (e.furnace + 1);
      },
      out(s, e, end) {
        const piece = s.pieces.find((x) => x.name === e.piece);
        if (!piece || piece.inside === null || !s.open[piece.inside]) return "Not done";
        const step = piece.steps[piece.steps.length - 1];
        step.out_s = end;
        piece.inside = null;
        piece.legs.push({ from: end, rest: e.to });
        return "Piece " + e.piece + " out, " + (e.to === "block" ? "on the steel block" : "in still air");
      },
      probe(s, e, end) {
        const piece = s.pieces.find((x) => x.name === e.piece);
        if (!piece || piece.inside !== null) return "Not done";
        const temp = Math.round(tempOf(piece, s.doors, end));
        piece.probes.push({ t: end, temp_c: temp });
        return "Contact thermometer on piece " + e.piece + ": " + temp + " \u00b0C";
      },
      indent(s, e, end) {
        const piece = s.pieces.find((x) => x.name === e.piece);
        if (!piece || piece.inside !== null || !(e.x > 0 && e.x < piece.length_mm && e.y > 0 && e.y < piece.width_mm)) return "Not done";
        const r = indent(s, piece, e.x, e.y, end);
        r.note = e.note || "";
        piece.readings.push(r);
        return "Piece " + e.piece + ", reading " + r.reading + ": " + (Number.isFinite(r.value) ? r.value + " " + r.scale :
          "the dial stands outside " + r.scale + ", nothing to write down");
      }
    };
    function replay(log) {
      const p = d.strip;
      const s = { begun: false, operator: "", wears: [], hurts: 0, end: 0, events: [], measured: [], pieces: [],
                  strip: { thickness_mm: p.thickness_mm, width_mm: p.width_mm, length_mm: p.length_mm, passes: 0, crack_mm: 0,
                           volume: p.thickness_mm * p.width_mm * p.length_mm },
                  doors: d.temps.map(() => []), open: d.temps.map(() => false) };
      for (const e of log) {
        const end = e.t + SECONDS[e.kind], said = act[e.kind](s, e, end);
        s.end = Math.max(s.end, end);
        s.events.push({ t: end, said, entry: e });
      }
      s.pieces.forEach((piece) => {
        let total = 0;
        piece.steps.forEach((x) => {
          const held = (x.out_s - x.in_s) / 60 - allowance(piece, x.furnace);
          x.short = held < 0.001;
          total += Math.max(held, 0.001);
          x.time_min = Number(total.toFixed(3));
        });
      });
      return s;
    }

    return { replay, seconds: SECONDS, furnaceAt, furnaceHistory, history, tempOf, hardnessOf, allowance, curveOf, offset, normal, truth, sheet, ideal };
  }

  return { philox, uniform, unseal, bench };
})();
if (typeof module !== "undefined" && module.exports) module.exports = SoftannealPractice;
