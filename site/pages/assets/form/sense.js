// Sense in the readings of a file: what a slip of the hand leaves behind, as aggregator/edgehold/records/rules/sense.py, whose docstrings say why.

import { rememberedOf } from "./memory.js";

/**
 * @typedef {{ value: number, mark: string | null, limit: string | null, text: string }} Cell one repeat, in the canonical unit
 * @typedef {{ work: number, cells: Cell[] }} Row
 * @typedef {{ rows: Row[], unit: string, factor: number, hand: string }} ReadRun
 * @typedef {(ReadRun | null)[]} Runs null: a run that could not be converted
 * @typedef {{ row: number, cell: number | null, power: number, reference: number }} Far
 * @typedef {[level: number, count: number] | null} Mean
 * @typedef {(number | null)[]} Middles
 */

/** @type {(cell: Cell) => boolean} */
export const exact = (cell) => cell.mark === null && cell.limit !== "below" && cell.value > 0;

/** @type {(values: number[]) => number} */
function median(values) {
  const found = [...values].sort((a, b) => a - b), half = Math.floor(found.length / 2);
  return found.length % 2 ? found[half] : (found[half - 1] + found[half]) / 2;
}

/** @type {(keener: string) => number} */
const signOf = (keener) => (keener === "lower" ? 1 : -1);

/** @type {(row: Row, keener: string) => [place: number, level: number][]} */
function levels(row, keener) {
  return row.cells.flatMap((cell, place) => (exact(cell) ? [/** @type {[number, number]} */ ([place, signOf(keener) * Math.log(cell.value)])] : []));
}

/** @type {(row: Row, keener: string) => number | null} */
function middleOf(row, keener) {
  const found = levels(row, keener);
  return found.length ? median(found.map(([, level]) => level)) : null;
}

/** @type {<T>(value: T | null) => value is T} */
const there = (value) => value !== null;

/**
 * @param {Runs} runs
 * @param {SenseRules} sense
 */
export function spread(runs, sense) {
  const ranges = runs.filter(there).flatMap(({ rows }) => rows).flatMap((row) => {
    const found = levels(row, "lower").map(([, level]) => level);
    return found.length > 1 ? [(Math.max(...found) - Math.min(...found)) / sense.d2[Math.min(found.length, sense.d2.length - 1)]] : [];
  });
  return ranges.length < sense.enough ? sense.spread : Math.min(Math.max(median(ranges), sense.least), sense.spread);
}

/** The values of a run in order. @type {(run: ReadRun) => number[]} */
const inOrder = rememberedOf(({ rows }) => rows.flatMap(({ cells }) => cells.filter(exact).map(({ value }) => value)).sort((a, b) => a - b));

/** @type {(run: ReadRun, even: number) => number} */
function stepOf(run, even) {
  const values = inOrder(run);
  let step = Infinity;
  for (let n = 1; n < values.length; n += 1) {
    if (values[n] - values[n - 1] > even * values[n]) { step = Math.min(step, values[n] - values[n - 1]); }
  }
  return step === Infinity ? 0 : step;
}

/** @type {(value: number, step: number) => number} */
const rounding = (value, step) => Math.log1p(step / value);

/**
 * @param {ReadRun} run
 * @param {number} single
 * @param {SenseRules} sense
 * @returns {Far[]}
 */
export function farReadings(run, single, sense) {
  const step = stepOf(run, sense.even), middles = run.rows.map((row) => middleOf(row, sense.keener));
  const found = run.rows.flatMap((_, number) => amongRepeats(run, number, middles, single, step, sense));
  const odd = new Set(found.map(({ row }) => row));
  return [...found, ...rowsApart(run, middles, odd, sense)].sort((a, b) => a.row - b.row || (a.cell ?? 0) - (b.cell ?? 0));
}

/**
 * @param {ReadRun} run
 * @param {number} number
 * @param {Middles} middles
 * @param {number} single
 * @param {number} step
 * @param {SenseRules} sense
 * @returns {Far[]}
 */
