// The readings of one run as a table: a row a checkpoint, a cell a repeat. Cells are typed one by one, or a block is pasted.

import { button, fold, idOf, make, tell } from "./dom.js";
import { field, openAround, register, saidAbove } from "./fields.js";
import { fillRows } from "./fill.js";
import { block, isHeading } from "./paste.js";
import { below, blank, child, patternOf, valueAt } from "./places.js";
import { typed } from "./record.js";
import { described } from "./schema.js";

/** @type {Dictionary<string>} */
const MARKS = { "<": "below", ">": "above" };
/** @type {Dictionary<string>} */
const OUTCOMES = { pass: "pass", p: "pass", fail: "fail", f: "fail" };
/** @type {Dictionary<number>} */
const STEPS = { Enter: 1, ArrowDown: 1, ArrowUp: -1 };

/**
 * The schema of a field of a reading.
 *
 * @type {(rules: SubmissionRules, name: string) => SchemaNode}
 */
const ofReading = ({ schema }, name) => schema.$defs?.Reading.properties?.[name] ?? {};

/**
 * The table of one run; `title` such as "Run 1".
 *
 * @param {SubmissionForm} form
 * @param {string} pointer
 * @param {string} title
 */
export function grid(form, pointer, title) {
  const { cells, repeats } = form.rules.layout.grid;
  /** @type {RowDraft[]} */
  const rows = valueAt(form.kept.draft, pointer) ?? [];
  const width = Math.max(repeats, ...rows.map((row) => (row[cells] ?? []).length));
  const said = make("ul", { class: "said", id: idOf(pointer, "said"), tabindex: "-1", hidden: true });
  const own = register(form, pointer, [], said);
  form.grids.push({ pointer, said });
  own.say = (found) => list(said, found);
  const unit = () => valueAt(form.kept.draft, pointer.replace(/\/readings$/u, "/reading_unit")) ?? "";
  const caption = make("caption", {});
  const words = () => {
    const what = cells === "values" ? (unit() ? `in ${unit()}` : "unit not chosen yet") : "pass or fail";
    const how = `${cells === "values" ? "; “<” or “>” before a value: under or over what can be read" : ""}. Leave empty what was not read`;
    tell(caption, `Readings, ${what}${saidAbove(pointer) ? "" : how}.`);
  };
  words();
  form.refreshers.push(words);
  const head = make("tr", {}, make("th", { scope: "col" }, `Work (${form.rules.protocol.work.unit})`), ...range(width).map((n) => make("th", { scope: "col" }, String(n + 1))));
  const body = make("tbody", {}, rows.map((row, n) => line(form, pointer, n, width, title, said)));
  const table = make("table", { class: "readings" }, caption, make("thead", {}, head), body);
  table.addEventListener("keydown", (event) => move(event, table));
  table.addEventListener("focusout", (event) => { if (!table.contains(/** @type {Node | null} */ (event.relatedTarget))) { form.left(pointer); } });
  const more = button("Add a row", () => {
    rows.push({ work: "" });
    form.structure(`${pointer}/${rows.length - 1}/work`);
  }, { class: "quiet" });
  const notes = fold("Notes on single readings", rows.map((row, n) => field(form, `${pointer}/${n}/note`, noteOf(form), { label: `At ${row.work}: seen` })));
  return make("div", { class: "of-run" }, make("div", { class: "table", tabindex: "0" }, table), said, make("p", {}, more), isOfRun(form, pointer) ? pasting(form, pointer) : [], notes);
}

/** @type {(form: SubmissionForm, pointer: string) => boolean} */
const isOfRun = ({ rules }, pointer) => patternOf(pointer) === rules.layout.grid.at;

/** @type {(count: number) => number[]} */
const range = (count) => Array.from({ length: count }, (_, n) => n);

/** @param {SubmissionForm} form */
function noteOf({ rules }) {
  return described(ofReading(rules, "note"), rules.schema);
}

/**
 * @param {SubmissionForm} form
 * @param {string} pointer
 * @param {number} n
 * @param {number} width
 * @param {string} title
 * @param {HTMLElement} said
 */
