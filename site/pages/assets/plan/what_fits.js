// @ts-check
// Runs that fit, and the nearest thing that can be done: the same as aggregator/edgehold/planning (occasion, minutes, capacity, designs).
// Held to it by tests/browser/test_planner.py.

/**
 * @typedef {{word: string, rule: ?{fact: string, words: string[]}}} Level
 * @typedef {{id: string, title: string, kind: string, role: string, primary: boolean, at: ?number, end: ?number, worthwhile_ratio: number}} Endpoint
 * @typedef {{id: string, version: string, title: string, question: {factor: string, text: string, levels?: Level[]}, medium: {name: string},
 *   work: {kind: string, unit: string, checkpoints: number[], stroke: string}, reading: {kind: string, repeats: number, description: string,
 *   accepted_units: string[]}, apex_start: string, endpoints: Endpoint[], early_checkpoint: number,
 *   late_checkpoint: number, design: {least_runs: number, order: string, side_by_side: ?string}, minutes: {one_run: number, whole: number,
 *   parts: ?{once: number, sharpening: number, unit_seconds: number, value_seconds: number, runs_a_hand: number}},
 *   needs: {item: string, where: string}[], cautions: string[], spreads: Object<string, Spread>, units: string, left_open: string[], ask: string}} Protocol
 * @typedef {{df_pooled: number, prior_s2: number, prior_df: ?number, source: string}} Spread
 * @typedef {{runs_a_hand: number, mm_per_cut: number, lost_mm: number, steel_mm: number, spare: number, sharpening: number,
 *   reading: Object<string, number>, other_reading: number, longest_listed: number, least_coded: number, letters: string, draws: number,
 *   sights: number[]}} Figures the program's own figures
 * @typedef {{lots_m: number[], mm_per_unit: number, minutes: number, evenings: number, runs_a_hand: number, most_runs: ?number,
 *   steel_mm: number}} Stock
 * @typedef {{protocol: Protocol, figures: Figures, blades: string[], sharpeners: string[], testers: string[], coder: ?string,
 *   alone: boolean, last: number, rule: Endpoint, ratio: number, stock: Stock}} Occasion
 * @typedef {{evenings: number[], lot: number, tester: number}} Block
 * @typedef {{blocks: Block[], limits: {name: string, runs: number}[], run_m: number, buy_m: number, runs: number}} Capacity
 * @typedef {{code: string, values: Object<string, number | string>}} Change
 * @typedef {{asked: Occasion, fits: Capacity, changes: Change[]}} Design
 */

const PLENTY = 1e6, HAIR = 1e-9;
const KINDS = ["level", "window", "loss", "life"];

/** @param {Protocol} protocol */
export const primary = (protocol) => /** @type {Endpoint} */ (protocol.endpoints.find((rule) => rule.primary));

/** @param {Endpoint} rule */
const reaches = (rule) => (rule.kind === "level" ? rule.at : rule.end) || 0;

/**
 * The endpoint to judge runs by that end at a checkpoint, or null.
 * @param {Protocol} protocol
 * @param {number} last
 * @returns {?Endpoint}
 */
export function ruleWithin(protocol, last) {
  const within = protocol.endpoints.filter((rule) => (rule.kind === "life" ? protocol.early_checkpoint : reaches(rule)) <= last);
  /** @param {Endpoint} rule */
  const rank = (rule) => [rule.primary ? 0 : 1, KINDS.indexOf(rule.kind), -reaches(rule)];
  within.sort((a, b) => compared(rank(a), rank(b)));
  return within[0] ?? null;
}

/**
 * Which of two lists of numbers comes first.
 * @param {readonly number[]} a
 * @param {readonly number[]} b
 */
export function compared(a, b) {
  const at = a.findIndex((value, i) => value !== b[i]);
  return at < 0 ? 0 : a[at] - b[at];
}

/** @param {Protocol} protocol */
export const lasts = (protocol) => protocol.work.checkpoints.slice(1).filter((w) => ruleWithin(protocol, w) !== null);

/** @param {Protocol} protocol */
export function usualLast(protocol) {
  const rule = primary(protocol);
  return rule.kind === "life" ? protocol.late_checkpoint : reaches(rule);
}

/**
 * Minutes of one run that ends at a checkpoint, from its parts.
 * @param {Protocol} protocol
 * @param {Figures} figures
 * @param {number} last
 */
