// @ts-check
// What is said of two things: the page that compares them, or which one exchange or test would, as
// aggregator/edgehold/pages/one_exchange.py says it on pages.

/**
 * Something that can be chosen. Two are compared within one group of one kind alone; `table` is the page of a test that had it,
 * `method` the id of the open method about steels that this test followed.
 *
 * @typedef {{ kind: string, group: string, key: string, name: string, label: string, names: string[], table?: string, method?: string }} Thing
 */
/** @typedef {{ title: string, factor: string, address: string, plan: string }} Method */
/** @typedef {{ things: Thing[], pairs: [first: number, second: number, address: string, ratio: boolean][], methods: Object<string, Method>, folded: string, safety: string, says: Object<string, any> }} Rules */
/** @typedef {{ code: string, values: Object<string, string>, links: [code: string, values: Object<string, string>, address: string][] }} Said */

/**
 * The page of two things and whether it has a ratio; null where they have none.
 *
 * @param {Thing} one
 * @param {Thing} other
 * @param {Rules} rules
 */
export function pageOf(one, other, rules) {
  const [a, b] = [one, other].map((thing) => rules.things.indexOf(thing));
  const found = rules.pairs.find(([first, second]) => (first === a && second === b) || (first === b && second === a));
  return found ? { address: found[2], ratio: found[3] } : null;
}

/**
 * Why two things are never compared, as a code; empty where they could be.
 *
 * @param {Thing} one
 * @param {Thing} other
 */
export function whyNever(one, other) {
  if (one === other) { return "same"; }
  if (one.kind !== other.kind) { return "other_kind"; }
  if (one.group === other.group) { return ""; }
  return one.kind === "steel" ? "invented" : "other_kind";
}

/**
 * Which one exchange, or one test, would compare two things that could be.
 *
 * @param {Thing} first
 * @param {Thing} second
 * @param {Rules} rules
 * @returns {Said}
 */
export function exchangeOf(first, second, rules) {
  if (first.kind !== "steel") {
    const method = first.kind === "level" ? rules.methods[first.group] : about("sharpener", rules);
    return told(first.kind, method, {}, []);
  }
  const tested = [first, second].filter((thing) => thing.table);
  const kept = tested.find((thing) => thing.method) ?? tested[0] ?? first, sent = kept === first ? second : first;
  const method = rules.methods[kept.method ?? ""] ?? about("steel", rules);
  const tables = [sent, kept].filter((thing) => thing.table);
  return told(["anybody", "send", "swap"][tested.length], method, { sent: sent.name, kept: kept.name }, tables);
}

/** The shortest method that asks about a factor: they come in that order. @param {string} factor @param {Rules} rules */
function about(factor, rules) {
  return Object.values(rules.methods).find((method) => method.factor === factor);
}

/**
 * @param {string} code
 * @param {Method | undefined} method
 * @param {Object<string, string>} names
 * @param {Thing[]} tables
 * @returns {Said}
 */
function told(code, method, names, tables) {
  /** @type {Said["links"]} */
  const links = tables.map((thing) => ["table", { name: thing.name }, thing.table ?? ""]);
  if (!method) { return { code: "no_method", values: {}, links }; }
  links.push(["method", { method: method.title }, method.address], ["plan", {}, method.plan]);
  return { code, values: { ...names, method: method.title }, links };
}