function line(form, pointer, n, width, title, said) {
  const place = below(pointer, n), work = valueAt(form.kept.draft, `${place}/work`);
  const row = valueAt(form.kept.draft, place), node = ofReading(form.rules, "work");
  const box = make("input", { class: "work", inputmode: "decimal", autocomplete: "off", "aria-label": `${title}, row ${n + 1}, work`, "data-cell": `${n},0`, id: idOf(`${place}/work`) });
  box.value = blank(work) ? "" : String(work);
  box.addEventListener("input", () => {
    row.work = typed(box.value, described(node, form.rules.schema), form.rules);
    delete row.auto;
    form.changed();
  });
  box.addEventListener("focusout", () => form.left(`${place}/work`));
  box.addEventListener("paste", (event) => pasted(event, form, pointer, n, 0));
  cellSpot(form, `${place}/work`, box, said, () => `row ${n + 1}, work`);
  const make1 = form.rules.layout.grid.cells === "values" ? valueCell : outcomeCell;
  return make("tr", {}, make("th", { scope: "row" }, box), ...range(width).map((k) => make("td", {}, make1(form, pointer, n, k, title, said))));
}

/**
 * @param {SubmissionForm} form
 * @param {string} pointer
 * @param {number} n
 * @param {number} k
 * @param {string} title
 * @param {HTMLElement} said
 */
function valueCell(form, pointer, n, k, title, said) {
  const row = valueAt(form.kept.draft, below(pointer, n)), place = `${pointer}/${n}/values/${k}`;
  const value = child(row.values, k) ?? {};
  const box = cellBox(form, pointer, n, k, title, place);
  const sign = Object.keys(MARKS).find((mark) => MARKS[mark] === value.limit) ?? "";
  box.value = blank(value.written) ? "" : `${sign}${value.written}`;
  box.addEventListener("input", () => { writeValue(row, k, box.value, form); form.changed(); });
  box.addEventListener("focusout", () => form.left(`${place}/written`));
  const spot = cellSpot(form, `${place}/written`, box, said, () => `at ${row.work}, repeat ${k + 1}`);
  form.spots.set(place, spot);
  return box;
}

/**
 * @param {RowDraft} row
 * @param {number} k
 * @param {string} text
 * @param {SubmissionForm} form
 */
function writeValue(row, k, text, form) {
  const trimmed = text.trim(), limit = MARKS[trimmed[0]];
  row.values ??= [];
  while (row.values.length <= k) { row.values.push({}); }
  const written = typed(limit ? trimmed.slice(1) : trimmed, { options: [] }, form.rules);
  row.values[k] = limit ? { written, limit } : { written };
}

/**
 * @param {SubmissionForm} form
 * @param {string} pointer
 * @param {number} n
 * @param {number} k
 * @param {string} title
 * @param {HTMLElement} said
 */
function outcomeCell(form, pointer, n, k, title, said) {
  const row = valueAt(form.kept.draft, below(pointer, n)), place = `${pointer}/${n}/outcomes/${k}`;
  const box = make("select", { "aria-label": cellName(title, row, k), "data-cell": `${n},${k + 1}`, id: idOf(place) });
  box.append(...["", "pass", "fail"].map((word) => make("option", { value: word }, word || "–")));
  const now = child(row.outcomes, k) ?? "";
  if (!["", "pass", "fail"].includes(now)) { box.append(make("option", { value: now }, String(now))); }
  box.value = now;
  box.addEventListener("change", () => { writeOutcome(row, k, box.value); form.changed(); form.left(place); });
  box.addEventListener("paste", (event) => pasted(event, form, pointer, n, k + 1));
  cellSpot(form, place, box, said, () => `at ${row.work}, repeat ${k + 1}`);
  return box;
}

/**
 * @param {RowDraft} row
 * @param {number} k
 * @param {string} word
 */
function writeOutcome(row, k, word) {
  row.outcomes ??= [];
  while (row.outcomes.length <= k) { row.outcomes.push(""); }
  row.outcomes[k] = word;
}

/** @type {(title: string, row: RowDraft, k: number) => string} */
const cellName = (title, row, k) => `${title}, at ${blank(row.work) ? "?" : row.work}, repeat ${k + 1}`;