export function runMinutes(protocol, figures, last) {
  const { one_run: whole, parts: stated } = protocol.minutes, marks = protocol.work.checkpoints;
  const reach = primary(protocol).kind === "life" ? protocol.late_checkpoint : marks[marks.length - 1];
  /** @param {number} end */
  const readBy = (end) => marks.filter((w) => w <= end).length;
  if (stated) {
    const readings = (readBy(last) * protocol.reading.repeats * stated.value_seconds) / 60, cutting = (last * stated.unit_seconds) / 60;
    return { sharpening: stated.sharpening, readings, cutting, whole: stated.sharpening + readings + cutting };
  }
  const sharpening = Math.min(figures.sharpening, whole / 4), read = readBy(reach);
  const reading = Math.min(figures.reading[protocol.reading.kind] ?? figures.other_reading, (whole - sharpening) / read);
  const cutting = (whole - sharpening - reading * read) / reach;
  const parts = { sharpening, readings: reading * readBy(last), cutting: cutting * last };
  return { ...parts, whole: parts.sharpening + parts.readings + parts.cutting };
}

/** @param {Protocol} protocol */
export const practiceMinutes = ({ minutes, design }) => minutes.parts?.once ?? Math.max(0, minutes.whole - design.least_runs * minutes.one_run);

/** Whether the halves of one edge are cut in turn. @param {Occasion} asked */
export const halves = (asked) => asked.protocol.design.side_by_side === "halves";

/** Whether two blades of one sharpener are cut in turn. @param {Occasion} asked */
export const bladesInTurn = (asked) => asked.protocol.design.side_by_side === "blades";

/** Whether runs go in pairs whose edges are cut in turn. @param {Occasion} asked */
export const inTurn = (asked) => asked.protocol.design.side_by_side !== null;

/** Runs of one round: every edge once, and of three blades or more in turn twice. @param {Occasion} asked */
const roundRuns = (asked) => arms(asked).length * (bladesInTurn(asked) && asked.blades.length > 2 ? 2 : 1);

/** @param {Occasion} asked @param {number} runs */
const wholePairs = (asked, runs) => (inTurn(asked) ? runs - (runs % 2) : runs);

/**
 * What is compared, sorted: numbers of an order stand for these.
 * @param {Occasion} asked
 */
export function arms({ blades, sharpeners }) {
  return [...blades].sort().flatMap((blade) => [...sharpeners].sort().map((sharpener) => ({ blade, sharpener })));
}

/** Edges whose sharpener is not there tonight: each can be cut once. @param {Occasion} asked */
export const asLeft = (asked) => arms(asked).filter((arm) => asked.alone && !levelsOf(asked.protocol).length && !asked.testers.includes(arm.sharpener));

/** The levels that a protocol compares; none where its question is open. @param {Protocol} protocol */
export const levelsOf = ({ question }) => question.levels ?? [];

/** Whether runs go in rounds of one blade that hold each sharpener, or each level, once. @param {Occasion} asked */
export const inRounds = (asked) => asksForEdges(asked.protocol);

/** Whether edges are compared, by sharpener or by level, and not blades. @param {Protocol} protocol */
export const asksForEdges = ({ question: { factor } }) => factor === "sharpener" || factor === "level";

/** @param {Occasion} asked */
function eveningByMinutes({ protocol, figures, stock, last }) {
  return Math.max(0, Math.floor((stock.minutes - practiceMinutes(protocol)) / runMinutes(protocol, figures, last).whole + HAIR));
}

/** Runs that one evening holds. @param {Occasion} asked */
export const eveningRuns = (asked) => wholePairs(asked, Math.min(eveningByMinutes(asked), asked.stock.runs_a_hand * asked.testers.length));

/** Runs that the height of steel allows: a sharpening serves one, or the two halves of an edge. @param {Occasion} asked */
const sharpenings = (asked) => asked.blades.length * Math.floor(asked.stock.steel_mm / asked.figures.lost_mm + HAIR) * (halves(asked) ? 2 : 1);

/**
 * As many whole rounds (one run of every arm; of three blades or more in turn two) as fit.
 * @param {Occasion} asked
 * @returns {Capacity}
 */
