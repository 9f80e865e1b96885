// Rows of a filled-in sheet to a submission as plain values, what must be asked, and a tally of all rows: the steps of
// aggregator/edgehold/sheets/interpret.py. What the lines are called, and where each goes, comes from rules.sheet.

import { asking, folded, nearest, number, outcome, readingValue, shown, word, written } from "./cells.js";
import { anywhere, csvRows } from "./csv.js";
import { filled } from "./sentences.js";
import { whole } from "./units.js";

/**
 * @typedef {import("./cells.js").CellFinding} CellFinding
 * @typedef {{ row: number, column: number, code: string, message: string, cure: string }} SheetAsk
 * @typedef {{ row: number, column: number, text: string }} SheetSaid
 * @typedef {{ name: string, at: number, column: number }} Letter
 * @typedef {Reader & { rows: string[][], comma: boolean, rules: SubmissionRules, sheet: SheetRules, kinds: Map<number, string>, part: string,
 *   run: number, columns: [label: string, hint: string][], asks: SheetAsk[], said: Map<string, SheetSaid>,
 *   firstRowOf: Map<string, number>, rowsOfRun: KnownMap<number[], number>, begun: Set<number>, met: Map<string, number>,
 *   named: [part: string, pointer: string, at: number, column: number, text: string][], amounts: [run: number, at: number, hint: string][],
 *   last: [pointer: string, at: number, column: number, found: CellFinding][], letters: Dictionary<KnownMap<Letter>>, tree: any }} Reading a reader with what its constructor assigns
 */

/**
 * Whether a file is a sheet and no JSON: its name says so, or its first cell.
 *
 * @param {string} name
 * @param {Uint8Array} bytes
 * @param {SubmissionRules} rules
 */
export function isSheet(name, bytes, rules) {
  return /\.(?:csv|tsv|txt)$/iu.test(name) || new TextDecoder().decode(bytes.subarray(0, rules.sheet.limits.looked_at)).replaceAll("\0", "").includes(rules.sheet.marker);
}

/**
 * Whether a text begins as every sheet does, whatever its name.
 *
 * @param {string} text
 * @param {SheetRules} sheet
 */
export function beginsSheet(text, sheet) {
  return anywhere(sheet.patterns.first_cell).test(text.slice(0, sheet.limits.looked_at));
}

/**
 * Read the bytes of a filled-in CSV.
 *
 * @param {Uint8Array} bytes
 * @param {SubmissionRules} rules
 * @returns {{ tree: Named | null, asks: SheetAsk[], said: SheetSaid[], tally: Dictionary<number>, protocol: { id: string, version: string } | null }} tree is null where the file is refused
 */
export function readSheet(bytes, rules) {
  const { rows, comma, asks, said } = csvRows(bytes, rules.sheet);
  if (asks.length) { return { tree: null, asks, said: [], tally: {}, protocol: null }; }
  const protocol = protocolNamed(rows, rules.sheet), found = new Reader(rows, comma, rules, protocol).read();
  return { ...found, said: [...said.map((text) => ({ row: 0, column: 0, text })), ...found.said], protocol };
}

/**
 * @param {string[][]} rows
 * @param {SheetRules} sheet
 */
function protocolNamed(rows, sheet) {
  /** @type {any} */
  const row = rows.find((cells) => folded(cells[0] ?? "") === sheet.marker.toLowerCase());
  const version = textAt(row, 2);
  return { id: textAt(row, 1), version: whole(sheet.patterns.version).exec(version)?.[1] ?? version };
}

/** @type {(row: string[], place: number) => string} */
const textAt = (row, place) => (row[place] ?? "").trim();
/** @type {(end: number) => number[]} */
const range = (end) => Array.from({ length: end }, (_, n) => n + 1);
/** @type {(at: string, entry: any, inside: any) => string} */
const bound = (at, entry, inside) => at.replace("*", entry).replace("*", inside);

class Reader {
  /**
   * @param {string[][]} rows
   * @param {boolean} comma
   * @param {SubmissionRules} rules
   * @param {{ id: string, version: string }} protocol
   */
  constructor(rows, comma, rules, protocol) {
    Object.assign(this, { rows, comma, rules, sheet: rules.sheet, kinds: new Map(), part: "", run: -1, columns: null, asks: [], said: new Map() });
    Object.assign(this, { firstRowOf: new Map(), rowsOfRun: new Map(), begun: new Set(), met: new Map(), named: [], amounts: [], last: [] });
    this.letters = { people: new Map(), blades: new Map() };
    this.tree = { ...rules.sheet.begins, protocol: { ...protocol } };
  }

