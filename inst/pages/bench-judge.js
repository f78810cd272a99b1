"use strict";
/* Which readings of a step are doubtful, judged anew from all of them, from what the neighbours of the step
   let expect and from the usual scatter of the dial. No page is needed here. */
const benchJudge = (() => {
  const median = (x) => {
    const s = Array.from(x).sort((a, b) => a - b), n = s.length;
    return n ? (s[(n - 1) >> 1] + s[n >> 1]) / 2 : NaN;
  };
  // mean range of n normal readings over their standard deviation (Tippett 1925, Biometrika 17, 364)
  const RANGE = [NaN, NaN, 1.128, 1.693, 2.059, 2.326, 2.534, 2.704, 2.847, 2.970, 3.078];
  // Standard deviations beyond which a reading is doubtful.
  const FAR = 3.5;
  // What agreement with the neighbours counts, in readings: more than one, less than two.
  const NEIGHBOURS = 1.5;

  /* Usual scatter of a reading: median over the steps of range over its mean, so that a slip in some steps
     does not count; NaN with fewer than 5 steps of several readings. */
  function usualSd(steps) {
    const each = steps.filter((v) => v.length > 1).map((v) => {
      const few = v.slice(0, 10);
      return (Math.max(...few) - Math.min(...few)) / RANGE[few.length];
    });
    return each.length >= 5 ? median(each) : NaN;
  }

  /* values: readings of one step; sd: scatter of a reading; expected: function without arguments that gives
     null or [low, high], what one reading may be by the neighbours; asked only where the readings do not
     settle it. Returns a mark for each ("" fine, "far" from the others, "apart": they differ and nothing
     says which is right, "alone": one reading, not as expected), the centre, and a function: whether the
     readings agree with each other and not with the neighbours. */
  function judge(values, sd, expected) {
    const n = values.length;
    let known;
    const within = (v) => {
      if (known === undefined) known = expected();
      return !known || v >= known[0] && v <= known[1];
    };
    if (!n) return { marks: [], centre: NaN, off: () => false };
    if (n === 1) return { marks: [within(values[0]) ? "" : "alone"], centre: values[0], off: () => false };
    const reach = FAR * Math.SQRT2 * sd, one = Math.max(...values) - Math.min(...values) <= reach;
    const near = values.map((v) => values.filter((w) => Math.abs(w - v) <= reach));
    const score = near.map((own, i) => own.length + (!one && within(values[i]) && known ? NEIGHBOURS : 0));
    const best = Math.max(...score), first = values.filter((_, i) => score[i] === best);
    if (Math.max(...first) - Math.min(...first) > reach) {
      return { marks: values.map(() => "apart"), centre: NaN, off: () => false };
    }
    const middle = median(first), group = near[score.map((_, k) => k).filter((k) => score[k] === best)
      .reduce((a, b) => Math.abs(values[b] - middle) < Math.abs(values[a] - middle) ? b : a)];
    const centre = median(group), limit = FAR * sd * Math.sqrt(1 + 1 / group.length);
    return { marks: values.map((v) => Math.abs(v - centre) > limit ? "far" : ""), centre, off: () => !within(centre) };
  }
  return { judge, usualSd, median, FAR };
})();
if (typeof module !== "undefined" && module.exports) module.exports = benchJudge;