/**
 * @param {SubmissionForm} form
 * @param {string} pointer
 * @param {number} n
 * @param {number} k
 * @param {string} title
 * @param {string} place
 */
function cellBox(form, pointer, n, k, title, place) {
  const row = valueAt(form.kept.draft, below(pointer, n));
  const box = make("input", { inputmode: "decimal", autocomplete: "off", "aria-label": cellName(title, row, k), "data-cell": `${n},${k + 1}`, id: idOf(`${place}/written`) });
  box.addEventListener("paste", (event) => pasted(event, form, pointer, n, k + 1));
  return box;
}

/**
 * What is said of a cell stands below the table, with the cell's name, and the cell refers to it.
 *
 * @param {SubmissionForm} form
 * @param {string} place
 * @param {HTMLElement} box
 * @param {HTMLElement} said
 * @param {() => string} name
 * @returns {Spot}
 */
function cellSpot(form, place, box, said, name) {
  /** @type {Spot} */
  const spot = {
    place,
    get name() { return name(); },
    focus: () => { openAround(box); box.focus(); },
    say(found) {
      const grave = found.some((finding) => finding.grave);
      if (grave) { box.setAttribute("aria-invalid", "true"); } else { box.removeAttribute("aria-invalid"); }
      box.classList.toggle("mild", found.length > 0 && !grave);
      if (!found.length) { box.removeAttribute("aria-describedby"); return; }
      list(said, found.map((finding) => ({ ...finding, text: finding.asks ? finding.text : `${name()}: ${finding.text}` })), `${box.id}-said`);
      box.setAttribute("aria-describedby", `${box.id}-said`);
      if (grave && form.all) { openAround(box); }
    },
  };
  form.spots.set(place, spot);
  form.distinct.push(spot);
  return spot;
}

/**
 * @param {HTMLElement} said
 * @param {Saying[]} found
 * @param {string} [id]
 */
function list(said, found, id) {
  said.append(...found.map(({ text, grave }, n) => make("li", { class: grave ? "grave" : "mild", id: id && n === 0 ? id : null }, text)));
  said.hidden = !said.children.length;
}

/**
 * Enter and the arrows up and down go to the cell below or above, as in a spreadsheet.
 *
 * @param {KeyboardEvent} event
 * @param {HTMLElement} table
 */
function move(event, table) {
  const step = STEPS[event.key], from = /** @type {HTMLElement} */ (event.target), at = from.dataset.cell;
  if (!step || !at || (from.localName === "select" && event.key !== "Enter")) { return; }
  const [row, column] = at.split(",").map(Number);
  /** @type {HTMLInputElement | HTMLSelectElement | null} */
  const next = table.querySelector(`[data-cell="${row + step},${column}"]`);
  if (!next) { return; }
  event.preventDefault();
  next.focus();
  if (next instanceof HTMLInputElement) { next.select(); }
}

/**
 * @param {ClipboardEvent} event
 * @param {SubmissionForm} form
 * @param {string} pointer
 * @param {number} row
 * @param {number} column
 */
function pasted(event, form, pointer, row, column) {
  const text = event.clipboardData?.getData("text/plain") ?? "";
  if (!/[\n\t;]/u.test(text.trim())) { return; }
  event.preventDefault();
  const { rows } = block(text, [], "decimal");
  rows.forEach((cells, r) => cells.forEach((cell, c) => put(form, pointer, row + r, column + c, cell)));
  form.structure(idPlace(pointer, row, column, form), `${rows.length} rows pasted.`);
  form.left(pointer);
}

/** @type {(pointer: string, row: number, column: number, form: SubmissionForm) => string} */
const idPlace = (pointer, row, column, { rules }) => `${pointer}/${column ? `${row}/${rules.layout.grid.cells}/${column - 1}` : `${row}/work`}`;

/**
 * Write one cell of the table: column 0 is the work.
 *
 * @param {SubmissionForm} form
 * @param {string} pointer
 * @param {number} n
 * @param {number} column
 * @param {string} text
 */