  /** @this {any} */
  read() {
    this.rows.forEach((/** @type {string[]} */ cells, /** @type {number} */ n) => {
      const row = cells.map((cell) => cell.trim());
      if (row.some(Boolean)) { this.characters(n + 1, row); this.kinds.set(n + 1, this.row(n + 1, row)); }
    });
    this.lastEntries();
    this.names();
    this.workUnits();
    this.leaveOutRuns();
    Object.entries(this.sheet.listed).forEach(([part, places]) => this.listNamed(part, places));
    const asks = oneACell(this.asks);
    asks.forEach((ask) => { this.kinds.set(ask.row, "asked about"); this.said.delete(`${ask.row}/${ask.column}`); });
    /** @type {Dictionary<number>} */
    const tally = {};
    this.kinds.forEach((/** @type {string} */ kind) => { tally[kind] = (tally[kind] ?? 0) + 1; });
    return { tree: this.tree, asks, said: [...this.said.values()], tally };
  }

  /**
   * @this {Reading}
   * @param {number} at
   * @param {string[]} row
   * @returns {string}
   */
  row(at, row) {
    if (row[0].startsWith(this.sheet.remark)) { this.stray(at, row, [1]); return "remarks"; }
    const [label] = this.label(row[0]), run = whole(this.sheet.patterns.run).exec(label);
    if (label === this.sheet.marker.toLowerCase()) { this.stray(at, row, range(3)); return "headings"; }
    if (run || Object.hasOwn(this.sheet.tables, label)) {
      this.stray(at, row, [1]);
      Object.assign(this, { part: run ? "run" : label, columns: null });
      if (run) { this.beginRun(at, run[1]); }
      return this.ofRun(at, "headings");
    }
    if (Object.hasOwn(this.sheet.tables, this.part)) { return this.tableRow(at, row); }
    if (this.part === "run") { return this.ofRun(at, this.runRow(at, row, label)); }
    return this.line(at, row, label, this.sheet.head, 0);
  }

  /**
   * @this {Reading}
   * @param {number} at
   * @param {string} kind
   */
  ofRun(at, kind) {
    if (this.part === "run") { this.rowsOfRun.set(this.run, [...(this.rowsOfRun.get(this.run) ?? []), at]); }
    return kind;
  }

  // -- lines with a label

  /**
   * @this {Reading}
   * @param {number} at
   * @param {string[]} row
   * @param {string} label
   * @param {Dictionary<SheetLine>} lines
   * @param {number} entry
   */
  line(at, row, label, lines, entry) {
    if (!Object.hasOwn(lines, label)) {
      const close = nearest(label, Object.keys(lines)), values = { text: shown(row[0]), close: shown(close), remark: this.sheet.remark };
      this.ask(at, 1, "unknown-line", label ? "no_line" : "nothing_says", close ? "did_you_mean" : "into_notes", values);
      return "lines";
    }
    const line = lines[label], several = line.kind === "several", met = JSON.stringify([this.part, entry, label]);
    this.stray(at, row, range(several ? row.length : 2));
    if (!row.slice(1).some(Boolean)) { return "left empty"; }
    if (this.met.has(met)) { this.ask(at, 1, "twice", "row_twice", "keep_one", { text: shown(row[0]), row: this.met.get(met) }); return "lines"; }
    this.met.set(met, at);
    if (this.part === "run" && !line.drawn) { this.begun.add(entry); }
    const columns = several ? range(row.length).filter((column) => column > 1 && row[column - 1]) : [2];
    columns.forEach((column, inside) => {
      if (textAt(row, column - 1)) { this.cell(line, bound(line.at, entry, inside), at, column, row[column - 1], this.label(row[0])[1]); }
    });
    return "lines";
  }

  /**
   * @this {Reading}
   * @param {SheetLine} line
   * @param {string} pointer
   * @param {number} at
   * @param {number} column
   * @param {string} text
   * @param {string} hint
   */
  cell(line, pointer, at, column, text, hint) {
    if (!pointer) { return; }
    if (line.kind === "person" || line.kind === "blade") { this.named.push([line.kind === "person" ? "people" : "blades", pointer, at, column, text]); return; }
    if (line.kind === "quantity") { this.put(pointer, { written: this.take(written(text, this.rules), at, column), unit: hint }); return; }
    if (line.kind === "repeat") { this.repeatAt(pointer, at, column, text); return; }
    if (line.kind === "written" && this.part === "run") { this.amounts.push([this.run, at, hint]); }
    if (line.kind === "last") { this.last.push([pointer, at, column, number(text, line.mark, this.rules)]); return; }
    this.put(pointer, this.take(this.valueOf(line, text), at, column));
  }

