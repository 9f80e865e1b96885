// Compositions against limits, as aggregator/edgehold/records/compositions.py and steel_search.py hold them: what lies outside, and
// which class of steels holds a blade. Limits and figures come with the rules.

/**
 * By how many per cent each element lies above its limits, or (below 0) under them, by name; empty where all fit.
 *
 * @param {Dictionary<[low: number, high: number]>} limits
 * @param {Dictionary<number>} composition
 * @param {CompositionRules} rules
 * @returns {[element: string, by: number][]}
 */
export function outside(limits, composition, rules) {
  const elements = [...new Set([...Object.keys(limits), ...Object.keys(composition)])].filter((one) => one !== rules.balance).sort();
  return elements.flatMap((element) => {
    const [low, high] = own(limits, element) ?? [0, own(rules.residual, element) ?? rules.other];
    const share = own(composition, element) ?? (rules.untold.includes(element) ? null : 0);
    if (share === null || (share >= low && share <= high)) { return []; }
    return [/** @type {[string, number]} */ ([element, share - (share > high ? high : low)])];
  });
}

/**
 * The per cent outside in one figure, carbon and nitrogen tenfold.
 *
 * @param {[element: string, by: number][]} apart
 * @param {CompositionRules} rules
 */
export function distance(apart, rules) {
  return apart.reduce((sum, [element, by]) => sum + Math.abs(by) * (own(rules.weights, element) ?? 1), 0);
}

/**
 * Classes (or named steels) of an origin within whose limits a composition lies, by id.
 *
 * @param {boolean} named
 * @param {Dictionary<number>} composition
 * @param {string} origin
 * @param {CompositionRules} rules
 */
export function fitting(named, composition, origin, rules) {
  return rules.steels.filter((one) => one.named === named && one.origin === origin && !outside(one.limits, composition, rules).length);
}

/**
 * The class or named steel of an origin that is least far off, the first by id among equals; null where there is none.
 *
 * @param {Dictionary<number>} composition
 * @param {string} origin
 * @param {CompositionRules} rules
 */
export function nearest(composition, origin, rules) {
  let found = null, least = Infinity;
  for (const one of rules.steels) {
    const away = one.origin === origin ? distance(outside(one.limits, composition, rules), rules) : Infinity;
    if (away < least) { [found, least] = [one, away]; }
  }
  return found;
}

/**
 * A composition as the form holds it, its shares as numbers; null where there is none or one of them is no number.
 *
 * @param {unknown} written
 * @returns {Dictionary<number> | null}
 */
export function shares(written) {
  if (written === null || typeof written !== "object" || Array.isArray(written)) { return null; }
  const listed = Object.entries(written);
  return listed.length && listed.every(([, share]) => typeof share === "number" && Number.isFinite(share)) ? Object.fromEntries(listed) : null;
}

/**
 * The id of the class that holds a composition, or null.
 *
 * @param {unknown} written
 * @param {string} origin
 * @param {CompositionRules} rules
 */
export function classOf(written, origin, rules) {
  const composition = shares(written);
  return (composition && fitting(false, composition, origin, rules)[0]?.id) ?? null;
}

/** @type {<T>(of: Dictionary<T>, name: string) => T | undefined} */
const own = (of, name) => (Object.hasOwn(of, name) ? of[name] : undefined);
