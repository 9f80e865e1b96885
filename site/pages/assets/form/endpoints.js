// From a submission as the form exports it to one row a run and endpoint: aggregator/edgehold/records/canonical_runs.py and
// aggregator/endpoints. A half-done submission gives the rows that it can; what cannot be read leaves its run without readings.

import { classOf } from "./compositions.js";
import { SAME_WORK, axis, byWork, curveOf, firstPositive, heldAfterDull, keenness, levelWeights, linear, missing, pooledVariance, position,
  signOf, windowWeights } from "./curve.js";
import { keyOf } from "./draws.js";
import { angleOf, factsOf, folded, judged, levelOf } from "./levels.js";
import { life, passFailLife } from "./life.js";
import { last } from "./matrices.js";
import { rememberingFor } from "./memory.js";
import { filled, quantityText } from "./sentences.js";
import { WrittenError, canonicalValue, findUnit } from "./units.js";

/**
 * Parts of a submission's file, any of which may be missing or wrong: a run of whose numbers one cannot be read has no readings.
 *
 * @typedef {{ written?: unknown, canonical?: number | null, limit?: string | null }} RepeatFile
 * @typedef {{ work?: unknown, values?: unknown, outcomes?: unknown }} ReadingFile
 * @typedef {{ basis?: string, left_deg: number, right_deg?: number | null }} AngleFile
 * @typedef {{ key?: string, steel?: { designation?: string, composition_percent?: unknown } }} BladeFile
 * @typedef {{ handle?: string, sharpening?: string }} PersonFile
 * @typedef {{ id?: string, blade?: string, sharpener?: string, condition?: string | null, edge_part?: string, edge_angle?: AngleFile }} PreparationFile
 * @typedef {CanonicalRun & { preparation?: string, partner?: string | null, work_unit?: string, reading_unit?: string, tester_change_at_work?: unknown,
 *   planned_last_checkpoint?: unknown, lot_changes?: unknown }} RunFile
 * @typedef {{ value: CensoredValue, failed: boolean }} Judged
 */

const EVEN = 1e-9;
/** @type {(value: unknown) => value is null | undefined} */
const nothing = (value) => value === null || value === undefined;

/**
 * The objects in what should be a list of them: a file that somebody opened may hold anything.
 *
 * @type {(list: unknown) => any[]}
 */
const entries = (list) => (Array.isArray(list) ? list.filter((entry) => entry !== null && typeof entry === "object") : []);

/**
 * Canonical runs in running order: amounts in the protocol's units, with the facts that a design needs.
 *
 * @param {SubmissionDraft} submission
 * @param {AnswerRules} rules
 * @returns {{ runs: CanonicalRun[], unread: string[] }} unread: ids of runs in which a number or unit cannot be read
 */
export function canonicalRuns(submission, rules) {
  const preparations = new Map(entries(submission.preparations).map((p) => [p.id, p]));
  const blades = new Map(entries(submission.blades).map((b) => [b.key, b]));
  const people = new Map(entries(submission.people).map((p) => [p.handle, p]));
  const levels = rules.protocol.question?.levels ?? [], byCondition = levels.some(({ rule }) => rule?.fact === "condition"), facts = factsOf(rules);
  /** @type {string[]} */
  const unread = [];
  const runs = entries(submission.runs).flatMap((/** @type {RunFile} */ run) => {
    const preparation = preparations.get(run.preparation);
    if (!preparation?.blade || !preparation.sharpener || !run.tester) { return []; }
    const readings = readingsOf(run, rules), level = levels.length ? levelOf(judged(levels, submission, run, facts)) : null;
    if (readings === null) { unread.push(run.id); }
    return [{
      ...run,
      readings: readings ?? [],
      blade: preparation.blade,
      steel: steelOf(blades.get(preparation.blade), submission.origin, rules),
      sharpener: byCondition && preparation.sharpener !== "factory" ? String(preparation.sharpener) : edgeBy(preparation),
      level,
      levelPlace: Math.max(0, levels.findIndex(({ word }) => word === level)),
      practice: preparation.condition ? null : people.get(preparation.sharpener)?.sharpening ?? null,
      edgePart: preparation.edge_part ?? "whole",
      pair: rules.protocol.design?.side_by_side ? [...new Set([run.id, run.partner || run.id])].sort().join(" and ") : null,
      angle: angleOf(preparation),
      split: !nothing(run.tester_change_at_work),
    }];
  });
  return { runs: runs.sort((a, b) => a.order - b.order), unread };
}

