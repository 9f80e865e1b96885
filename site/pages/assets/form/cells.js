// What the text of one cell of a sheet says: {value, said, code, message, cure}, as aggregator/edgehold/sheets/cell_values.py.

import { WrittenError, parseNumber, whole } from "./units.js";

/** @typedef {{ value: any, said: string, code: string, message?: any, cure?: any }} CellFinding a cell's value, or with a code what is asked */

/** @type {(value: string | number, text?: string) => CellFinding} */
const said = (value, text = "") => ({ value, said: text, code: "" });
/** @type {(value: string, code: string, message: string, cure: string) => CellFinding} */
const asked = (value, code, message, cure) => ({ value, said: "", code, message, cure });
/** @type {(text: string) => string} */
const quoted = (text) => `“${text.length > 60 ? `${text.slice(0, 60)}…` : text}”`;

/**
 * A text as labels and words are compared.
 *
 * @param {string} text
 */
export function folded(text) {
  return text.split(/\s+/u).filter(Boolean).join(" ").toLowerCase();
}

/**
 * One of the words allowed, whatever its capitals and spaces.
 *
 * @param {string} text
 * @param {string[]} words
 */
export function word(text, words) {
  if (words.includes(text)) { return said(text); }
  const alike = words.find((known) => known.toLowerCase() === folded(text));
  return alike === undefined ? asked(text, "unknown-word", `${quoted(text)} is none of the words for this`, `write ${words.join(" or ")}`) : said(alike, `${quoted(text)} read as ${quoted(alike)}`);
}

/**
 * pass or fail, or the first letter of either.
 *
 * @param {string} text
 * @param {Dictionary<string>} outcomes
 */
export function outcome(text, outcomes) {
  const found = Object.hasOwn(outcomes, text.toLowerCase()) ? outcomes[text.toLowerCase()] : null;
  if (found === null) { return asked(text, "unknown-word", `${quoted(text)} is neither pass nor fail`, "write pass or fail"); }
  return said(found, found === text ? "" : `${quoted(text)} read as ${quoted(found)}`);
}

/**
 * A number for a field that keeps numbers only; `mark` is the unit whose sign may stand behind it.
 *
 * @param {string} text
 * @param {string} mark
 * @param {SubmissionRules} rules
 */
export function number(text, mark, rules) {
  if (whole(rules.sheet.patterns.plain).test(text)) { return said(Number(text)); }
  return parsed(text, rules, ({ value, uncertainty, unit }) => {
    if (uncertainty !== null || (unit !== null && unit !== mark)) { return asked(text, "not-a-number", `${quoted(text)} is more than a number`, "write the number alone, and the rest into a note"); }
    return said(value, `${quoted(text)} read as ${value}`);
  });
}

/**
 * A number kept as written: text stays text unless nothing is lost.
 *
 * @param {string} text
 * @param {SubmissionRules} rules
 */
export function written(text, rules) {
  if (whole(rules.sheet.patterns.plain).test(text)) { return said(Number(text)); }
  return parsed(text, rules, ({ value, uncertainty }) => {
    if (whole(rules.sheet.patterns.decimal).test(text)) { return said(text); }
    return said(text, `${quoted(text)} kept as written, read as ${value}${uncertainty === null ? "" : ` with uncertainty ${uncertainty}`}`);
  });
}

/**
 * One repeat of a reading, and its limit: "31 above", "> 31" and "below 0" are over or under the scale.
 *
 * @param {string} text
 * @param {SubmissionRules} rules
 */
export function readingValue(text, rules) {
  const match = whole(rules.sheet.patterns.limit).exec(text);
  if (!match) { return { found: written(text, rules), limit: "" }; }
  const [, sign, before, first, second, behind] = match;
  const limit = rules.sheet.limit_signs[sign ?? ""] ?? (before ?? behind).toLowerCase();
  const found = written((first ?? second).trim(), rules);
  return { found: found.code ? found : said(found.value, `${quoted(text)} read as ${found.value}, limit ${limit}`), limit };
}

/**
 * @param {string} text
 * @param {SubmissionRules} rules
 * @param {(found: ReturnType<typeof parseNumber>) => CellFinding} use
 */
function parsed(text, rules, use) {
  try {
    return use(parseNumber(text, rules.numbers));
  } catch (error) {
    if (error instanceof WrittenError) { return asked(text, "not-a-number", error.problem, error.cure); }
    throw error;
  }
}
