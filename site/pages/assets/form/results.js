// Your answer on the page: each endpoint's sentence with its verdict first, its bar, and a table of the figures. The figures come from answer.js.

import { answerOf, comparisons } from "./answer.js";
import { bar, commonScale } from "./bars.js";
import { reportCard } from "./card.js";
import { fold, make } from "./dom.js";
import { shownCard } from "./fitting.js";
import { said } from "./sentences.js";

/** @typedef {import("./bars.js").Scale} Scale */

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
  const all = comparisons(record, rules), { results, methods, notes } = answerOf(all, rules), { says } = rules.card;
  const scale = commonScale(results, rules);
  return make("section", { "aria-labelledby": "answer", class: "part" },
    make("h3", { id: "answer" }, "Your answer"),
    record.origin === "simulated" ? make("p", { class: "banner simulated" }, make("strong", {}, "Simulated."), " Nobody measured these figures: the answer is an example.") : null,
    results.map((result) => one(result, scale, rules)),
    notes.length ? make("ul", {}, notes.map((note) => make("li", {}, note))) : null,
    results.length ? figures(results, methods) : null,
    fold(said(says, "found_title"), shownCard(reportCard(record, all, rules), says, rules.protocol)),
    make("p", { class: "help" }, `${rules.sentences.own_answer.bars} It is about these blades, these people and this evening only. Pooled with others, it can tell more.`));
}

/**
 * @param {AnswerResult} result
 * @param {Scale} scale
 * @param {SubmissionRules} rules
 */
function one(result, scale, rules) {
  const rule = rules.protocol.endpoints.find((other) => other.id === result.endpoint);
  const told = make("p", {}, result.sentence || result.reason, " ", make("span", { class: "role" }, result.role));
  return make("div", { class: "own-answer" }, told, rule ? bar(result, rule, scale, rules.sentences) : null);
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