/**
 * What two edges have alike that are by one sharpener: the handle, with the condition where one is stated; a factory edge is its blade's own.
 *
 * @param {PreparationFile} preparation
 */
function edgeBy({ blade, sharpener, condition }) {
  const beside = sharpener === "factory" ? blade : condition;
  return beside ? `${sharpener} (${beside})` : String(sharpener);
}

/**
 * The id of a blade's steel: the entry that its designation names, or without one the class that holds its composition; or null.
 *
 * @param {BladeFile | undefined} blade
 * @param {string | undefined} origin
 * @param {AnswerRules} rules
 */
function steelOf(blade, origin, rules) {
  const designation = blade?.steel?.designation;
  if (!designation) { return classOf(blade?.steel?.composition_percent, String(origin), rules.compositions); }
  return rules.steels[folded(designation, rules)] ?? null;
}

/**
 * Readings with canonical numbers; null where anything of the run cannot be read.
 *
 * @param {RunFile} run
 * @param {AnswerRules} rules
 */
function readingsOf(run, rules) {
  const { work, reading } = rules.protocol, passFail = reading.kind === "pass/fail";
  /** @type {(unit: unknown, accepted: string[]) => boolean} */
  const fits = (unit, accepted) => accepted.some((one) => findUnit(one, rules.units)?.id === findUnit(unit, rules.units)?.id);
  /** @type {(unit: unknown, accepted: string[]) => boolean} */
  const known = (unit, accepted) => !nothing(unit) && findUnit(unit, rules.units) !== null && fits(unit, accepted);
  if (!known(run.work_unit, work.accepted_units)) { return null; }
  if (passFail ? !nothing(run.reading_unit) : !known(run.reading_unit, reading.accepted_units)) { return null; }
  try {
    const others = [run.tester_change_at_work, run.planned_last_checkpoint, ...entries(run.lot_changes).map((change) => change.at_work)];
    others.filter((written) => !nothing(written)).forEach((written) => workOf(written, run, rules));
    return entries(run.readings).map((one) => readingOf(one, run, rules, passFail));
  } catch (error) {
    if (error instanceof WrittenError) { return null; }
    throw error;
  }
}

/**
 * @param {unknown} written
 * @param {unknown} unit
 * @param {string} goal
 * @param {AnswerRules} rules
 */
function positive(written, unit, goal, rules) {
  const value = canonicalValue(written, unit, goal, rules);
  if (value < 0) { throw new WrittenError(`${written} is below 0`, ""); }
  return value;
}

/**
 * An amount of work in the protocol's unit; a checkpoint exactly where it is one but for rounding.
 *
 * @param {unknown} written
 * @param {RunFile} run
 * @param {AnswerRules} rules
 */
function workOf(written, run, rules) {
  const { unit, checkpoints } = rules.protocol.work, value = positive(written, run.work_unit, unit, rules);
  return checkpoints.find((c) => Math.abs(value - c) <= EVEN * Math.max(c, 1e-6)) ?? value;
}

/**
 * @param {ReadingFile} one
 * @param {RunFile} run
 * @param {AnswerRules} rules
 * @param {boolean} passFail
 * @returns {CanonicalReading}
 */
function readingOf(one, run, rules, passFail) {
  const rule = rules.protocol.reading, wanted = passFail ? [one.outcomes].flat() : entries(one.values);
  if (!wanted.length || nothing(wanted[0]) || !nothing(passFail ? one.values : one.outcomes)) {
    throw new WrittenError("a reading of another kind", "");
  }
  const work = workOf(one.work, run, rules);
  if (passFail) { return { work, values: [], limits: [], passed: wanted.map((outcome) => outcome === "pass") }; }
  const values = wanted.map((item) => canonical(item, run, rules));
  return { work, values, limits: values.map((value, i) => wanted[i].limit ?? limitOf(value, rule)), passed: [] };
}

/**
 * A repeat in the canonical unit; one that disagrees with the canonical value beside it cannot be read.
 *
 * @param {RepeatFile} item
 * @param {RunFile} run
 * @param {AnswerRules} rules
 */
function canonical(item, run, rules) {
  const value = positive(item.written, run.reading_unit, rules.protocol.reading.canonical_unit, rules), given = item.canonical;
  if (!nothing(given) && Math.abs(given - value) > 1e-6 * Math.abs(value)) { throw new WrittenError("two values disagree", ""); }
  return value;
}

