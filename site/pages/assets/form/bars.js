// The bars of one answer, all on one scale of ratios, so that lengths compare from bar to bar. The measures come with the rules
// (aggregator/edgehold/results/words/ratio_scale.py); a report draws the same (aggregator/edgehold/report/bars.py).

import { draw, make } from "./dom.js";
import { figuresText, filled, sideWords, times } from "./sentences.js";

/**
 * @typedef {{ width: number, margin: number, top: number, middle: number, floor: number, height: number }} Measures
 * @typedef {{ x: (ratio: number) => number, reach: number, ticks: [ratio: number, words: string][], sizes: Measures }} Scale
 */

/**
 * The one scale of several results: the smallest that holds every ratio, end and worthwhile ratio.
 *
 * @param {AnswerResult[]} results
 * @param {SubmissionRules} rules
 * @returns {Scale}
 */
export function commonScale(results, rules) {
  const { reaches, ticks, ...sizes } = rules.scale, margins = rules.protocol.endpoints.map((rule) => rule.worthwhile_ratio);
  const known = [...margins, ...results.flatMap(({ ratio, low, high }) => [ratio, low, high])].filter((value) => value !== null);
  const furthest = Math.max(...known.map((value) => Math.abs(Math.log(value))));
  const reach = reaches.find((one) => Math.log(one) >= furthest) ?? Math.max(...reaches), half = sizes.width / 2;
  /** @type {(ratio: number) => number} */
  const x = (ratio) => half + ((half - sizes.margin) * Math.log(Math.min(Math.max(ratio, 1 / reach), reach))) / Math.log(reach);
  return { x, reach, ticks: ticks[String(reach)], sizes };
}

/**
 * One result on the scale, with the side that does better at either end; nothing where no end is known.
 *
 * @param {AnswerResult} result
 * @param {EndpointRule} rule
 * @param {Scale} scale
 * @param {Sentences} words
 */
export function bar(result, rule, scale, words) {
  const { ratio, low, high, factor, first, second, title } = result, { sizes } = scale;
  if (ratio === null && low === null && high === null) { return null; }
  const worthwhile = times(rule.worthwhile_ratio, words);
  const label = filled(words.own_answer.bar, { title, first, second, figures: figuresText(result, words), worthwhile });
  const sides = make("p", { class: "sides" }, make("span", {}, `←\u00a0${sideWords(factor, second, rule.kind, words)}`),
    make("span", {}, `${sideWords(factor, first, rule.kind, words)}\u00a0→`));
  const drawing = draw("svg", { viewBox: `0 0 ${sizes.width} ${sizes.height}`, width: sizes.width, height: sizes.height, class: "answer-bar", role: "img", "aria-label": label },
    ...ground(rule.worthwhile_ratio, scale, words), ...ticks(scale, words), ...interval(result, scale));
  return make("div", { class: "answer-drawn" }, sides, drawing);
}

/** @type {(x: number) => string} */
const written = (x) => x.toFixed(1);

/**
 * The band of differences not worth acting on, its edges with their ratios, and the line of no difference.
 *
 * @param {number} worthwhile
 * @param {Scale} scale
 * @param {Sentences} words
 */
function ground(worthwhile, { x, sizes: { top, floor } }, words) {
  const [low, high, one] = [1 / worthwhile, worthwhile, 1].map(x);
  const edges = [{ at: low, anchor: "end", ratio: 1 / worthwhile }, { at: high, anchor: "start", ratio: worthwhile }].flatMap(({ at, anchor, ratio }) => [
    draw("line", { class: "bar-worth", x1: written(at), y1: top, x2: written(at), y2: floor }),
    draw("text", { x: written(at), y: top - 5, "text-anchor": anchor }, times(ratio, words)),
  ]);
  return [
    draw("rect", { class: "bar-band", x: written(low), y: top, width: written(high - low), height: floor - top }), ...edges,
    draw("line", { class: "bar-one", x1: written(one), y1: top, x2: written(one), y2: floor }),
  ];
}

/**
 * The scale itself; the outer words stand inside the drawing's edges.
 *
 * @param {Scale} scale
 * @param {Sentences} words
 */
function ticks({ x, ticks: marks, sizes: { width, margin, floor } }, words) {
  const axis = draw("line", { class: "bar-axis", x1: margin, y1: floor, x2: width - margin, y2: floor });
  return [axis, ...marks.flatMap(([ratio, text], n) => {
    const [at, anchor] = n === 0 ? [0, "start"] : n === marks.length - 1 ? [width, "end"] : [x(ratio), "middle"];
    return [
      draw("line", { class: "bar-tick", x1: written(x(ratio)), y1: floor, x2: written(x(ratio)), y2: floor + 4 }),
      draw("text", { x: written(at), y: floor + 16, "text-anchor": anchor }, ratio === 1 ? words.own_answer.no_difference : text),
    ];
  })];
}

/**
 * The interval, with an arrow head at an end that is open or beyond the scale, and the ratio's mark.
 *
 * @param {AnswerResult} result
 * @param {Scale} scale
 */
function interval({ ratio, low, high }, { x, reach, sizes: { middle } }) {
  const [from, to] = [x(low ?? 1 / reach), x(high ?? reach)];
  const parts = [draw("line", { class: "bar-interval", x1: written(from), y1: middle, x2: written(to), y2: middle })];
  if (low === null || low < 1 / reach) { parts.push(draw("path", { class: "bar-head", d: `M${written(from)} ${middle}l6 -4v8z` })); }
  if (high === null || high > reach) { parts.push(draw("path", { class: "bar-head", d: `M${written(to)} ${middle}l-6 -4v8z` })); }
  if (ratio !== null) { parts.push(draw("rect", { class: "bar-mark", x: written(x(ratio) - 3.5), y: middle - 3.5, width: 7, height: 7 })); }
  return parts;
}
