// Dulling curves of the runs as they are typed: a drawing of what stands in the tables, nothing smoothed and nothing computed.

import { draw, make } from "./dom.js";
import { last } from "./matrices.js";
import { rememberingFor } from "./memory.js";
import { blank, child } from "./places.js";
import { WrittenError, canonicalValue } from "./units.js";

/**
 * @typedef {{ work: number, level: number, open: boolean }} Point
 * @typedef {{ n: number, name: string, points: Point[] }} Line
 * @typedef {{ width: number, x: (work: number) => number, y: (level: number) => number, ticks: [value: number, words: string][] }} Scales
 */

const HEIGHT = 300, MARGIN = { left: 46, right: 34, top: 26, bottom: 40 };
const LABEL = 12; // height of a number at the end of a line
const COLOURS = 6; // --chart-1 to --chart-6; after them lines are dashed

/**
 * Points of one run: {work, level, open}; level is a mean value, or the share of passes; open where a limit was read.
 *
 * @param {RunDraft} run
 * @param {SubmissionRules} rules
 * @returns {Point[]}
 */
function points(run, rules) {
  const { work, reading } = rules.protocol;
  return (Array.isArray(run.readings) ? run.readings : []).flatMap((row) => {
    const at = number(row.work, run.work_unit, work.unit, rules);
    const level = reading.kind === "pass/fail" ? passes(row) : mean(row, run, reading.canonical_unit, rules);
    return at === null || level === null || at < 0 ? [] : [{ work: at, level, open: (row.values ?? []).some((value) => child(value, "limit")) }];
  });
}

/** Points of runs that stand as they did before. @type {(rules: object, run: string, work: () => Point[]) => Point[]} */
const pointsBefore = rememberingFor(1000);

/** @param {RowDraft} row */
function passes(row) {
  const read = (row.outcomes ?? []).filter((outcome) => outcome === "pass" || outcome === "fail");
  return read.length ? read.filter((outcome) => outcome === "pass").length / read.length : null;
}

/**
 * @param {RowDraft} row
 * @param {RunDraft} run
 * @param {string} unit
 * @param {SubmissionRules} rules
 */
function mean(row, run, unit, rules) {
  const read = (row.values ?? []).map((value) => child(value, "written")).filter((written) => !blank(written));
  const values = read.map((written) => number(written, run.reading_unit, unit, rules));
  const positive = values.filter((value) => value !== null).filter((value) => value > 0);
  if (!values.length || positive.length < values.length) { return null; }
  return Math.exp(positive.reduce((sum, value) => sum + Math.log(value), 0) / values.length);
}

/**
 * @param {unknown} written
 * @param {unknown} unit
 * @param {string} goal
 * @param {SubmissionRules} rules
 */
function number(written, unit, goal, rules) {
  if (blank(written) || blank(unit)) { return null; }
  try {
    return canonicalValue(written, unit, goal, rules);
  } catch (error) {
    if (error instanceof WrittenError) { return null; }
    throw error;
  }
}

/**
 * The drawing and its legend, or null while nothing is there to draw.
 *
 * @param {SubmissionDraft} draft
 * @param {SubmissionRules} rules
 * @param {number} width
 */
export function curves(draft, rules, width) {
  const runs = (draft.runs ?? []).map((run, n) => ({ n, name: nameOf(draft, run, n), points: pointsBefore(rules, JSON.stringify(run), () => points(run, rules)) })).filter((run) => run.points.length);
  if (!runs.length) { return null; }
  const scales = scaled(runs, rules, Math.max(280, width));
  const labels = apart(runs.map((run) => ({ run, y: scales.y(last(run.points).level) + 4 })));
  const svg = draw("svg", { viewBox: `0 0 ${scales.width} ${HEIGHT}`, width: scales.width, height: HEIGHT, class: "typed-curves" },
    ...axes(scales, rules), ...runs.map((run) => line(run, scales, labels.get(run) ?? 0)));
  const picture = make("div", { class: "chart", role: "img", "aria-label": inWords(runs, rules) }, svg);
  const legend = make("ul", { class: "legend-list" }, runs.map((run) => make("li", {}, key(run), run.name)));
  return make("figure", { class: "curves" }, picture, legend, make("figcaption", {}, rules.protocol.reading.kind === "pass/fail"
    ? "Your readings as typed: how many of each checkpoint’s repeats passed."
    : "Your readings as typed: the mean of each checkpoint’s repeats. Higher is sharper. Hollow: under or over what can be read."));
}

/**
 * @param {SubmissionDraft} draft
 * @param {RunDraft} run
 * @param {number} n
 */
function nameOf(draft, run, n) {
  const preparation = (draft.preparations ?? []).find((other) => other.id === run.preparation) ?? {};
  return [`Run ${n + 1}`, preparation.sharpener && `sharpened by ${preparation.sharpener}`, preparation.blade].filter(Boolean).join(", ");
}

/**
 * @param {Line[]} runs
 * @param {SubmissionRules} rules
 * @param {number} width
 * @returns {Scales}
 */