  /**
   * @this {Reading}
   * @param {SheetLine} line
   * @param {string} text
   * @returns {CellFinding}
   */
  valueOf(line, text) {
    switch (line.kind) {
      case "word": return word(text, line.words, this.sheet);
      case "number": return number(text, line.mark, this.rules);
      case "written": return written(text, this.rules);
      default: return { value: text, said: "", asked: null };
    }
  }

  /**
   * What belongs to the last entry of a list is put there once the whole list is read.
   *
   * @this {Reading}
   */
  lastEntries() {
    this.last.forEach(([pointer, at, column, found]) => {
      const names = pointer.split("/"), list = names.slice(1, -2).reduce((inside, name) => inside?.[name], this.tree), held = Array.isArray(list) ? list.length : 0;
      this.put([...names.slice(0, -2), Math.max(0, held - 1), names[names.length - 1]].join("/"), this.take(found, at, column));
    });
  }

  // -- tables of people and blades

  /**
   * @this {Reading}
   * @param {number} at
   * @param {string[]} row
   */
  tableRow(at, row) {
    const lines = this.sheet.tables[this.part];
    if (!this.columns) {
      /** @type {[label: string, hint: string][]} */
      this.columns = row.map((text) => this.label(text));
      this.unknownColumns(at, row, (label) => Object.hasOwn(lines, label), "take_out");
      return "headings";
    }
    const named = new Map(this.columns.map(/** @returns {[label: string, column: number]} */ ([label], n) => [label, n + 1]).filter(([label]) => Object.hasOwn(lines, label)));
    this.stray(at, row, [...named.values()]);
    if (Object.hasOwn(this.letters, this.part)) { this.letter(at, row, named); }
    if (![...named].some(([label, column]) => textAt(row, column - 1) && !lines[label].drawn)) { return "left empty"; }
    const entry = this.listOf(this.part).length;
    this.listOf(this.part).push(structuredClone(this.sheet.entries[this.part] ?? {}));
    named.forEach((column, label) => {
      const text = textAt(row, column - 1);
      if (text) { this.cell(lines[label], bound(lines[label].at, entry, 0), at, column, text, this.columns[column - 1][1]); }
    });
    this.dropUnread(this.listOf(this.part)[entry].readings);
    return this.part;
  }

  /**
   * Of a reference edge that was not read after its work, only the first reading stays.
   *
   * @this {Reading}
   * @param {RowDraft[] | undefined} readings
   */
  dropUnread(readings) {
    const last = readings?.at(-1);
    if (last && !last.values && !last.outcomes) { readings?.pop(); }
  }

  /**
   * Add a value or an outcome to the list at a pointer.
   *
   * @this {Reading}
   * @param {string} pointer
   * @param {number} at
   * @param {number} column
   * @param {string} text
   */
  repeatAt(pointer, at, column, text) {
    const reading = pointer.split("/").slice(1, -1).reduce((inside, name) => inside[name], this.tree);
    this.repeat(reading, at, column, text, false);
  }

  /**
   * @this {Reading}
   * @param {number} at
   * @param {string[]} row
   * @param {Map<string, any>} named columns by label
   */
  letter(at, row, named) {
    const column = named.get(this.sheet.names[this.part]) ?? 1, letters = this.letters[this.part];
    const letter = named.has(this.sheet.letter) ? textAt(row, named.get(this.sheet.letter) - 1) : "", name = textAt(row, column - 1);
    [folded(letter), name].filter(Boolean).forEach((known) => {
      if (name || !letters.has(known)) { letters.set(known, { name, at, column }); }
    });
  }

  /** @this {Reading} */
  names() {
    const done = new Set();
    this.named.forEach(([part, pointer, at, column, text]) => {
      const letters = this.letters[part], known = [text, folded(text)].find((form) => letters.has(form));
      if (known === undefined) { this.put(pointer, text); return; }
      const beside = letters.get(known);
      if (beside.name) {
        if (text.toLowerCase() === beside.name && text !== beside.name) { this.say(at, column, filled(this.sheet.says.read_as, { text: shown(text), value: shown(beside.name) })); }
        this.put(pointer, beside.name);
      } else if (!done.has(`${part} ${known}`)) {
        done.add(`${part} ${known}`);
        this.ask(beside.at, beside.column, "no-name", "no_name", "write_name", { name: this.sheet.names[part], text: shown(text) });
      }
    });
  }

