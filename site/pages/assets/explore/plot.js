// Forest, leave-one-out and cumulative plots as one kind of drawing: a row for each ratio on a common logarithmic scale. Wide, the words
// stand beside the bars; narrow, above them. Colours come from the style sheet.

import { draw } from "../form/dom.js";

const NARROW = 560, MARGIN = 14, LINE = 17, FOOT = 20, TEXT = 12, LETTER = 6.6;
const SIZES = { wide: { row: 26, left: 250, right: 166, middle: 0.5 }, narrow: { row: 62, left: 0, right: 0, middle: 0.72 } };

/**
 * @typedef {object} Row
 * @property {string} label
 * @property {string} note smaller words beside the label
 * @property {string} figures
 * @property {?number} estimate on the ln scale, as are the ends
 * @property {?number} low
 * @property {?number} high
 * @property {"one" | "out" | "pooled"} kind one submission, one that is left out, or what several say together
 * @property {number} [size] share of the weight, for the square
 * @property {?[low: number, high: number]} [wider] a thin line: the prediction
 *
 * @typedef {object} Frame
 * @property {number} width in CSS pixels
 * @property {number} worthwhile ratio
 * @property {?number} reference ln ratio of a dotted line
 * @property {[low: string, high: string]} sides who does better at either end
 * @property {string} mark what stands on the drawing itself: whose selection it is
 * @property {string} label for whoever hears it
 * @property {{ first: string, second: string, endpoint: string }} about the pair and the endpoint, for a file of the drawing
 */

/**
 * The drawing of some rows.
 *
 * @param {Row[]} rows
 * @param {Frame} frame
 * @param {RatioScale} scale
 */
export function plot(rows, frame, scale) {
  const narrow = frame.width < NARROW, size = narrow ? SIZES.narrow : SIZES.wide, width = Math.max(frame.width, 260);
  const left = size.left + MARGIN, right = width - size.right - MARGIN, marks = narrow ? frame.mark.split(/(?<=,) /u) : [frame.mark];
  const top = (marks.length + 3) * LINE + 8, height = top + rows.length * size.row + FOOT;
  const { x, reach, ticks } = axisOf(rows, frame, scale, left, right);
  const parts = [...ground(frame, x, ticks, { top, height, width, marks })];
  rows.forEach((row, n) => parts.push(...drawn(row, { x, reach, right, narrow, y: top + n * size.row, high: size.row, middle: size.middle })));
  return /** @type {SVGSVGElement} */ (draw("svg", { viewBox: `0 0 ${width} ${height}`, width, height, class: "explore-plot", role: "img", "aria-label": frame.label }, ...parts));
}

/**
 * The smallest scale that holds the estimates and what is pooled; longer lines go on beyond it.
 *
 * @param {Row[]} rows
 * @param {Frame} frame
 * @param {RatioScale} scale
 * @param {number} left
 * @param {number} right
 */
function axisOf(rows, { worthwhile }, scale, left, right) {
  let furthest = Math.log(worthwhile);
  for (const { estimate, low, high, kind, wider } of rows) {
    const held = kind === "pooled" ? [estimate, low, high, ...(wider ?? [])] : [estimate];
    for (const end of held) { furthest = Math.max(furthest, Math.abs(end ?? 0)); }
  }
  const reach = scale.reaches.find((one) => Math.log(one) >= furthest) ?? Math.max(...scale.reaches), limit = Math.log(reach);
  /** @type {(ln: number) => number} */
  const x = (ln) => (left + right) / 2 + (right - left) / 2 * Math.min(Math.max(ln / limit, -1), 1);
  return { x, reach: limit, ticks: scale.ticks[String(reach)] };
}

/** @type {(x: number) => string} */
const written = (x) => x.toFixed(1);

/**
 * The mark, the sides, the scale above the rows, the band of small differences and the lines through all rows.
 *
 * @param {Frame} frame
 * @param {(ln: number) => number} x
 * @param {[ratio: number, words: string][]} ticks
 * @param {{ top: number, height: number, width: number, marks: string[] }} place
 */
