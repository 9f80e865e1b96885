// What one submission says by itself, on the screen: the same numbers and sentences as aggregator/edgehold/report/answer.py. Nothing
// here knows of a page: a submission as the form exports it goes in, plain values come out.

import { ARMS, LABELS, build, inBasis, questions } from "./design.js";
import { tQuantile } from "./distributions.js";
import { canonicalRuns, endpointRows } from "./endpoints.js";
import { leastSquares } from "./least_squares.js";
import { dot } from "./matrices.js";
import { remembering, rememberingFor } from "./memory.js";
import { fitRuns, profileLimits } from "./profile.js";
import { answerSentence, filled } from "./sentences.js";

const LEVEL = 0.95;
/** @type {(row: EndpointRow) => boolean} */
const oneSided = (row) => row.status === "left" || row.status === "right";

/**
 * The answer to one submission.
 *
 * @param {SubmissionDraft} submission as the form exports it, written strings and units; it may be half done
 * @param {AnswerRules} rules protocol, repeatability, numbers, units, folded, steels and sentences (aggregator/edgehold/forms/answer.py)
 * @returns {{ results: AnswerResult[], rows: ReturnType<typeof valueOf>[], methods: Dictionary<string>, notes: string[] }} results: endpoint, title, role,
 *   factor, first, second, ratio, low, high, level, verdict, ruled_out_beyond, sentence, reason, runs_first, runs_second;
 *   null where a number is unbounded or there is none
 */
export function answer(submission, rules) {
  return answerOf(comparisons(submission, rules), rules);
}

/**
 * What stands behind an answer.
 *
 * @typedef {{ rule: EndpointRule, contrasts: Contrast[], method: string }} Compared
 * @typedef {{ runs: CanonicalRun[], unread: string[], rows: EndpointRow[], found: Compared[] }} Comparisons
 *
 * @param {SubmissionDraft} submission
 * @param {AnswerRules} rules
 * @returns {Comparisons} found: of every endpoint, in the protocol's order
 */
export function comparisons(submission, rules) {
  const { runs, unread } = canonicalRuns(submission, rules), rows = endpointRows(submission, runs, rules);
  const asked = runs.length ? rules.protocol.endpoints : [];
  return { runs, unread, rows, found: asked.map((rule) => ({ rule, ...contrastsAgain(rows.filter((row) => row.endpoint === rule.id), rule, rules) })) };
}

/** @type {(owner: object, name: string, work: () => Omit<Compared, "rule">) => Omit<Compared, "rule">} */
const remembered = rememberingFor(100);

/**
 * What an endpoint's rows say, worked out anew only where something of them has changed that a comparison looks at.
 *
 * @param {EndpointRow[]} rows
 * @param {EndpointRule} rule
 * @param {AnswerRules} rules
 */
function contrastsAgain(rows, rule, rules) {
  const labels = [...Object.values(LABELS), ...Object.values(ARMS).map(([, armOf]) => armOf)];
  const decided = rows.map((row) => [
    JSON.stringify(labels.map((label) => label(row) ?? null)), row.low, row.high, row.readingSe, row.status, row.run.split, row.run.levelPlace,
  ].join(" "));
  return remembered(rules, [rule.id, ...decided].join("\n"), () => contrastsOf(rows, rule, rules));
}

/**
 * The answer that comparisons give.
 *
 * @param {Comparisons} all
 * @param {AnswerRules} rules
 */
export function answerOf({ unread, rows, found }, rules) {
  const results = found.flatMap(({ rule, contrasts }) => contrasts.map((contrast) => resultOf(contrast, rule, rules)));
  const methods = Object.fromEntries(found.map(({ rule, method }) => [rule.id, method]));
  return { results, rows: rows.map(valueOf), methods, notes: notesOf(unread, rows, results, rules.sentences) };
}

/**
 * Choose the fit: least squares where every used run is exact, the censored likelihood otherwise.
 *
 * @param {EndpointRow[]} rows
 * @param {EndpointRule} rule
 * @param {AnswerRules} rules
 */
function contrastsOf(rows, rule, rules) {
  const words = rules.sentences, estimand = rules.protocol.estimand, entry = rules.repeatability.endpoints[rule.id];
  const used = rows.filter((row) => row.status !== "missing" && !row.run.split);
  if (!used.length) {
    return { contrasts: questions(rows, used, null, words).map((q) => unanswered(q, q.reason)), method: words.methods.none };
  }
  const fitted = used.every((row) => row.low === row.high) ? byLeastSquares : byLikelihood;
  return fitted(rows, used, estimand, entry, Math.log(rule.worthwhile_ratio), words);
}

