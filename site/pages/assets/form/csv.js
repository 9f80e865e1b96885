// A CSV file to rows of texts (RFC 4180), whichever way a spreadsheet wrote it, or a question. As aggregator/edgehold/sheets/csv_table.py:
// what parts the cells is known for certain, because it follows the first cell, which is the same on every sheet.

/** @typedef {{ rows: string[][], comma: boolean, asks: import("./sheet.js").SheetAsk[] }} CsvTable */

const LOOKED_AT = 4000; // characters in which the first cell must stand
const SAVE_AGAIN = "save it again as “CSV UTF-8”";
/** @type {[signs: number[], encoding: string][]} */
const MARKS = [[[0xEF, 0xBB, 0xBF], "utf-8"], [[0xFF, 0xFE], "utf-16le"], [[0xFE, 0xFF], "utf-16be"]];

/**
 * @param {Uint8Array} bytes the file
 * @param {SheetRules} sheet rules.sheet
 * @returns {CsvTable} asks is empty where the rows can be used
 */
export function csvRows(bytes, sheet) {
  if (bytes.length > sheet.limits.bytes) { return refused("file-too-large", `${bytes.length} bytes; at most ${sheet.limits.bytes} are read`, "leave out what is no sheet"); }
  const decoded = decode(bytes);
  if (decoded === null) { return refused("not-text", "the file is not text in UTF-8 or UTF-16", SAVE_AGAIN); }
  const text = decoded.replace(/^\uFEFF?sep=[^\r\n](?:\r\n|\r|\n)/iu, "");
  const first = new RegExp(`(?:^|[\\r\\n])"?${sheet.marker}"?[ ]*([,;\\t])`, "i").exec([...text.slice(0, 2 * LOOKED_AT)].slice(0, LOOKED_AT).join(""));
  if (!first) { return refused("not-a-sheet", `no line begins with “${sheet.marker}”`, "open a sheet that was drawn for this protocol, with its first cell as it was"); }
  return { ...split(text, first[1], sheet.limits), comma: first[1] === "," };
}

/**
 * @param {string} code
 * @param {string} message
 * @param {string} cure
 * @param {number} row
 */
function refused(code, message, cure, row = 0) {
  return { rows: [], comma: false, asks: [{ row, column: 0, code, message, cure }] };
}

/**
 * The text of the bytes, or null where they are none.
 *
 * @param {Uint8Array} bytes
 */
function decode(bytes) {
  /** @type {(signs: number[]) => boolean} */
  const begins = (signs) => signs.every((sign, n) => bytes[n] === sign);
  if (begins([0xFF, 0xFE, 0, 0]) || begins([0, 0, 0xFE, 0xFF])) { return null; }
  const [signs, encoding] = MARKS.find(([mark]) => begins(mark)) ?? [[], "utf-8"];
  if (!signs.length && bytes.subarray(0, 200).includes(0)) { return null; }
  try {
    return new TextDecoder(encoding, { fatal: true, ignoreBOM: true }).decode(bytes.subarray(signs.length));
  } catch { return null; }
}

/**
 * @param {string} text
 * @param {string} mark
 * @param {SheetRules["limits"]} limits
 */
function split(text, mark, limits) {
  const rows = [];
  let row = [], at = 0;
  while (at < text.length) {
    const { cell, end, problem } = text[at] === '"' ? quoted(text, at, mark) : bare(text, at, mark);
    row.push(cell);
    const number = rows.length + 1;
    if (problem) { return refused("bad-quotes", problem, "put two quotation marks where one is meant, or save the file again", number); }
    const too = tooMuch(number, row.length, cell, limits);
    if (too) { return too; }
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
    if (end < 0) { return { cell: "", end: text.length, problem: "a quotation mark is never closed" }; }
    if (text[end + 1] !== '"') { break; }
    at = end + 2;
  }
  const after = text[end + 1];
  if (after !== undefined && ![mark, "\r", "\n"].includes(after)) { return { cell: "", end, problem: "something follows a closing quotation mark" }; }
  return { cell: text.slice(start + 1, end).replaceAll('""', '"'), end: end + 1, problem: "" };
}

/**
 * @param {number} row
 * @param {number} column
 * @param {string} cell
 * @param {SheetRules["limits"]} limits
 */
function tooMuch(row, column, cell, limits) {
  const cure = "leave out what is no part of the sheet";
  if (column > limits.columns) { return refused("too-wide", `the sheet has more than ${limits.columns} columns`, cure, row); }
  if (row > limits.rows) { return refused("too-long", `the sheet has more than ${limits.rows} rows`, cure, row); }
  if ([...cell].length > limits.cell) { return refused("cell-too-long", `a cell has more than ${limits.cell} characters`, "shorten it", row); }
  return null;
}