function ground({ worthwhile, reference, sides }, x, ticks, { top, height, width, marks }) {
  const worth = Math.log(worthwhile), bottom = height - FOOT, line = marks.length * LINE + TEXT, centre = x(0), room = Math.min(centre, width - centre), gap = 10;
  const words = [`← ${sides[0]}`, `${sides[1]} →`], beside = Math.max(...words.map((text) => text.length)) * LETTER < room - gap;
  const parts = [
    ...marks.map((text, n) => draw("text", { class: "explore-mark", x: 0, y: n * LINE + TEXT }, text)),
    ...words.map((text, n) => draw("text", { // side by side about the middle, or one below the other where one is too long for that
      class: "explore-side", x: written(beside ? centre + (n ? gap : -gap) : n ? width : 0), y: line + (beside ? 1 : n) * LINE, "text-anchor": (n === 0) === beside ? "end" : "start",
    }, text)),
    draw("rect", { class: "explore-band", x: written(x(-worth)), y: top, width: written(x(worth) - x(-worth)), height: bottom - top }),
  ];
  for (const [ratio, words] of ticks) {
    const at = written(x(Math.log(ratio)));
    parts.push(draw("line", { class: ratio === 1 ? "explore-no-difference" : "explore-grid", x1: at, x2: at, y1: top, y2: bottom }));
    for (const y of [top - 4, height - 4]) { parts.push(draw("text", { class: "explore-tick", x: at, y, "text-anchor": "middle" }, words)); }
  }
  if (reference !== null) {
    const at = written(x(reference));
    parts.push(draw("line", { class: "explore-reference", x1: at, x2: at, y1: top, y2: bottom }));
  }
  return parts;
}

/**
 * @param {Row} row
 * @param {{ x: (ln: number) => number, reach: number, right: number, narrow: boolean, y: number, high: number, middle: number }} place
 */
function drawn(row, { x, reach, right, narrow, y, high, middle }) {
  const centre = y + high * middle, line = narrow ? y + LINE : centre + 4, figures = narrow ? line + LINE - 1 : line;
  const label = draw("text", { class: `explore-label explore-words-${row.kind}`, x: 0, y: written(line) }, row.label);
  if (row.note) { label.append(draw("tspan", { class: "explore-note", dx: 6 }, row.note)); }
  const parts = [label, draw("text", { class: "explore-figures", x: narrow ? 0 : written(right + MARGIN), y: written(figures) }, row.figures)];
  if (row.estimate === null) { return parts; }
  if (row.wider) { parts.push(...bar(row.wider[0], row.wider[1], x, reach, centre, "explore-wider")); }
  if (row.low !== null && row.high !== null) { parts.push(...bar(row.low, row.high, x, reach, centre, `explore-line explore-${row.kind}`)); }
  return [...parts, mark(row, x(row.estimate), centre)];
}

/** @type {(low: number, high: number, x: (ln: number) => number, reach: number, y: number, css: string) => SVGElement[]} */
function bar(low, high, x, reach, y, css) {
  const [from, to] = [x(low), x(high)], parts = [draw("line", { class: css, x1: written(from), x2: written(to), y1: written(y), y2: written(y) })];
  if (low < -reach) { parts.push(draw("path", { class: `${css} explore-head`, d: `M${written(from)} ${written(y)}l7 -4v8z` })); }
  if (high > reach) { parts.push(draw("path", { class: `${css} explore-head`, d: `M${written(to)} ${written(y)}l-7 -4v8z` })); }
  return parts;
}

/**
 * A diamond for what is pooled, a square whose area is the weight for a submission.
 *
 * @param {Row} row
 * @param {number} x
 * @param {number} y
 */
function mark({ kind, size = 0 }, x, y) {
  if (kind === "pooled") { return draw("path", { class: "explore-sign explore-pooled", d: `M${written(x - 7)} ${written(y)}l7 -6l7 6l-7 6z` }); }
  const side = kind === "out" ? 7 : 5 + 11 * Math.sqrt(size);
  return draw("rect", { class: `explore-sign explore-${kind}`, x: written(x - side / 2), y: written(y - side / 2), width: written(side), height: written(side) });
}