export function capacity(asked) {
  const { stock, figures } = asked, run = (asked.last * stock.mm_per_unit) / 1000;
  const limits = limitsOf(asked, run), most = Math.min(...limits.map((limit) => limit.runs));
  const blocks = blocksOf(asked, run, most), runs = blocks.reduce((sum, block) => sum + block.evenings.length, 0);
  limits.sort((a, b) => a.runs - b.runs);
  return { blocks, limits, run_m: run, buy_m: Math.ceil(runs * run * figures.spare * 10) / 10, runs };
}

/**
 * @param {Occasion} asked
 * @param {number} run metres of medium
 */
function limitsOf(asked, run) {
  const { stock, testers } = asked, { evenings } = stock;
  const found = [
    { name: "minutes", runs: evenings * wholePairs(asked, eveningByMinutes(asked)) },
    { name: "hand", runs: evenings * testers.length * stock.runs_a_hand },
    { name: "steel", runs: sharpenings(asked) },
  ];
  if (stock.lots_m.length) { found.push({ name: "medium", runs: stock.lots_m.reduce((sum, metres) => sum + Math.floor(metres / run + HAIR), 0) }); }
  if (asLeft(asked).length) { found.push({ name: "edges", runs: arms(asked).length }); }
  if (stock.most_runs !== null) { found.push({ name: "wish", runs: stock.most_runs }); }
  return found;
}

/**
 * @param {Occasion} asked
 * @param {number} run
 * @param {number} most
 * @returns {Block[]}
 */
function blocksOf(asked, run, most) {
  const t = roundRuns(asked), evening = eveningRuns(asked), { lots_m: lots, evenings } = asked.stock;
  const codedPair = t === 2 && asked.coder !== null && !inRounds(asked) && !inTurn(asked);
  const left = lots.length ? lots.map((metres) => Math.floor(metres / run + HAIR)) : [most];
  const groups = evening >= t ? groupsOf(t, evening, evenings, left, most) : across(t, evening, evenings, left, most);
  const hands = groups.length === 1 ? asked.testers.length : 1;
  const parts = groups.flatMap((group) => parted(group, t, codedPair, hands, asked.figures));
  return parts.map((part, number) => ({ ...part, tester: number % asked.testers.length }));
}

/** @typedef {{evenings: number[], lot: number}} Group */

/**
 * @param {number} t
 * @param {number} evening
 * @param {number} evenings
 * @param {number[]} left
 * @param {number} most
 * @returns {Group[]}
 */
function groupsOf(t, evening, evenings, left, most) {
  /** @type {Group[]} */
  const found = [];
  for (let number = 1; number <= evenings; number += 1) {
    let room = evening;
    while (room >= t && most >= t && left.some((runs) => runs >= t)) {
      const lot = left.findIndex((runs) => runs >= t), size = t * Math.floor(Math.min(room, most, left[lot]) / t);
      found.push({ evenings: Array(size).fill(number), lot: lot + 1 });
      room -= size;
      most -= size;
      left[lot] -= size;
    }
  }
  return found;
}

/**
 * Rounds that go over several evenings, because one does not hold a run of each arm.
 * @param {number} t
 * @param {number} evening
 * @param {number} evenings
 * @param {number[]} left
 * @param {number} most
 * @returns {Group[]}
 */
function across(t, evening, evenings, left, most) {
  const places = Array.from({ length: evenings }, (_, n) => Array(evening).fill(n + 1)).flat().slice(0, Math.max(0, most));
  /** @type {Group[]} */
  const found = [];
  for (let start = 0; start + t <= places.length; start += t) {
    const lot = left.findIndex((runs) => runs >= t);
    if (lot < 0) { break; }
    found.push({ evenings: places.slice(start, start + t), lot: lot + 1 });
    left[lot] -= t;
  }
  return found;
}

/**
 * @param {Group} group
 * @param {number} t
 * @param {boolean} codedPair
 * @param {number} testers
 * @param {Figures} figures
 * @returns {Group[]}
 */
function parted({ evenings, lot }, t, codedPair, testers, figures) {
  const rounds = evenings.length / t, parts = codedPair
    ? Math.max(Math.ceil(evenings.length / figures.longest_listed), Math.min(testers, Math.floor(evenings.length / figures.least_coded)), 1)
    : rounds;
  const ends = Array.from({ length: parts + 1 }, (_, part) => t * Math.floor((rounds * part) / parts));
  return ends.slice(1).map((end, part) => ({ evenings: evenings.slice(ends[part], end), lot }));
}