function amongRepeats(run, number, middles, single, step, sense) {
  const { cells } = run.rows[number], found = levels(run.rows[number], sense.keener);
  const limit = Math.max(sense.far.least, sense.far.times * single);
  return found.flatMap(([place, level]) => {
    const fellows = found.filter(([at]) => at !== place).map(([, other]) => other);
    const reference = referenceOf(level, fellows, beside(middles, number).filter(there));
    if (reference === null) { return []; }
    const other = Math.exp(signOf(sense.keener) * reference), allowed = limit + rounding(Math.min(cells[place].value, other), step);
    if (Math.abs(level - reference) <= allowed) { return []; }
    return [{ row: number, cell: place, power: powerOf(level, reference, sense), reference: other }];
  });
}

/**
 * @param {number} level
 * @param {number[]} fellows
 * @param {number[]} around
 */
function referenceOf(level, fellows, around) {
  if (fellows.length >= 2) { return median([level, ...fellows]); }
  if (!fellows.length || !around.length) { return null; }
  const centre = around.reduce((sum, one) => sum + one, 0) / around.length;
  return Math.abs(level - centre) > Math.abs(fellows[0] - centre) ? fellows[0] : null;
}

/** @type {(middles: Middles, number: number) => [before: number | null, after: number | null]} */
const beside = (middles, number) => [middles[number - 1] ?? null, middles[number + 1] ?? null];

/** @type {(level: number, reference: number, sense: SenseRules) => number} */
function powerOf(level, reference, { keener, far }) {
  /** @type {(power: number) => number} */
  const shifted = (power) => Math.abs(level + signOf(keener) * power * Math.log(10) - reference);
  const best = [1, -2, 2].reduce((known, power) => (shifted(power) < shifted(known) ? power : known), -1);
  return shifted(best) <= far.near ? best : 0;
}

/**
 * @param {ReadRun} run
 * @param {Middles} middles
 * @param {Set<number>} odd
 * @param {SenseRules} sense
 */
function rowsApart(run, middles, odd, sense) {
  /** @type {Far[]} */
  const found = [];
  if (middles.length < 3) { return found; }
  for (const number of [...middles.slice(2).map((_, n) => n + 1), 0, middles.length - 1]) {
    const middle = middles[number];
    if (middle === null || odd.has(number)) { continue; }
    const [before, after] = beside(middles, number).map((level, n) => (found.some(({ row }) => row === number + (n ? 1 : -1)) ? null : level));
    const { power, near } = apart(middle, before, after, sense);
    if (power) { found.push({ row: number, cell: null, power, reference: Math.exp(signOf(sense.keener) * near) }); }
  }
  return found;
}

/**
 * @param {number} middle
 * @param {number | null} before
 * @param {number | null} after
 * @param {SenseRules} sense
 */
function apart(middle, before, after, sense) {
  const { rise, slack, out } = sense.row, around = [before, after].filter(there), none = { power: 0, near: 0 };
  if (!around.length) { return none; }
  const low = Math.min(...around) - (before === null ? rise : slack), high = Math.max(...around) + (after === null ? rise : slack);
  if (Math.max(low - middle, middle - high) <= out) { return none; }
  /** @type {(power: number) => boolean} */
  const fits = (power) => { const moved = middle + signOf(sense.keener) * power * Math.log(10); return low <= moved && moved <= high; };
  const near = around.reduce((known, level) => (Math.abs(level - middle) < Math.abs(known - middle) ? level : known));
  return { power: [-1, 1, -2, 2].find(fits) ?? 0, near };
}

/**
 * @param {ReadRun} run
 * @param {Far[]} far
 * @param {number} single
 * @param {SenseRules} sense
 */
