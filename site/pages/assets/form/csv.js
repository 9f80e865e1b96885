// A CSV file to rows of texts (RFC 4180), whichever way a spreadsheet wrote it, or a question. As aggregator/edgehold/sheets/csv_table.py:
// what parts the cells is known for certain, because it follows the first cell, which is the same on every sheet.

import { asking, shown } from "./cells.js";
import { filled } from "./sentences.js";

/**
 * @typedef {{ rows: string[][], comma: boolean, asks: import("./sheet.js").SheetAsk[], said: string[] }} CsvTable
 * @typedef {{ decoded: string, said: string[], problem?: undefined, values?: undefined }} Text
 * @typedef {{ problem: "never_read" | "zero_bytes" | "not_text", values?: Named, decoded?: undefined, said?: undefined }} NoText
 * @typedef {Text | NoText} Decoded
 */

/**
 * @param {Uint8Array} bytes the file
 * @param {SheetRules} sheet rules.sheet
 * @returns {CsvTable} asks is empty where the rows can be used
 */
export function csvRows(bytes, sheet) {
  const { limits } = sheet;
  if (bytes.length > limits.bytes) { return refused(asking(sheet, "file-too-large", "file_too_large", "leave_out", { bytes: bytes.length, most: limits.bytes })); }
  const { decoded, said, problem, values } = decode(bytes, sheet);
  if (problem) { return refused(asking(sheet, "not-text", problem, "save_as_csv", values)); }
  const text = decoded.replace(anywhere(sheet.patterns.separator_line), "");
  const first = anywhere(sheet.patterns.first_cell).exec([...text.slice(0, 2 * limits.looked_at)].slice(0, limits.looked_at).join(""));
  if (!first) { return refused(asking(sheet, "not-a-sheet", "no_first_cell", "leave_first_cell", { marker: shown(sheet.marker) })); }
  if (first[1] !== ",") { said.push(filled(sheet.says.parted_by, { mark: sheet.separators[first[1]] })); }
  return { ...split(text, first[1], sheet), comma: first[1] === ",", said };
}

/**
 * A pattern of the program, with small letters and capitals alike, that may match a part of a text.
 *
 * @type {(pattern: string) => RegExp}
 */
export const anywhere = (pattern) => new RegExp(pattern.replace("(?i)", ""), "iu");

/**
 * @param {import("./cells.js").Asked} asked
 * @param {number} [row]
 */
function refused(asked, row = 0) {
  return { rows: [], comma: false, asks: [{ row, column: 0, ...asked }], said: [] };
}

/**
 * The text of the bytes and in what it was written where that was not plain UTF-8, or the name of what stands in the way.
 *
 * @param {Uint8Array} bytes
 * @param {SheetRules} sheet
 * @returns {Decoded}
 */
function decode(bytes, sheet) {
  const found = sheet.encodings.find(([signs]) => signs.every((sign, n) => bytes[n] === sign));
  const [signs, name, encoding] = found ?? [[], "utf-8", "UTF-8"], rest = bytes.subarray(signs.length);
  if (!name) { return { problem: "never_read", values: { encoding } }; }
  if (!found && bytes.subarray(0, 200).includes(0)) { return { problem: "zero_bytes" }; }
  try {
    const decoded = new TextDecoder(name, { fatal: true, ignoreBOM: true }).decode(rest);
    return { decoded, said: found ? [filled(sheet.says.byte_order_mark, { encoding })] : [] };
  } catch {
    const line = new TextDecoder(name, { ignoreBOM: true }).decode(rest).split("\uFFFD")[0].split("\n").length;
    return { problem: "not_text", values: { line, encoding } };
  }
}

/**
 * @param {string} text
 * @param {string} mark
 * @param {SheetRules} sheet
 */
function split(text, mark, sheet) {
  const rows = [];
  let row = [], at = 0;
  while (at < text.length) {
    const { cell, end, problem } = text[at] === '"' ? quoted(text, at, mark) : bare(text, at, mark);
    row.push(cell);
    const number = rows.length + 1;
    const asked = problem ? asking(sheet, "bad-quotes", problem, "two_marks") : tooMuch(number, row.length, cell, sheet);
    if (asked) { return refused(asked, number); }
    at = end;
    if (text[at] === mark) {
      at += 1;
      if (at === text.length) { row.push(""); }
    } else {
      rows.push(row);
      row = [];
      at += text.startsWith("\r\n", at) ? 2 : 1;
    }
  }
  return { rows: row.length ? [...rows, row] : rows, asks: [] };
}

/**
 * @param {string} text
 * @param {number} start
 * @param {string} mark
 */
function bare(text, start, mark) {
  let end = start;
  while (end < text.length && text[end] !== mark && text[end] !== "\r" && text[end] !== "\n") { end += 1; }
  return { cell: text.slice(start, end), end, problem: "" };
}

/**
 * @param {string} text
 * @param {number} start
 * @param {string} mark
 */
function quoted(text, start, mark) {
  let at = start + 1, end;
  for (;;) {
    end = text.indexOf('"', at);
    if (end < 0) { return { cell: "", end: text.length, problem: "never_closed" }; }
    if (text[end + 1] !== '"') { break; }
    at = end + 2;
  }
  const after = text[end + 1];
  if (after !== undefined && ![mark, "\r", "\n"].includes(after)) { return { cell: "", end, problem: "after_closing" }; }
  return { cell: text.slice(start + 1, end).replaceAll('""', '"'), end: end + 1, problem: "" };
}

/**
 * @param {number} row
 * @param {number} column
 * @param {string} cell
 * @param {SheetRules} sheet
 */
function tooMuch(row, column, cell, sheet) {
  const { limits } = sheet, signs = cell.length > limits.cell ? [...cell].length : 0;
  if (column > limits.columns) { return asking(sheet, "too-wide", "too_wide", "leave_out_part", { most: limits.columns }); }
  if (row > limits.rows) { return asking(sheet, "too-long", "too_long", "leave_out_part", { most: limits.rows }); }
  return signs > limits.cell ? asking(sheet, "cell-too-long", "cell_too_long", "shorten", { cell: cellName(row, column), signs, most: limits.cell }) : null;
}

/**
 * A cell as a spreadsheet shows it.
 *
 * @param {number} row
 * @param {number} column
 */
export function cellName(row, column) {
  if (!row) { return "the file"; }
  let name = "";
  for (let left = column; left > 0; left = Math.floor((left - 1) / 26)) { name = String.fromCharCode(65 + ((left - 1) % 26)) + name; }
  return column ? `${name}${row}` : `row ${row}`;
}