  // -- runs and their readings

  /**
   * @this {Reading}
   * @param {number} at
   * @param {string} order
   */
  beginRun(at, order) {
    if (this.firstRowOf.has(order)) { this.ask(at, 1, "twice", "run_twice", "number_runs", { order, row: this.firstRowOf.get(order) }); }
    else { this.firstRowOf.set(order, at); }
    this.run += 1;
    this.listOf("runs").push({ id: `run-${order}`, order: Number(order), preparation: `edge-${order}`, work_unit: this.sheet.work_unit, readings: [] });
    this.listOf("preparations").push({ id: `edge-${order}` });
  }

  /**
   * @this {Reading}
   * @param {number} at
   * @param {string[]} row
   * @param {string} label
   * @returns {string}
   */
  runRow(at, row, label) {
    if (label === this.sheet.work) { return this.readingHeadings(at, row); }
    const known = Object.hasOwn(this.sheet.lines, label);
    if (known || !this.columns || (label && !new RegExp(this.sheet.patterns.digit, "u").test(label))) { return this.line(at, row, label, this.sheet.lines, this.run); }
    return this.reading(at, row);
  }

  /**
   * @this {Reading}
   * @param {number} at
   * @param {string[]} row
   */
  readingHeadings(at, row) {
    if (this.columns) { this.ask(at, 1, "twice", "heading_twice", "one_heading"); }
    this.columns = row.map((text) => this.label(text));
    this.tree.runs[this.run].work_unit = this.columns[0][1] || this.sheet.work_unit;
    this.unknownColumns(at, row, (label) => this.isRepeat(label) || label === this.sheet.note, "call_value");
    return "headings";
  }

  /**
   * @this {Reading}
   * @param {string} label
   */
  isRepeat(label) {
    return whole(this.sheet.patterns.repeat).test(label);
  }

  /**
   * @this {Reading}
   * @param {number} at
   * @param {string[]} row
   */
  reading(at, row) {
    const columns = range(this.columns.length).filter((column) => column > 1 && (this.isRepeat(this.columns[column - 1][0]) || this.columns[column - 1][0] === this.sheet.note));
    this.stray(at, row, [1, ...columns]);
    const read = columns.filter((column) => textAt(row, column - 1));
    if (!read.length) { return "not read"; }
    this.begun.add(this.run);
    const reading = {};
    this.tree.runs[this.run].readings.push(reading);
    if (row[0]) { reading.work = this.take(written(row[0], this.rules), at, 1); } else { this.ask(at, 1, "no-work", "no_work", "write_work"); }
    read.forEach((column) => this.repeat(reading, at, column, row[column - 1], this.columns[column - 1][0] === this.sheet.note));
    return "readings";
  }

  /**
   * @this {Reading}
   * @param {RowDraft} reading
   * @param {number} at
   * @param {number} column
   * @param {string} text
   * @param {boolean} isNote
   */
  repeat(reading, at, column, text, isNote) {
    if (isNote) {
      reading.note = text;
      if (this.comma && !written(text, this.rules).asked) { this.ask(at, column, "decimal-comma", "number_in_note", "use_points", { text: shown(text) }); }
    } else if (Object.keys(this.sheet.outcomes).length) {
      (reading.outcomes ??= []).push(this.take(outcome(text, this.sheet.outcomes, this.sheet), at, column));
    } else {
      const { found, limit } = readingValue(text, this.rules);
      (reading.values ??= []).push({ written: this.take(found, at, column), ...(limit ? { limit } : {}) });
    }
  }

  /** @this {Reading} */
  workUnits() {
    this.amounts.forEach(([run, at, hint]) => {
      const unit = this.tree.runs[run].work_unit;
      if (hint && unit !== hint) { this.ask(at, 1, "other-unit", "other_unit", "same_unit", { unit: shown(hint), wanted: shown(unit) }); }
    });
  }

  // -- what is asked of any cell

