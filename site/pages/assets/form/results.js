// Your answer on the page: each endpoint's sentence, its bar, and a table of the figures. The figures come from answer.js.

import { answer } from "./answer.js";
import { draw, fold, make } from "./dom.js";

const WIDTH = 320, HEIGHT = 34, WIDEST = 16; // the bar's axis reaches from ×1/16 to ×16 at most

/** @type {(ratio: number) => string} */
const times = (ratio) => `×${ratio >= 10 ? ratio.toFixed(0) : ratio.toPrecision(3).replace(/\.?0+$/u, "")}`;

/**
 * The answer to what is typed so far, or null while there is nothing to answer.
 *
 * @param {SubmissionDraft} record
 * @param {SubmissionRules} rules
 */
export function yourAnswer(record, rules) {
  if (!(record.runs ?? []).some((run) => run.readings?.length)) { return null; }
  const { results, methods, notes } = answer(record, rules);
  const margins = Object.fromEntries(rules.protocol.endpoints.map((rule) => [rule.id, rule.worthwhile_ratio]));
  return make("section", { "aria-labelledby": "answer", class: "part" },
    make("h3", { id: "answer" }, "Your answer"),
    record.origin === "simulated" ? make("p", { class: "banner simulated" }, make("strong", {}, "Simulated."), " Nobody measured these figures: the answer is an example.") : null,
    results.map((result) => one(result, margins[result.endpoint])),
    notes.length ? make("ul", {}, notes.map((note) => make("li", {}, note))) : null,
    results.length ? figures(results, methods) : null,
    make("p", { class: "help" }, "Bars: the ratio and its 95 % interval, above ×1 better for the one named first; shaded, differences too small to act on. It speaks of these blades, people and this evening only. Pooled with other people’s, it can speak of more."));
}

/**
 * @param {AnswerResult} result
 * @param {number} margin
 */
function one(result, margin) {
  const text = result.sentence || result.reason;
  return make("div", { class: "own-answer" }, make("p", {}, make("span", { class: "role" }, result.role), " ", text), bar(result, margin));
}

/**
 * The interval on an axis of ratios, the shaded part the differences not worth acting on; nothing where no end is known.
 *
 * @param {AnswerResult} result
 * @param {number} margin
 */
function bar({ ratio, low, high, first, second, title }, margin) {
  if (ratio === null && low === null && high === null) { return null; }
  const far = Math.min(WIDEST, Math.max(margin, ...[ratio, low, high].filter((v) => v !== null).map((v) => Math.max(v, 1 / v))) * 1.15);
  /** @type {(v: number) => number} */
  const x = (v) => WIDTH / 2 + (Math.log(Math.min(Math.max(v, 1 / far), far)) / Math.log(far)) * (WIDTH / 2 - 12);
  const ends = [low ?? 1 / far, high ?? far];
  const words = [ratio === null ? "" : `${times(ratio)}, `, low === null ? "no lower end" : `from ${times(low)}`, high === null ? ", no upper end" : ` to ${times(high)}`].join("");
  return make("div", { class: "chart", role: "img", "aria-label": `${title}, ${first} against ${second}: ${words}.` },
    draw("svg", { viewBox: `0 0 ${WIDTH} ${HEIGHT}`, width: WIDTH, height: HEIGHT, class: "own-bar" },
      draw("rect", { x: x(1 / margin), y: 0, width: x(margin) - x(1 / margin), height: 20, class: "bar-band" }),
      draw("line", { x1: x(1), x2: x(1), y1: 0, y2: 20, class: "bar-one" }),
      draw("line", { x1: x(ends[0]), x2: x(ends[1]), y1: 10, y2: 10, class: "bar-interval" }),
      ...(ratio === null ? [] : [draw("rect", { x: x(ratio) - 3.5, y: 6.5, width: 7, height: 7, class: "bar-mark" })]),
      draw("text", { x: x(1), y: 32, "text-anchor": "middle" }, "×1"),
      ...(x(margin) - x(1) < 22 ? [] : [{ v: 1 / margin, anchor: "end", shift: 6 }, { v: margin, anchor: "start", shift: -6 }].map(({ v, anchor, shift }) => draw("text", { x: x(v) + shift, y: 32, "text-anchor": anchor }, times(v))))));
}

/**
 * @param {AnswerResult[]} results
 * @param {Dictionary<string>} methods
 */
function figures(results, methods) {
  /** @type {(value: number | null) => HTMLElement} */
  const cell = (value) => make("td", { class: "number" }, value === null ? "–" : times(value));
  /** @type {(r: AnswerResult) => HTMLElement} */
  const row = (r) => make("tr", {}, make("th", { scope: "row" }, r.title), make("td", {}, `${r.first} against ${r.second}`), cell(r.ratio), cell(r.low), cell(r.high),
    make("td", {}, r.verdict || "none"), cell(r.ruled_out_beyond), make("td", {}, `${r.runs_first} and ${r.runs_second}`));
  const head = ["Endpoint", "What", "Ratio", "From", "To", "Verdict", "Ruled out beyond", "Runs"];
  const table = make("table", {}, make("caption", {}, "Ratios above 1 are better for the first; 95 % intervals."),
    make("thead", {}, make("tr", {}, head.map((name) => make("th", { scope: "col" }, name)))), make("tbody", {}, results.map(row)));
  const how = Object.entries(methods).map(([endpoint, method]) => make("li", {}, `${endpoint}: ${method}.`));
  return fold("The figures, and how they were found", make("div", { class: "table", tabindex: "0" }, table), make("ul", {}, how));
}