/**
 * The limit that a value has by itself: 0 or under the resolution, or over the scale's end.
 *
 * @param {number} value
 * @param {ReadingRule} rule
 */
function limitOf(value, rule) {
  if (value <= 0 || (!nothing(rule.resolution) && value < rule.resolution * (1 - EVEN))) { return "below"; }
  return !nothing(rule.scale_end) && value > rule.scale_end * (1 + EVEN) ? "above" : null;
}

/**
 * The variance of readings: the published one, or this submission's own where none has been published.
 *
 * @param {CanonicalRun[]} runs
 * @param {AnswerRules} rules
 */
export function readingVariance(runs, rules) {
  if (rules.repeatability.reading_variance !== null) { return rules.repeatability.reading_variance; }
  const readings = runs.flatMap((run) => run.readings).filter((r) => r.values.length);
  return pooledVariance(readings.filter((r) => keenness(r.values, r.limits, rules.protocol.reading).limit === null).map((r) => r.values));
}

/**
 * One row a run and endpoint: the run's facts, limits on the ln scale, status, reason, reading error.
 *
 * @param {SubmissionDraft} submission
 * @param {CanonicalRun[]} runs
 * @param {AnswerRules} rules
 * @returns {EndpointRow[]}
 */
export function endpointRows(submission, runs, rules) {
  const { protocol, sentences: words } = rules, variance = readingVariance(runs, rules);
  return runs.flatMap((run) => {
    const curve = protocol.reading.kind === "pass/fail" ? null : curveOf(run, protocol, variance);
    const flags = flagsOf(run, protocol, curve, words);
    return protocol.endpoints.map((rule) => {
      const { value, failed } = endpointOf(submission, run, protocol, rule, curve, words), status = statusOf(value);
      return {
        run, endpoint: rule.id, flags, failed, status,
        low: value.low,
        high: value.high,
        reason: value.reason || words.endpoints[status] || "",
        readingSe: status === "exact" ? value.se : NaN,
      };
    });
  });
}

/** @param {{ low: number, high: number }} value */
function statusOf({ low, high }) {
  if (Number.isNaN(low)) { return "missing"; }
  if (low === high) { return "exact"; }
  if (low === -Infinity) { return "left"; }
  return high === Infinity ? "right" : "interval";
}

/**
 * One endpoint of one run.
 *
 * @param {SubmissionDraft} submission
 * @param {CanonicalRun} run
 * @param {Protocol} protocol
 * @param {EndpointRule} rule
 * @param {Curve | null} curve
 * @param {Sentences} words
 */
function endpointOf(submission, run, protocol, rule, curve, words) {
  /** @type {(reason: string) => Judged} */
  const none = (reason) => ({ value: missing(filled(words.endpoints.missing, { reason })), failed: false });
  /** @type {(judged: Judged) => Judged} */
  const told = ({ value, failed }) => (Number.isNaN(value.low) ? none(value.reason) : { value, failed });
  if (!run.readings.length) { return none(words.endpoints.no_readings); }
  if (curve === null) {
    if (rule.kind !== "life") { return none(words.endpoints.no_keenness); }
    return told(passFailLife(byWork(run.readings).filter((r) => r.passed.length), firstPositive(protocol), words));
  }
  if (!curve.work.length) { return none(words.endpoints.no_values); }
  if (rule.kind === "life") { return told(thresholdLife(submission, run, protocol, rule, curve, words)); }
  return told({ value: straight(run, protocol, rule, curve, words), failed: false });
}

/** Lives of runs in which nothing has changed. @type {(owner: object, name: string, work: () => Judged) => Judged} */
const remembered = rememberingFor(1000);

/**
 * Life to an absolute threshold, or to a share of the sharpness at the start.
 *
 * @param {SubmissionDraft} submission
 * @param {CanonicalRun} run
 * @param {Protocol} protocol
 * @param {EndpointRule} rule
 * @param {Curve} curve
 * @param {Sentences} words
 */
function thresholdLife(submission, run, protocol, rule, curve, words) {
  let threshold = signOf(protocol.reading.keener) * Math.log(rule.threshold.value);
  if (rule.threshold.relative) {
    if (position(curve, 0) < 0) { return { value: missing(words.endpoints.no_start), failed: false }; }
    if (curve.low[0] !== curve.high[0]) { return { value: missing(words.endpoints.start_off_scale), failed: false }; }
    threshold = curve.low[0] - Math.abs(Math.log(rule.threshold.value));
  }
  const begin = rule.fit_from === "first positive checkpoint" ? curve.first : 0;
  const { work, low, high, se, repeats, first } = curve, { relative } = rule.threshold, names = [submission.id ?? "", run.id, rule.id];
  const decided = [names.map((name) => JSON.stringify(name)), work, low, high, se, repeats, first, threshold, begin, relative].join(";");
  return remembered(words, decided, () => life(curve, threshold, begin, keyOf(...names), relative, words));
}