  /**
   * @this {Reading}
   * @param {number} row
   * @param {number} column
   * @param {string} code
   * @param {string} message
   * @param {string} cure
   * @param {Named} [values]
   */
  ask(row, column, code, message, cure, values) {
    this.asks.push({ row, column, ...asking(this.sheet, code, message, cure, values) });
  }

  /**
   * @this {Reading}
   * @param {number} row
   * @param {number} column
   * @param {string} text
   */
  say(row, column, text) {
    this.said.set(`${row}/${column}`, { row, column, text });
  }

  /**
   * @this {Reading}
   * @param {CellFinding} found
   * @param {number} row
   * @param {number} column
   * @returns {any}
   */
  take(found, row, column) {
    if (found.said) { this.say(row, column, found.said); }
    if (found.asked) { this.asks.push({ row, column, ...found.asked }); }
    return found.value;
  }

  /**
   * @this {Reading}
   * @param {number} at
   * @param {string[]} row
   * @param {(label: string) => boolean} known
   * @param {string} cure
   */
  unknownColumns(at, row, known, cure) {
    this.columns.forEach(([label], n) => {
      if (label && !known(label) && !(this.part === "run" && n === 0)) { this.ask(at, n + 1, "unknown-column", "no_column", cure, { text: shown(row[n]) }); }
    });
  }

  /**
   * @this {Reading}
   * @param {number} at
   * @param {string[]} row
   * @param {number[]} allowed
   */
  stray(at, row, allowed) {
    row.forEach((text, n) => {
      if (text && !allowed.includes(n + 1)) { this.ask(at, n + 1, "stray-cell", "stray", this.comma ? "use_points" : "move", { text: shown(text) }); }
    });
  }

  /**
   * @this {Reading}
   * @param {number} at
   * @param {string[]} row
   */
  characters(at, row) {
    row.forEach((text, n) => this.rules.characters.forEach(({ code, pattern }) => {
      // @ts-expect-error what a pattern of one sign matches has a first sign
      const found = new RegExp(pattern, "u").exec(text)?.[0].codePointAt(0).toString(16).toUpperCase().padStart(4, "0");
      if (found) { this.ask(at, n + 1, code, "unfit", "type_again", { sign: `U+${found}` }); }
    }));
  }

  // -- after the last row

  /** @this {Reading} */
  leaveOutRuns() {
    [...this.rowsOfRun.keys()].filter((run) => !this.begun.has(run)).sort((a, b) => b - a).forEach((run) => {
      this.tree.runs.splice(run, 1);
      this.tree.preparations.splice(run, 1);
      this.rowsOfRun.get(run).forEach((at) => this.kinds.set(at, "of runs not begun"));
    });
  }

  /**
   * @this {Reading}
   * @param {string} part
   * @param {[list: string, place: string, use: string][]} places
   */
  listNamed(part, places) {
    /** @type {Map<string, Named>} */
    const listed = new Map();
    places.forEach(([of, place, use]) => (this.tree[of] ?? []).forEach((/** @type {any} */ entry) => {
      const key = place.split("/").reduce((inside, name) => inside?.[name], entry);
      if (key !== undefined && !listed.has(key)) { listed.set(key, use ? { key, use } : { key }); }
    }));
    if (listed.size) { this.tree[part] = [...listed.values()]; }
  }

  /**
   * @this {Reading}
   * @param {string} text
   * @returns {[name: string, hint: string]}
   */
  label(text) {
    /** @type {any} */
    const [, name, hint] = whole(this.sheet.patterns.label).exec(text);
    return [folded(name).replace(/:$/u, "").trimEnd(), (hint ?? "").trim()];
  }

  /**
   * @this {Reading}
   * @param {string} name
   * @returns {any[]}
   */
  listOf(name) {
    return (this.tree[name] ??= []);
  }

  /**
   * @this {Reading}
   * @param {string} pointer
   * @param {unknown} value
   */
  put(pointer, value) {
    const names = pointer.split("/").slice(1), /** @type {any} */ last = names.pop();
    let inside = this.tree;
    names.forEach((name, n) => { inside = (inside[name] ??= /^\d+$/u.test(names[n + 1] ?? last) ? [] : {}); });
    inside[last] = value;
  }
}

/** @param {SheetAsk[]} asks */
function oneACell(asks) {
  const kept = new Map();
  asks.forEach((ask) => { const place = `${ask.row}/${ask.column}`; if (!kept.has(place)) { kept.set(place, ask); } });
  return [...kept.values()].sort((a, b) => a.row - b.row || a.column - b.column);
}