function put(form, pointer, n, column, text) {
  const rows = valueAt(form.kept.draft, pointer);
  while (rows.length <= n) { rows.push({ work: "" }); }
  const row = rows[n];
  if (column === 0) {
    row.work = typed(text, { options: [] }, form.rules);
    delete row.auto;
  } else if (form.rules.layout.grid.cells === "values") {
    writeValue(row, column - 1, text, form);
    form.touched.add(`${pointer}/${n}/values/${column - 1}/written`);
  } else {
    writeOutcome(row, column - 1, OUTCOMES[text.toLowerCase()] ?? text);
    form.touched.add(`${pointer}/${n}/outcomes/${column - 1}`);
  }
}

/**
 * The box that a block is pasted into, for whoever cannot paste into a table.
 *
 * @param {SubmissionForm} form
 * @param {string} pointer
 */
function pasting(form, pointer) {
  const id = idOf(pointer, "block"), { repeats } = form.rules.layout.grid;
  const box = make("textarea", { id, rows: 4, spellcheck: "false" });
  const answer = make("p", { class: "said", "aria-live": "polite" });
  /** @type {(comma?: string | null) => void} */
  const use = (comma = null) => {
    const widths = [repeats, repeats + 1, ...range(20).map((k) => 1 + repeats * (k + 2))];
    const found = block(box.value, widths, comma);
    if (found.question) {
      answer.replaceChildren(make("span", { class: "mild" }, found.question), " ", button("Commas part values", () => use("separator"), { class: "quiet" }), " ",
        button("Commas are decimal commas", () => use("decimal"), { class: "quiet" }));
      return;
    }
    const problem = usePasted(form, pointer, found.rows);
    if (problem) { answer.replaceChildren(make("span", { class: "grave" }, problem)); }
  };
  return fold("Paste a block from a spreadsheet", make("label", { for: id }, "Copied cells"),
    make("p", { class: "help" }, `${repeats} columns, or ${repeats + 1} with the work first, or the work and ${repeats} columns for each run from this one on.`),
    box, make("p", {}, button("Put it into the table", () => use())), answer);
}

/**
 * Put a block into the tables from this run on; says what does not fit.
 *
 * @param {SubmissionForm} form
 * @param {string} pointer
 * @param {string[][]} all
 */
function usePasted(form, pointer, all) {
  const { repeats } = form.rules.layout.grid;
  const rows = all.filter((row, n) => n > 0 || !isHeading(row));
  if (!rows.length) { return "There is nothing in it."; }
  const width = Math.max(...rows.map((row) => row.length)), withWork = width !== repeats, runs = withWork ? (width - 1) / repeats : 1;
  const tables = form.kept.draft.runs ?? [], first = Number(pointer.split("/")[2]), there = tables.length - first;
  if (!Number.isInteger(runs) || runs < 1 || runs > there) {
    return `It has ${width} columns, and this table takes ${repeats}, or ${repeats + 1} with the work first. Check that every value is in a cell of its own.`;
  }
  if (!withWork && rows.length > valueAt(form.kept.draft, pointer).length) {
    return `It has ${rows.length} rows, and the table has fewer: put the work in a first column.`;
  }
  for (let run = 0; run < runs; run += 1) {
    const place = `/runs/${first + run}/readings`, table = valueAt(form.kept.draft, place);
    rows.forEach((row, n) => {
      const at = withWork ? rowOf(table, row[0], form) : n;
      if (withWork) { put(form, place, at, 0, row[0]); }
      row.slice(withWork ? 1 + run * repeats : 0).slice(0, repeats).forEach((cell, k) => { if (cell !== "") { put(form, place, at, k + 1, cell); } });
    });
    fillRows(tables[first + run], form.rules);
  }
  form.touched.add(pointer);
  form.structure(`${pointer}/0/work`, `${rows.length} rows put into ${runs === 1 ? "the table" : `${runs} tables`}.`);
  return "";
}

/**
 * The row of an amount of work, or the one after the last.
 *
 * @param {RowDraft[]} table
 * @param {string} work
 * @param {SubmissionForm} form
 */
function rowOf(table, work, form) {
  const wanted = String(typed(work, { options: [] }, form.rules));
  const found = table.findIndex((row) => String(row.work) === wanted);
  return found < 0 ? table.length : found;
}
