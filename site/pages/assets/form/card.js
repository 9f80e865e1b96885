// A result in a post: what was found, by which method, and what it cannot tell. The same as aggregator/edgehold/report/card.py.

import { fitted, harmless } from "./fitting.js";
import { answerSentence, monthWords, ownerSentence, said } from "./sentences.js";

/** @typedef {import("./answer.js").Comparisons} Comparisons */
/** @typedef {{ contrast: Contrast, rule: EndpointRule }} Asked one endpoint of the comparison that the protocol asks for */

/** @type {Dictionary<string[]>} */
const ASKED = { sharpener: ["sharpener"], steel: ["steel", "blade"], blade: ["blade"], level: ["level"] };
const OTHERWISE = ["sharpener", "steel", "blade"];
/** @type {(list: unknown) => any[]} */
const entries = (list) => (Array.isArray(list) ? list.filter((entry) => entry !== null && typeof entry === "object") : []);

/**
 * What was found, in no more characters than a post may have.
 *
 * @param {SubmissionDraft} record
 * @param {Comparisons} all
 * @param {AnswerRules} rules
 * @param {string} sha256 of the finished file; empty while it is not finished
 */
export function reportCard(record, all, rules, sha256 = "") {
  const { protocol, card: { figures, says: patterns } } = rules, runs = entries(record.runs), lead = leading(all, rules);
  /** @type {(name: string, values?: Named) => string} */
  const says = (name, values = {}) => said(patterns, name, values);
  const { headline, told } = lead ? sentencesOf(lead, rules) : { headline: said(rules.report, "nothing_compared"), told: [] };
  const hidden = runs.filter((run) => run.blinding && run.blinding !== "none").length, hiding = !hidden ? "none" : hidden === runs.length ? "all" : "some";
  /** @type {import("./fitting.js").Line[]} */
  const lines = [
    { text: record.origin === "simulated" ? says("simulated") : "" },
    { text: headline },
    ...told.flatMap((text, n) => (text === headline ? [] : [{ text, rank: 5 + n }])),
    { text: says("found_by", { title: protocol.title, id: protocol.id, version: protocol.version, month: monthWords(patterns, String(record.month ?? "–")) }) },
    { text: says("found_runs", { runs: runs.length, medium: protocol.medium.name, hiding: says(`hidden_${hiding}`, { runs: runs.length, hidden }) }) },
    ...limits(record, all.runs, rules).slice(0, figures.most_told).map((text, n) => ({ text: says("cannot_tell", { text }), rank: 3 + n })),
    { text: sha256 ? says("found_file", { sha256: sha256.slice(0, figures.hash) }) : "" },
    { text: rules.ask ? says("wrong", { address: rules.ask }) : says("wrong_here") },
  ];
  return fitted(lines.map((line) => ({ ...line, text: harmless(line.text) })), figures);
}

/**
 * The comparison of the protocol's own factor at every endpoint; of several pairs the first that the primary endpoint has a ratio for.
 *
 * @param {Comparisons} all
 * @param {AnswerRules} rules
 * @returns {Asked[] | null} null where there is nothing to compare
 */
function leading({ found }, { protocol }) {
  const primary = found.find(({ rule }) => rule.primary)?.contrasts ?? [];
  const factor = [...ASKED[protocol.question?.factor ?? ""] ?? [], ...OTHERWISE].find((one) => primary.some((contrast) => contrast.factor === one));
  const pairs = primary.filter((contrast) => contrast.factor === factor);
  if (!pairs.length) { return null; }
  const chosen = pairs.find(({ estimate }) => estimate !== null) ?? pairs.find(({ bound }) => bound !== null) ?? pairs[0];
  return found.flatMap(({ rule, contrasts }) => contrasts
    .filter((one) => one.factor === factor && one.first === chosen.first && one.second === chosen.second).map((contrast) => ({ contrast, rule })));
}

/** Level early, level late, life, and the rest. @param {EndpointRule} rule */
function place({ kind, role }) {
  if (kind === "level") { return { early: 0, late: 1 }[role] ?? 3; }
  return kind === "life" ? 2 : 4;
}

/**
 * The sentence in front, and that of every endpoint. A life is told to whoever owns the knife, where it is what the protocol asks first.
 *
 * @param {Asked[]} lead
 * @param {AnswerRules} rules
 */
function sentencesOf(lead, rules) {
  const sorted = [...lead].sort((a, b) => place(a.rule) - place(b.rule)), unit = rules.protocol.work.unit;
  const told = sorted.map(({ contrast, rule }) => answerSentence(contrast, rule, unit, rules.sentences, false));
  const lives = sorted.filter(({ rule }) => rule.kind === "life").sort((a, b) => Number(!a.rule.primary) - Number(!b.rule.primary));
  const owner = lives.map(({ contrast, rule }) => ({ text: ownerSentence(contrast, rule, rules), rule })).find(({ text }) => text);
  const first = sorted.findIndex(({ rule }) => rule.primary);
  return { headline: owner?.rule.primary ? owner.text : told[first], told };
}

/**
 * What the runs leave open, as far as the file alone shows it.
 *
 * @param {SubmissionDraft} record
 * @param {CanonicalRun[]} runs
 * @param {AnswerRules} rules
 * @returns {string[]}
 */
function limits(record, runs, { report }) {
  /** @type {(name: string, values?: Named) => string} */
  const says = (name, values = {}) => said(report, `limit_${name}`, values);
  const sharpeners = new Map(entries(record.preparations).map((one) => [one.id, one.sharpener])), open = runs.filter((run) => !run.blinding || run.blinding === "none");
  const own = names(runs.filter((run) => sharpeners.get(run.preparation) === run.tester).map((run) => run.tester));
  const found = [];
  if (open.length) {
    const unstated = open.every((run) => !run.blinding), all = open.length === runs.length ? "_all" : "";
    found.push(says(`${unstated ? "hiding_unstated" : "nothing_hid"}${all}`, { open: open.length, runs: runs.length }));
  }
  if (own.length) { found.push(says("own_edges", { names: listed(own) })); }
  if (!record.plan) { found.push(says("no_plan")); }
  for (const [kind, all] of Object.entries({ blade: names(runs.map((run) => run.blade)), evening: names(runs.map((run) => run.evening ?? "")), tester: names(runs.map((run) => run.tester)), sharpener: names(runs.map((run) => run.sharpener)) })) {
    if (all.length === 1) { found.push(says(`one_${kind}`, { name: all[0] })); }
  }
  return found;
}

/** @type {(all: unknown[]) => string[]} */
const names = (all) => [...new Set(all.map(String))].sort();
/** @type {(all: string[]) => string} */
const listed = (all) => (all.length === 1 ? all[0] : `${all.slice(0, -1).join(", ")} and ${all[all.length - 1]}`);