/**
 * @param {EndpointRow[]} rows
 * @param {EndpointRow[]} used
 * @param {string} estimand
 * @param {RepeatabilityEntry} entry
 * @param {number} margin
 * @param {Sentences} words
 */
function byLeastSquares(rows, used, estimand, entry, margin, words) {
  const { model, theta, s2, df, replicates, weighted } = leastSquares(used, estimand, entry);
  const contrasts = questions(rows, used, model, words).map((question) => {
    if (question.reason || !question.weights) { return unanswered(question, question.reason); }
    const vector = inBasis(model.design, question.weights), estimate = dot(vector, theta), se = Math.sqrt(s2 * dot(vector, vector));
    const [half95, half90] = [0.975, 0.95].map((p) => se * tQuantile(p, df));
    return answered(question, estimate, estimate - half95, estimate + half95, Math.abs(estimate) + half90 < margin, margin);
  });
  return { contrasts, method: methodOf(words.methods[weighted ? "weighted" : "least_squares"], entry, replicates, model, rows, words) };
}

/**
 * @param {EndpointRow[]} rows
 * @param {EndpointRow[]} used
 * @param {string} estimand
 * @param {RepeatabilityEntry} entry
 * @param {number} margin
 * @param {Sentences} words
 */
function byLikelihood(rows, used, estimand, entry, margin, words) {
  const model = build(used, estimand), prior = entry.prior_df ?? Infinity;
  const d0 = entry.source === "pooled" ? Math.min(prior, entry.df_pooled) : prior;
  const runs = fitRuns(used.map((r) => r.low), used.map((r) => r.high), model.design.basis, { df: d0, s2: entry.prior_s2 });
  /** @type {(name: string, work: () => ReturnType<typeof profileLimits>) => ReturnType<typeof profileLimits>} */
  const known = remembering(1000); // practised against novice may ask what two sharpeners ask
  const contrasts = questions(rows, used, model, words).map((question) => {
    if (question.reason || !question.weights) { return unanswered(question, question.reason); }
    const vector = inBasis(model.design, question.weights), limits = known(vector.join(), () => profileLimits(runs, vector, margin));
    if (!Number.isFinite(limits.estimate)) { return bounded(question, used, limits, words); }
    return answered(question, limits.estimate, limits.low, limits.high, limits.inside, margin);
  });
  return { contrasts, method: methodOf(words.methods.likelihood, entry, used.length - model.design.rank, model, rows, words) };
}

/**
 * The whole of how, in words.
 *
 * @param {string} fitting
 * @param {RepeatabilityEntry} entry
 * @param {number} replicates
 * @param {Model} model
 * @param {EndpointRow[]} rows
 * @param {Sentences} words
 */
function methodOf(fitting, entry, replicates, model, rows, words) {
  const parts = [fitting], split = rows.filter((row) => row.run.split).length, { methods } = words;
  if (entry.source === "assumed") { parts.push(methods.assumed); } else if (replicates === 0) { parts.push(methods.no_replicates); }
  if (model.leftOut.length) { parts.push(filled(methods.left_out, { blocks: model.leftOut.join(" and ") })); }
  if (split) { parts.push(filled(methods[split === 1 ? "one_split" : "splits"], { runs: split })); }
  return parts.join("; ");
}

/**
 * @param {Question} question
 * @param {string} reason
 * @returns {Contrast}
 */
function unanswered(question, reason) {
  return { ...question, estimate: null, low: null, high: null, bound: null, verdict: "", excludes: Infinity, reason };
}

/**
 * A contrast with its interval, held against the worthwhile ratio.
 *
 * @param {Question} question
 * @param {number} estimate
 * @param {number} low
 * @param {number} high
 * @param {boolean} inside
 * @param {number} margin
 * @returns {Contrast}
 */
function answered(question, estimate, low, high, inside, margin) {
  const excludes = Math.exp(Math.max(Math.abs(low), Math.abs(high)));
  return { ...question, estimate, low, high, bound: null, verdict: verdictOf(low, high, inside, margin), excludes, reason: "" };
}

/**
 * Better or worse beyond the worthwhile ratio; no difference worth having by two one-sided tests (Schuirmann 1987).
 *
 * @param {number} low
 * @param {number} high
 * @param {boolean} inside
 * @param {number} margin
 */
