// What a reader chose, as it stands in the address, and which submissions are left of it.

/**
 * @typedef {object} Submission of one pair, as the program hands it over (aggregator/edgehold/results/tables/evidence.py)
 * @property {string} id
 * @property {number} study
 * @property {string} month
 * @property {string} version
 * @property {string} interest
 * @property {string} blinding
 * @property {number} grade of its evidence, 1 to 5
 *
 * @typedef {{ ratio: number, low: ?number, high: ?number, level: number }} Ratio
 *
 * @typedef {object} Endpoint
 * @property {string} id
 * @property {string} title
 * @property {string} role
 * @property {string} kind
 * @property {boolean} primary
 * @property {number} worthwhile_ratio
 * @property {?number} variance_df
 * @property {(?number)[]} ln_ratio by submission
 * @property {(?number)[]} ln_variance
 * @property {(?string)[]} bound
 * @property {?{ sentence: string, result: ?Ratio }} published
 * @property {?Ratio} by_studies
 *
 * @typedef {object} Pair
 * @property {string} pool
 * @property {string} pair
 * @property {string} origin
 * @property {string} protocol
 * @property {string} factor
 * @property {string} first
 * @property {string} second
 * @property {Submission[]} submissions
 * @property {Endpoint[]} endpoints
 *
 * @typedef {object} Choice
 * @property {string} pool
 * @property {string} pair
 * @property {string} endpoint
 * @property {Set<string>} leave submissions left out one by one
 * @property {Set<number>} studies left out, with all their submissions
 * @property {Set<string>} versions left out
 * @property {boolean} interest whether submissions of makers and sellers are left out
 * @property {boolean} blind whether only submissions are kept of which every run was blind
 * @property {number} grade the least that is kept; 0: any
 * @property {string} from the first month kept; empty: from the beginning
 * @property {string} to the last one
 */

const INTERESTED = ["maker", "seller"], HIGHEST_GRADE = 5, MONTH = /^\d{4}-(?:0[1-9]|1[0-2])$/u;

/** Everything of one pair. @param {string} pool @param {string} pair @param {string} endpoint @returns {Choice} */
export function everything(pool, pair, endpoint) {
  return { pool, pair, endpoint, leave: new Set(), studies: new Set(), versions: new Set(), interest: false, blind: false, grade: 0, from: "", to: "" };
}

/** @param {string} search of an address @returns {Choice} what is no choice in it is passed over */
export function readChoice(search) {
  const asked = new URLSearchParams(search);
  /** @type {(name: string) => string} */
  const one = (name) => asked.get(name) ?? "";
  /** @type {(name: string) => string[]} */
  const several = (name) => one(name).split(",").filter(Boolean);
  /** @type {(name: string) => string} */
  const month = (name) => (MONTH.test(one(name)) ? one(name) : "");
  const grade = Number(one("grade"));
  return {
    pool: one("pool"), pair: one("pair"), endpoint: one("endpoint"),
    leave: new Set(several("leave")),
    studies: new Set(several("studies").map(Number).filter(Number.isSafeInteger)),
    versions: new Set(several("versions")),
    interest: one("interest") === "out", blind: one("blind") === "only",
    grade: Number.isInteger(grade) && grade > 1 && grade <= HIGHEST_GRADE ? grade : 0,
    from: month("from"), to: month("to"),
  };
}

/** The same choice always has the same address. @param {Choice} choice */
export function writeChoice(choice) {
  /** @type {(values: Iterable<string | number>) => string} */
  const listed = (values) => [...values].map(String).sort((a, b) => Number(a) - Number(b) || (a < b ? -1 : 1)).join(",");
  const parts = {
    pool: choice.pool, pair: choice.pair, endpoint: choice.endpoint, leave: listed(choice.leave), studies: listed(choice.studies),
    versions: listed(choice.versions), interest: choice.interest ? "out" : "", blind: choice.blind ? "only" : "",
    grade: choice.grade ? String(choice.grade) : "", from: choice.from, to: choice.to,
  };
  const said = Object.entries(parts).filter(([, value]) => value);
  return said.map(([name, value]) => `${name}=${encodeURIComponent(value).replaceAll("%2C", ",")}`).join("&");
}

/** Whether anything is left out. @param {Choice} choice */
export function narrows({ leave, studies, versions, interest, blind, grade, from, to }) {
  return Boolean(leave.size || studies.size || versions.size || interest || blind || grade || from || to);
}

/**
 * Why a submission is left out by a rule, the first that is; empty where none leaves it out. A single tick is no rule.
 *
 * @param {Submission} submission
 * @param {Choice} choice
 * @returns {"" | "study" | "version" | "interest" | "blind" | "grade" | "month"}
 */
export function ruledOut(submission, choice) {
  if (choice.studies.has(submission.study)) { return "study"; }
  if (choice.versions.has(submission.version)) { return "version"; }
  if (choice.interest && INTERESTED.includes(submission.interest)) { return "interest"; }
  if (choice.blind && submission.blinding !== "every run") { return "blind"; }
  if (submission.grade < choice.grade) { return "grade"; }
  return (choice.from && submission.month < choice.from) || (choice.to && submission.month > choice.to) ? "month" : "";
}

/**
 * The places of the submissions that are kept and have a ratio at the endpoint.
 *
 * @param {Pair} pair
 * @param {Endpoint} endpoint
 * @param {Choice} choice
 */
export function keptOf({ submissions }, { ln_ratio: y, ln_variance: v }, choice) {
  const kept = [];
  for (let i = 0; i < submissions.length; i += 1) {
    if (y[i] !== null && v[i] !== null && !choice.leave.has(submissions[i].id) && !ruledOut(submissions[i], choice)) { kept.push(i); }
  }
  return kept;
}