function scaled(runs, rules, width) {
  const { checkpoints } = rules.protocol.work, first = checkpoints[1];
  const all = runs.flatMap((run) => run.points), far = Math.max(last(checkpoints), ...all.map((p) => p.work));
  /** @type {(work: number) => number} */
  const across = (work) => Math.log2(1 + work / first);
  /** @type {(work: number) => number} */
  const x = (work) => MARGIN.left + (across(work) / across(far)) * (width - MARGIN.left - MARGIN.right);
  const room = HEIGHT - MARGIN.top - MARGIN.bottom;
  if (rules.protocol.reading.kind === "pass/fail") {
    return { width, x, y: (share) => MARGIN.top + (1 - share) * room, ticks: [0, 0.5, 1].map((share) => [share, `${share * 100} %`]) };
  }
  const low = Math.min(...all.map((p) => p.level)) / 1.1, high = Math.max(...all.map((p) => p.level)) * 1.1;
  /** @type {(value: number) => number} */
  const share = (value) => Math.log(value / low) / Math.log(high / low);
  /** @type {(value: number) => number} */
  const up = rules.protocol.reading.keener === "higher" ? share : (value) => 1 - share(value);
  const ticks = [1, 2, 5].flatMap((step) => [-3, -2, -1, 0, 1, 2, 3, 4].map((power) => Number((step * 10 ** power).toPrecision(1))));
  const shown = ticks.filter((value) => value >= low && value <= high).sort((a, b) => a - b);
  return { width, x, y: (value) => MARGIN.top + (1 - up(value)) * room, ticks: shown.map((value) => [value, String(value)]) };
}

/**
 * @param {Scales} scales
 * @param {SubmissionRules} rules
 */
function axes({ width, x, y, ticks }, { protocol }) {
  const bottom = HEIGHT - MARGIN.bottom, unit = protocol.reading.canonical_unit;
  const vertical = ticks.flatMap(([value, words]) => [
    draw("line", { x1: MARGIN.left, x2: width - MARGIN.right, y1: y(value), y2: y(value), class: "grid-line" }),
    draw("text", { x: MARGIN.left - 6, y: y(value) + 4, "text-anchor": "end" }, words),
  ]);
  const horizontal = protocol.work.checkpoints.map((point) => draw("text", { x: x(point), y: bottom + 16, "text-anchor": "middle" }, String(point)));
  return [
    ...vertical, ...horizontal,
    draw("text", { x: MARGIN.left, y: 14 }, `${unit ? `${unit}, ` : ""}↑ sharper`),
    draw("text", { x: (MARGIN.left + width - MARGIN.right) / 2, y: HEIGHT - 6, "text-anchor": "middle" }, `Work (${protocol.work.unit})`),
  ];
}

/** @type {(run: { n: number }) => string} */
const look = ({ n }) => `line-${(n % COLOURS) + 1}${n >= COLOURS ? " dashed" : ""}`;

/**
 * Places of the numbers at the ends of the lines, moved so far that none covers another.
 *
 * @template T
 * @param {{ run: T, y: number }[]} labels
 */
function apart(labels) {
  labels.sort((a, b) => a.y - b.y);
  labels.forEach((label, n) => { if (n && label.y < labels[n - 1].y + LABEL) { label.y = labels[n - 1].y + LABEL; } });
  labels.reduceRight((lowest, label) => { label.y = Math.min(label.y, lowest); return label.y - LABEL; }, HEIGHT - MARGIN.bottom);
  return new Map(labels.map(({ run, y }) => [run, y]));
}

/**
 * @param {Line} run
 * @param {Scales} scales
 * @param {number} label
 */
function line(run, { x, y }, label) {
  const path = run.points.map((point) => `${x(point.work).toFixed(1)},${y(point.level).toFixed(1)}`).join(" ");
  const dots = run.points.map((point) => draw("circle", { cx: x(point.work), cy: y(point.level), r: 3, class: point.open ? "open" : "full" }));
  const end = last(run.points);
  return draw("g", { class: look(run) }, draw("polyline", { points: path }), ...dots, draw("text", { x: x(end.work) + 7, y: label }, String(run.n + 1)));
}

/** @param {Line} run */
function key(run) {
  return make("span", { class: "key", "aria-hidden": "true" }, draw("svg", { viewBox: "0 0 26 8", width: 26, height: 8, class: "typed-curves" },
    draw("g", { class: look(run) }, draw("line", { x1: 1, x2: 25, y1: 4, y2: 4 }))));
}

/**
 * @param {Line[]} runs
 * @param {SubmissionRules} rules
 */
function inWords(runs, { protocol }) {
  const unit = protocol.reading.canonical_unit, pass = protocol.reading.kind === "pass/fail";
  /** @type {(value: number) => string} */
  const level = (value) => (pass ? `${Math.round(value * 100)} % passed` : `${Number(value.toPrecision(3))} ${unit}`);
  const said = runs.map(({ name, points: [first, ...rest] }) => `${name}: ${level(first.level)} at ${first.work}${rest.length ? `, ${level(last(rest).level)} at ${last(rest).work}` : ""}`);
  return `Dulling curves. ${said.join("; ")}.`;
}
