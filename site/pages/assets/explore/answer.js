// What the submissions that were kept say together: the pooled ratio, how it leans on single studies, and how it came about by months.

import { keptOf } from "./choice.js";
import { withoutEach } from "./leave_one_out.js";
import { predicted } from "./prediction.js";
import { pool, spreadOf } from "./three_levels.js";

/**
 * @typedef {import("./choice.js").Pair} Pair
 * @typedef {import("./choice.js").Endpoint} Endpoint
 *
 * @typedef {object} Answer
 * @property {number[]} kept places of the submissions that are pooled
 * @property {import("./three_levels.js").Pooled} pooled
 * @property {?import("./mean.js").Heterogeneity} spread null below three studies, as is the next
 * @property {?[low: number, high: number]} prediction for the next comparable study
 */

/**
 * @param {Pair} pair
 * @param {Endpoint} endpoint
 * @param {number[]} kept
 */
function linesOf({ submissions }, { ln_ratio: y, ln_variance: v }, kept) {
  return {
    y: Float64Array.from(kept, (i) => Number(y[i])), v: Float64Array.from(kept, (i) => Number(v[i])),
    study: Int32Array.from(kept, (i) => submissions[i].study),
  };
}

/**
 * @param {Pair} pair
 * @param {Endpoint} endpoint
 * @param {import("./choice.js").Choice} choice
 * @param {import("./prediction.js").Points} points
 * @returns {Answer}
 */
export function answerOf(pair, endpoint, choice, points) {
  const kept = keptOf(pair, endpoint, choice), pooled = pool(linesOf(pair, endpoint, kept)), { fit, studies, within } = pooled;
  return {
    kept, pooled, spread: spreadOf(pooled, endpoint.variance_df),
    prediction: fit && predicted(studies, fit, within ?? 0, points),
  };
}

/**
 * The pooled ratio without each study in turn, in the order of `pooled.numbers`; null below three studies.
 *
 * @param {Answer} answer
 */
export const withoutStudies = ({ pooled: { fit, studies } }) => (fit === null ? null : withoutEach(studies));

/** @typedef {{ month: string, submissions: number, studies: number, fit: ?import("./mean.js").Fit }} Step what was known by the end of a month */

/**
 * The pooled ratio of those kept, by the end of every month that brought one; one month at a time, so that a long series can be drawn in parts.
 *
 * @param {Pair} pair
 * @param {Endpoint} endpoint
 * @param {number[]} kept
 * @returns {Generator<Step>}
 */
export function* byMonths(pair, endpoint, kept) {
  const { submissions } = pair, months = [...new Set(kept.map((i) => submissions[i].month))].sort();
  for (const month of months) {
    const known = kept.filter((i) => submissions[i].month <= month), { numbers, fit } = pool(linesOf(pair, endpoint, known));
    yield { month, submissions: known.length, studies: numbers.length, fit };
  }
}