/**
 * The same with runs that end at another checkpoint.
 * @param {Occasion} asked
 * @param {number} last
 * @returns {Occasion}
 */
function goingTo(asked, last) {
  const rule = ruleWithin(asked.protocol, last) ?? asked.rule, kept = asked.ratio !== asked.rule.worthwhile_ratio;
  return { ...asked, last, rule, ratio: kept ? asked.ratio : rule.worthwhile_ratio };
}

/** Rounds of all arms that are enough for an answer, then those that are worth doing at all. @param {Occasion} asked */
const leastRounds = (asked) => (inTurn(asked) && roundRuns(asked) === 2 && !asLeft(asked).length ? [2, 1] : [1]);

/**
 * What was asked for if a run of every arm fits; else shorter runs; else the shortest, with as much more of everything as they take.
 * @param {Occasion} asked
 * @returns {Design}
 */
export function doable(asked) {
  const ends = lasts(asked.protocol).filter((last) => last <= asked.last).reverse();
  /** @param {number} last @returns {Change[]} */
  const shortened = (last) => (last === asked.last ? [] : [{ code: "shorter", values: { last, given: asked.last } }]);
  for (const least of leastRounds(asked)) {
    for (const last of ends) {
      const shorter = goingTo(asked, last), fits = capacity(shorter);
      if (fits.runs >= least * roundRuns(asked)) { return { asked: shorter, fits, changes: shortened(last) }; }
    }
  }
  const last = ends[ends.length - 1];
  return withMore(goingTo(asked, last), shortened(last));
}

/**
 * @param {Occasion} asked
 * @param {Change[]} changes
 * @returns {Design}
 */
function withMore(asked, changes) {
  const t = roundRuns(asked), { figures, blades } = asked, has = { ...asked.stock };
  /** @param {Partial<Stock>} more */
  const having = (more = {}) => ({ ...asked, stock: { ...has, ...more } });
  const least = practiceMinutes(asked.protocol) + (inTurn(asked) ? 2 : 1) * runMinutes(asked.protocol, figures, asked.last).whole;
  if (least > has.minutes) {
    changes.push({ code: "more_minutes", values: { minutes: Math.ceil(least), given: has.minutes } });
    has.minutes = Math.ceil(least);
  }
  const evenings = Math.ceil(t / eveningRuns(having()));
  if (evenings > has.evenings) {
    changes.push({ code: "more_evenings", values: { evenings, given: has.evenings } });
    has.evenings = evenings;
  }
  if (has.most_runs !== null && has.most_runs < t) {
    changes.push({ code: "more_runs_than_wished", values: { runs: t, given: has.most_runs } });
    has.most_runs = t;
  }
  const needs = capacity(having({ lots_m: [], steel_mm: PLENTY }));
  if (has.lots_m.length && !capacity(having({ steel_mm: PLENTY })).runs) {
    const metres = Math.ceil(t * needs.run_m * figures.spare * 10) / 10;
    changes.push({ code: "more_medium", values: { metres } });
    has.lots_m = [metres];
  }
  if (sharpenings(having()) < t) {
    const mm = Math.ceil(t / blades.length / (halves(asked) ? 2 : 1)) * figures.lost_mm;
    changes.push({ code: "more_steel", values: { mm, given: has.steel_mm } });
    has.steel_mm = mm;
  }
  const stretched = having();
  return { asked: stretched, fits: capacity(stretched), changes };
}

/**
 * Other checkpoints at which runs may end, from the farthest; of those with the same endpoint and as many runs the farthest alone.
 * @param {Design} chosen
 * @returns {Design[]}
 */
export function otherDesigns(chosen) {
  /** @param {Occasion} asked @param {Capacity} fits */
  const kind = (asked, fits) => `${asked.rule.id} ${fits.runs}`;
  const met = new Set([kind(chosen.asked, chosen.fits)]), found = [];
  for (const last of lasts(chosen.asked.protocol).reverse()) {
    const other = goingTo(chosen.asked, last), fits = capacity(other);
    if (fits.runs >= leastRounds(other)[0] * roundRuns(other) && !met.has(kind(other, fits))) {
      met.add(kind(other, fits));
      found.push({ asked: other, fits, changes: [] });
    }
  }
  return found;
}
