// A block from a spreadsheet or a text: rows and cells, or a question where it could be read in two ways. Cells stay as
// written; whether they are numbers is for the check to say.

const NUMBER = String.raw`[<>]?\s?[-+−–]?(?:\d+[.,]?\d*|[.,]\d+)(?:\s?[eE][-+]?\d+)?(?:[ -]\d+\/\d+|\/\d+|\s?[½⅓⅔¼¾⅕⅖⅗⅘⅙⅚⅛⅜⅝⅞])?(?:\s?\([^()]*\))?["″'′%°]?`;
const ONE = new RegExp(`^(?:${NUMBER})?$`, "u");
const WORDS = new RegExp(String.raw`\s*(?:(${NUMBER})(?=\s|$)|(\S+))`, "gu");

/**
 * @param {string | null} comma what a comma is, once asked: "separator" or "decimal"
 * @param {string} text what was pasted
 * @param {number[]} widths numbers of cells that would fit
 * @returns {{rows: string[][], question: string}} question is empty where the rows can be used
 */
export function block(text, widths, comma = null) {
  const lines = text.replaceAll("\r\n", "\n").replaceAll("\r", "\n").split("\n").filter((line) => line.trim() !== "");
  const mark = lines.some((line) => line.includes("\t")) ? "\t" : lines.some((line) => line.includes(";")) ? ";" : null;
  if (mark) { return { rows: lines.map((line) => cells(line, mark)), question: "" }; }
  if (!lines.some((line) => line.includes(","))) { return { rows: lines.map(spaced), question: "" }; }
  const [separated, decimals] = [lines.map((line) => cells(line, ",")), lines.map(spaced)];
  if (comma) { return { rows: comma === "separator" ? separated : decimals, question: "" }; }
  const [asSeparator, asDecimal] = [separated, decimals].map((rows) => fits(rows, widths));
  if (asSeparator && asDecimal) { return { rows: [], question: "A comma here may part two values or be a decimal comma. Which is it?" }; }
  if (lines.some((line) => line.includes("."))) { return { rows: separated, question: "" }; }
  return { rows: asSeparator && !asDecimal ? separated : decimals, question: "" };
}

/**
 * Whether rows are as wide as wanted and hold one number a cell, but for a heading.
 *
 * @param {string[][]} rows
 * @param {number[]} widths
 */
function fits(rows, widths) {
  return rows.every((row, n) => widths.includes(row.length) && (row.every((cell) => ONE.test(cell)) || (n === 0 && isHeading(row))));
}

/**
 * @param {string} line
 * @param {string} mark
 */
function cells(line, mark) {
  return line.split(mark).map((cell) => cell.trim().replace(/^"(.*)"$/u, "$1").trim());
}

/**
 * Values parted by spaces; "3 1/8" and "25 (5)" are one value each.
 *
 * @param {string} line
 */
function spaced(line) {
  return [...line.trim().matchAll(WORDS)].map(([, number, word]) => (number ?? word).trim());
}

/**
 * Whether a row is a heading: no cell of it begins like a number.
 *
 * @param {string[]} row
 */
export function isHeading(row) {
  return row.every((cell) => !/^[<>]?\s?[-+−–]?[\d.,½⅓⅔¼¾⅛⅜⅝⅞]/u.test(cell)) && !row.every((cell) => /^(?:pass|fail|p|f|yes|no|)$/iu.test(cell));
}