function verdictOf(low, high, inside, margin) {
  if (low === -Infinity && high === Infinity) { return "none"; }
  if (low > margin || high < -margin) { return low > margin ? "better" : "worse"; }
  if (inside) { return "no difference worth having"; }
  return low > 0 || high < 0 ? "different, size undecided" : "undecided";
}

/**
 * What is left where the likelihood never falls on one side, or on both.
 *
 * @param {Question} question
 * @param {EndpointRow[]} used
 * @param {{ low: number, high: number }} limits
 * @param {Sentences} words
 * @returns {Contrast}
 */
function bounded(question, used, { low, high }, words) {
  const arms = censoredArms(question, used, words);
  if (!Number.isFinite(low) && !Number.isFinite(high)) { return unanswered(question, filled(words.contrasts.no_bound, { arms })); }
  const bound = Number.isFinite(low) ? { side: "at least", ln: low } : { side: "at most", ln: high };
  return { ...unanswered(question, filled(words.contrasts.bound, { arms })), bound, verdict: "one-sided" };
}

/**
 * Which arms, or which of their blades or sharpeners, have nothing but one-sided runs.
 *
 * @param {Question} question
 * @param {EndpointRow[]} used
 * @param {Sentences} words
 */
function censoredArms(question, used, words) {
  const labels = used.map(LABELS[ARMS[question.factor][0]]);
  /** @type {(inside: (i: number) => boolean) => boolean} */
  const all = (inside) => used.every((row, i) => !inside(i) || oneSided(row));
  let names = [question.first, question.second].filter((_, side) => all((i) => question.sides[side][i]));
  if (!names.length) {
    names = question.sides.flatMap((side) => {
      const known = [...new Set(labels.filter((_, i) => side[i]))].sort();
      return known.filter((name) => all((i) => side[i] && labels[i] === name));
    });
  }
  return names.length ? filled(words.contrasts.arms_censored, { names: names.join(" and of ") }) : words.contrasts.many_censored;
}

/** @type {(ln: number | null) => number | null} */
const ratioOf = (ln) => (ln === null || !Number.isFinite(ln) || Math.abs(ln) > 700 ? null : Math.exp(ln));
/** @type {(value: number) => number | null} */
const finite = (value) => (Number.isFinite(value) ? value : null);

/**
 * @param {Contrast} contrast
 * @param {EndpointRule} rule
 * @param {AnswerRules} rules
 * @returns {AnswerResult}
 */
function resultOf(contrast, rule, rules) {
  const { bound } = contrast;
  return {
    endpoint: rule.id,
    title: rule.title,
    role: rule.role,
    factor: contrast.factor,
    first: contrast.first,
    second: contrast.second,
    ratio: ratioOf(contrast.estimate),
    low: ratioOf(bound?.side === "at least" ? bound.ln : contrast.low),
    high: ratioOf(bound?.side === "at most" ? bound.ln : contrast.high),
    level: LEVEL,
    verdict: contrast.verdict,
    ruled_out_beyond: finite(contrast.excludes),
    sentence: answerSentence(contrast, rule, rules.protocol.work.unit, rules.sentences),
    reason: contrast.reason,
    runs_first: contrast.sides[0].filter(Boolean).length,
    runs_second: contrast.sides[1].filter(Boolean).length,
  };
}

/** @param {EndpointRow} row */
function valueOf(row) {
  return { run: row.run.id, endpoint: row.endpoint, status: row.status, low: finite(row.low), high: finite(row.high), reason: row.reason };
}

/**
 * Runs that could not be read, what to look at twice in a run, and a comparison that nobody asked for.
 *
 * @param {string[]} unread
 * @param {EndpointRow[]} rows
 * @param {AnswerResult[]} results
 * @param {Sentences} words
 */
function notesOf(unread, rows, results, words) {
  const notes = unread.map((run) => filled(words.own_answer.unread, { run })), flags = new Map(rows.map((row) => [row.run.id, row.flags]));
  for (const [run, found] of flags) { notes.push(...found.map((flag) => filled(words.own_answer.flag, { run, flag }))); }
  const failed = new Set(rows.filter((row) => row.failed).map((row) => row.run.id));
  notes.push(...[...failed].map((run) => filled(words.own_answer.failed, { run })));
  return results.length ? notes : [...notes, words.own_answer.nothing];
}
