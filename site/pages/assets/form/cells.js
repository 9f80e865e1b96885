// What the text of one cell of a sheet says: {value, said, asked}, as aggregator/edgehold/sheets/cell_values.py.

import { filled, general } from "./sentences.js";
import { WrittenError, cut, parseNumber, quoted, whole } from "./units.js";

const LONGEST = 60; // signs of a text that are shown, or compared with words

/**
 * @typedef {{ code: string, message: string, cure: string }} Asked
 * @typedef {{ value: any, said: string, asked: Asked | null }} CellFinding a cell's value, or what is asked about it
 */

/** @type {(value: string | number, text?: string) => CellFinding} */
const said = (value, text = "") => ({ value, said: text, asked: null });
/** @type {(value: string, question: Asked) => CellFinding} */
const asked = (value, question) => ({ value, said: "", asked: question });

/**
 * A text as a message shows it.
 *
 * @type {(text: string) => string}
 */
export const shown = (text) => cut(quoted(text), LONGEST);

/**
 * What must be asked, by the names of its two patterns: {code, message, cure}.
 *
 * @param {SheetRules} sheet
 * @param {string} code
 * @param {string} message
 * @param {string} cure
 * @param {Named} [values]
 * @returns {Asked}
 */
export function asking(sheet, code, message, cure, values = {}) {
  return { code, message: filled(sheet.says[message], values), cure: filled(sheet.says[cure], values) };
}

/**
 * A text as labels and words are compared.
 *
 * @param {string} text
 */
export function folded(text) {
  return text.split(/\s+/u).filter(Boolean).join(" ").toLowerCase();
}

/**
 * The first of the words that the fewest changes make the text of, at most one for every three signs of the word; or nothing. As
 * aggregator/edgehold/words/nearest.py: a change puts one sign in, takes one out or exchanges one for another.
 *
 * @param {string} text
 * @param {string[]} words
 */
export function nearest(text, words) {
  const signs = [...text].slice(0, LONGEST), near = { changes: Infinity, word: "" };
  for (const word of words) {
    const wanted = [...word], changes = changesBetween(signs, wanted);
    if (3 * changes <= wanted.length && changes < near.changes) { Object.assign(near, { changes, word }); }
  }
  return near.word;
}

/**
 * @param {string[]} signs
 * @param {string[]} wanted
 * @returns {any} a number
 */
function changesBetween(signs, wanted) {
  let row = [0, ...wanted.keys()].map((_, n) => n);
  signs.forEach((sign, n) => {
    const before = row;
    row = [n + 1];
    wanted.forEach((other, m) => row.push(Math.min(before[m + 1] + 1, row[m] + 1, before[m] + Number(sign !== other))));
  });
  return row.at(-1);
}

/**
 * One of the words allowed, whatever its capitals and spaces.
 *
 * @param {string} text
 * @param {string[]} words
 * @param {SheetRules} sheet
 */
export function word(text, words, sheet) {
  return outcome(text, Object.fromEntries(words.map((known) => [known.toLowerCase(), known])), sheet);
}

/**
 * A word by what may be written for it in small letters, such as pass or fail, or the first letter of either.
 *
 * @param {string} text
 * @param {Dictionary<string>} words
 * @param {SheetRules} sheet
 * @returns {CellFinding}
 */
export function outcome(text, words, sheet) {
  const wanted = folded(text);
  if (Object.hasOwn(words, wanted)) {
    const value = words[wanted];
    return said(value, value === text ? "" : filled(sheet.says.read_as, { text: shown(text), value: shown(value) }));
  }
  const close = nearest(wanted, Object.keys(words)), allowed = [...new Set(Object.values(words))].join(" or ");
  const values = { text: shown(text), words: allowed, close: shown(words[close] ?? "") };
  return asked(text, asking(sheet, "unknown-word", "no_word", close ? "write_words_near" : "write_words", values));
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
    if (uncertainty !== null || (unit !== null && unit !== mark)) { return asked(text, asking(rules.sheet, "not-a-number", "more_than_number", "number_alone", { text: shown(text) })); }
    return said(value, filled(rules.sheet.says.read_as, { text: shown(text), value: general(value) }));
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
    const values = { text: shown(text), value: general(value), uncertainty: general(uncertainty ?? 0) };
    return said(text, filled(rules.sheet.says[uncertainty === null ? "kept" : "kept_with_uncertainty"], values));
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
  const value = (first ?? second).trim(), found = written(value, rules);
  return { found: found.asked ? found : said(found.value, filled(rules.sheet.says.read_with_limit, { text: shown(text), value, limit })), limit };
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
    if (error instanceof WrittenError) { return asked(text, { code: "not-a-number", message: error.problem, cure: error.cure }); }
    throw error;
  }
}