export function muchSharper(run, far, single, sense) {
  const step = stepOf(run, sense.even), means = run.rows.map((row, number) => meanOf(row, number, far, sense.keener));
  const first = beganBlunter(run, means) ? 1 : 0;
  for (let later = first + 1; later < means.length; later += 1) {
    const before = means.map((_, n) => n).slice(first, later).sort((a, b) => (means[b] ?? [-Infinity])[0] - (means[a] ?? [-Infinity])[0] || a - b);
    for (const earlier of before) {
      const one = means[earlier], two = means[later];
      if (!one || !two || (earlier === 0 && later === 1)) { continue; }
      const limit = Math.max(sense.sharper.least, sense.sharper.times * single * Math.sqrt(1 / one[1] + 1 / two[1]));
      const least = Math.min(...[earlier, later].flatMap((n) => run.rows[n].cells.map(({ value }) => value)));
      if (one[0] - two[0] > limit + rounding(least, step)) { return { later, earlier, times: Math.exp(one[0] - two[0]) }; }
    }
  }
  return null;
}

/**
 * @param {Row} row
 * @param {number} number
 * @param {Far[]} far
 * @param {string} keener
 * @returns {Mean}
 */
function meanOf(row, number, far, keener) {
  if (row.cells.some(({ limit, mark, value }) => limit || mark || value <= 0)) { return null; }
  const leftOut = far.filter((one) => one.row === number).map(({ cell }) => cell);
  const found = levels(row, keener).filter(([place]) => !leftOut.includes(place)).map(([, level]) => level);
  return found.length && !leftOut.includes(null) ? [found.reduce((sum, one) => sum + one, 0) / found.length, found.length] : null;
}

/** @type {(run: ReadRun, means: Mean[]) => boolean} */
function beganBlunter({ rows }, [start, first]) {
  return rows.length >= 2 && rows[0].work === 0 && start !== null && first !== null && first[0] < start[0];
}

/** @type {(run: ReadRun, far: Far[], sense: SenseRules) => boolean} */
export const burr = (run, far, { keener }) => beganBlunter(run, run.rows.slice(0, 2).map((row, number) => meanOf(row, number, far, keener)));

/** @type {(one: Row, two: Row, even: number) => boolean} */
function sameRows(one, two, even) {
  if (one.cells.length < 2 || one.cells.length !== two.cells.length || ![...one.cells, ...two.cells].every(exact)) { return false; }
  return one.cells.every(({ value }, n) => Math.abs(value - two.cells[n].value) <= even * two.cells[n].value);
}

/**
 * @param {ReadRun} run
 * @param {SenseRules} sense
 * @returns {[later: number, earlier: number] | null}
 */
export function rowTwice(run, sense) {
  const fine = sense.fine * stepOf(run, sense.even);
  for (let later = 1; later < run.rows.length; later += 1) {
    for (let earlier = 0; earlier < later; earlier += 1) {
      const same = sameRows(run.rows[earlier], run.rows[later], sense.even);
      if (same && Math.min(...run.rows[later].cells.map(({ value }) => value)) >= fine) { return [later, earlier]; }
    }
  }
  return null;
}

/**
 * @param {ReadRun} run
 * @param {ReadRun} earlier
 * @param {SenseRules} sense
 * @returns {[first: number, last: number] | null}
 */
export function copied(run, earlier, sense) {
  const works = new Map(earlier.rows.map((row) => [row.work, row]));
  const alike = run.rows.map((row) => { const other = works.get(row.work); return other !== undefined && sameRows(other, row, sense.even); });
  const values = run.rows.flatMap(({ cells }) => cells.map(({ value }) => value));
  if (alike.every(Boolean) && run.rows.length === earlier.rows.length && values.length >= sense.copied.values) {
    return new Set(values).size >= sense.copied.distinct ? [0, alike.length - 1] : null;
  }
  const fine = sense.fine * stepOf(run, sense.even);
  /** @type {(part: [number, number]) => number} */
  const fineValues = ([first, last]) => run.rows.slice(first, last + 1).flatMap(({ cells }) => cells).filter(({ value }) => value >= fine).length;
  return stretches(alike).find((part) => fineValues(part) >= sense.copied.part) ?? null;
}

/** @type {(alike: boolean[]) => [first: number, last: number][]} */
function stretches(alike) {
  /** @type {[number, number][]} */
  const found = [];
  let begins = -1;
  [...alike, false].forEach((same, number) => {
    if (same && begins < 0) { begins = number; } else if (!same && begins >= 0) {
      if (number - begins > 1) { found.push([begins, number - 1]); }
      begins = -1;
    }
  });
  return found;
}