/**
 * Level, window and loss: straight-line functions of the readings.
 *
 * @param {CanonicalRun} run
 * @param {Protocol} protocol
 * @param {EndpointRule} rule
 * @param {Curve} curve
 * @param {Sentences} words
 */
function straight(run, protocol, rule, curve, words) {
  const asked = rule.kind === "level" ? [rule.at] : [rule.start, rule.end];
  const held = run.ended === "dull" ? heldAfterDull(curve, last(asked)) : curve;
  const weights = asked.map((work) => levelWeights(held, work)), outside = weights.indexOf(null);
  if (outside >= 0) { return missing(outsideReason(run, protocol, curve, asked[outside], words)); }
  const [first, second] = /** @type {Matrix} */ (weights);
  if (rule.kind === "level") { return linear(held, first, words); }
  if (rule.kind === "loss") { return linear(held, second.map((w, i) => w - first[i]), words); }
  const absent = absentCheckpoint(protocol, curve, rule.start, Math.min(rule.end, last(curve.work)));
  if (absent !== undefined) {
    return missing(filled(words.endpoints.none_near, { asked: quantityText(absent, protocol.work.unit, words) }));
  }
  return linear(held, windowWeights(held, rule.start, rule.end), words);
}

/**
 * @param {CanonicalRun} run
 * @param {Protocol} protocol
 * @param {Curve} curve
 * @param {number} work
 * @param {Sentences} words
 */
function outsideReason(run, protocol, curve, work, words) {
  if (work === 0) { return words.endpoints.no_start; }
  const pattern = words.endpoints[work < curve.work[0] ? "none_before" : "ended_before"];
  return filled(pattern, { asked: quantityText(work, protocol.work.unit, words), ended: run.ended });
}

/**
 * The first checkpoint in a window that no reading stands for: a reading stands for the nearest on the work axis.
 *
 * @param {Protocol} protocol
 * @param {Curve} curve
 * @param {number} start
 * @param {number} end
 */
function absentCheckpoint(protocol, curve, start, end) {
  const checkpoints = [...protocol.work.checkpoints].sort((a, b) => a - b), u = checkpoints.map((w) => axis(w, curve.first));
  const nearest = new Set(curve.work.map((w) => {
    const apart = u.map((x) => Math.abs(x - axis(w, curve.first)));
    return apart.indexOf(Math.min(...apart));
  }));
  return checkpoints.find((w, i) => start <= w && w <= end && !nearest.has(i));
}

/**
 * What to look at twice in a run.
 *
 * @param {CanonicalRun} run
 * @param {Protocol} protocol
 * @param {Curve | null} curve
 * @param {Sentences} words
 */
function flagsOf(run, protocol, curve, words) {
  const checkpoints = protocol.work.checkpoints, { flags } = words;
  /** @type {(work: number) => boolean} */
  const near = (work) => checkpoints.some((c) => Math.abs(work - c) <= SAME_WORK * Math.max(work, c));
  /** @type {[asked: boolean, text: string][]} */
  const checks = [
    [["edge damaged", "edge touched up"].includes(run.ended), run.ended],
    [run.split, flags.split_tester],
    [entries(run.lot_changes).length > 0, flags.lot_changed],
    [run.readings.some((r) => !near(r.work)), flags.off_checkpoint],
    [curve !== null && burr(curve), flags.burr],
    [curve === null && passedAgain(run), flags.passed_again],
  ];
  return checks.filter(([true_]) => true_).map(([, text]) => text);
}

/**
 * Sharper at the second reading than before the first cut, by more than reading error makes likely.
 *
 * @param {Curve} curve
 */
function burr(curve) {
  if (curve.work.length < 2 || curve.work[0] > 0) { return false; }
  return curve.low[1] - curve.high[0] > 2 * (Math.hypot(curve.se[0], curve.se[1]) || 0);
}

/** @param {CanonicalRun} run */
function passedAgain(run) {
  const outcomes = byWork(run.readings).filter((r) => r.passed.length).map((r) => r.passed.every(Boolean));
  return outcomes.some((passed, i) => i > 0 && passed && !outcomes[i - 1]);
}