/**
 * @param {number} number
 * @param {Runs} runs
 * @param {SenseRules} sense
 * @returns {[row: number, cell: number][]}
 */
export function strayLimits(number, runs, sense) {
  const run = runs[number];
  if (!run) { return []; }
  const read = runs.filter(there).filter(({ hand }) => hand === run.hand).flatMap(({ rows }) => rows.flatMap(({ cells }) => cells.filter(exact).map(({ value }) => value)));
  const step = stepOf(run, sense.even);
  return run.rows.flatMap(({ cells }, n) => (cells.some(exact) ? cells : []).flatMap((cell, k) => (
    cell.mark && cell.value > 0 && stray(cell, read, step, run.factor, sense.even) ? [/** @type {[number, number]} */ ([n, k])] : [])));
}

/** @type {(cell: Cell, read: number[], step: number, factor: number, even: number) => boolean} */
function stray({ mark, value }, read, step, factor, even) {
  if (mark === "above") { return read.some((one) => one > value * (1 + even)) || !twoDigits(value / factor); }
  return read.some((one) => one < value * (1 - even)) || (value > 2 * step && !twoDigits(value / factor));
}

/** @type {(number: number) => boolean} */
const twoDigits = (number) => Math.abs(Number(number.toExponential(1)) - number) <= 1e-9 * Math.abs(number);

/** @type {(run: ReadRun) => number[]} */
const unmarked = ({ rows }) => rows.flatMap(({ cells }) => cells.filter(({ mark, value }) => mark === null && value > 0).map(({ value }) => value));

/**
 * @param {number} number
 * @param {Runs} runs
 * @param {Dictionary<number>} factors
 * @param {SenseRules} sense
 * @returns {string[]}
 */
export function otherUnits(number, runs, factors, sense) {
  const run = runs[number], values = run ? unmarked(run) : [];
  if (!run || values.length < sense.enough_values || inside(values, 1, sense) > 1 - sense.share || !oneSide(values, sense)) { return []; }
  const fits = Object.entries(factors).filter(([, factor]) => inside(values, factor / run.factor, sense) >= sense.share).map(([unit]) => unit);
  const known = runs.flatMap((other) => (other && other !== run && fits.includes(other.unit) ? [other.unit] : []));
  return known.length ? known.slice(0, 1) : fits;
}

/** @type {(values: number[], sense: SenseRules) => boolean} */
function oneSide(values, { low, high, share }) {
  return Math.max(values.filter((value) => value < low).length, values.filter((value) => value > high).length) >= share * values.length;
}

/** @type {(values: number[], ratio: number, sense: SenseRules) => number} */
function inside(values, ratio, { low, high }) {
  return values.filter((value) => low <= value * ratio && value * ratio <= high).length / values.length;
}

/**
 * @param {number} number
 * @param {Runs} runs
 * @param {SenseRules} sense
 */
export function unitOfOthers(number, runs, sense) {
  const run = runs[number], others = runs.filter(there).filter((other) => other !== run);
  if (!run || others.length < 2 || others.some(({ factor }) => factor !== others[0].factor) || others[0].factor === run.factor) { return null; }
  const rest = others.map(middles), gaps = [];
  for (const [work, level] of middles(run)) {
    const some = rest.flatMap((known) => known.get(work) ?? []);
    if (some.length) { gaps.push(level - median(some)); }
  }
  if (gaps.length < 2) { return null; }
  const gap = median(gaps), change = Math.log(others[0].factor / run.factor);
  return Math.abs(gap) > sense.off && Math.abs(gap + change) < Math.abs(gap) / 2 ? { unit: others[0].unit, times: Math.exp(gap) } : null;
}

/** @type {(run: ReadRun) => Map<number, number>} */
const middles = rememberedOf(({ rows }) => (
  new Map(rows.flatMap((row) => { const middle = middleOf(row, "lower"); return middle === null ? [] : [[row.work, middle]]; }))));
