// @ts-check
// A plan on paper: the sheet for the testing table, and the key for those who sharpen. In the marks of the program's own sheets (sheet.css).

import { make } from "../form/dom.js";
import { halves, inTurn, levelsOf } from "./what_fits.js";

/** @typedef {import("./planned.js").Shown} Shown */
/** @typedef {import("./planned.js").Rules} Rules */
/** @typedef {import("./orders.js").PlannedRun} PlannedRun */
/** @typedef {(name: string, values?: import("./words.js").Values) => string} Says */

/**
 * What is done at the testing table; under codes it says of no edge whose it is.
 * @param {Shown} shown
 * @param {Rules} rules
 * @param {Says} says
 */
export function sheetOf({ design: { asked }, runs }, rules, says) {
  const { protocol } = asked;
  return make("div", { class: "sheet" },
    make("section", { class: "first" }, make("h1", {}, `${protocol.title} ${protocol.version}`), ...neededOf(protocol.id, ".first")),
    make("p", {}, says("paper_order", { text: protocol.design.order })),
    runs.map((run) => runOf(run, asked, rules.ended)));
}

/**
 * Whose edge has which code: for whoever keeps it, and for those who sharpen.
 * @param {Shown} shown
 * @param {Says} says
 * @param {string} seed
 */
export function keyOf({ design: { asked }, runs }, says, seed) {
  const parted = halves(asked), paired = inTurn(asked), coded = asked.coder !== null;
  const sized = levelsOf(asked.protocol).some(({ rule }) => rule?.fact === "last abrasive");
  const heads = ["Run", "Code", "Sharpens", "Blade", parted && "Half", paired && "In turn with run", "What was done", sized && "Last abrasive, µm"].filter(Boolean);
  /** @param {PlannedRun} run */
  const cells = (run) => [run.order, run.code ?? "", run.sharpener, run.blade, parted && run.edge_part, paired && run.partner, "", sized && ""].filter((cell) => cell !== false);
  return make("div", { class: "sheet" }, make("section", { class: "key" },
    make("h2", {}, coded ? says("codes_for", { coder: /** @type {string} */ (asked.coder), testers: asked.testers.join(" and ") }) : "For those who sharpen"),
    make("p", {}, `${asked.protocol.design.order} ${asked.protocol.apex_start}`), make("p", { class: "small" }, says("drawn_seed", { seed })),
    make("table", { class: "drawn" }, make("thead", {}, row(heads.map(String), "th")), make("tbody", {}, runs.map((run) => row(cells(run).map(String), "td")))), ...neededOf(asked.protocol.id, ".for-key")));
}

/**
 * What the hands need of a method, as the page holds it ready: cautions, drawings and tables, the steps of those who sharpen, or the way to
 * its full text.
 * @param {string} protocol
 * @param {string} part
 */
export function neededOf(protocol, part) {
  const ready = /** @type {?HTMLTemplateElement} */ (document.getElementById(`plan-hands-${protocol}`));
  const found = ready?.content.querySelector(part)?.cloneNode(true);
  return found ? [...found.childNodes] : [];
}

/** @param {string[]} texts @param {"td" | "th"} cell */
const row = (texts, cell) => make("tr", {}, texts.map((text) => make(cell, {}, text)));

/** @param {PlannedRun} run @param {import("./what_fits.js").Occasion} asked @param {string[]} ended */
function runOf(run, asked, ended) {
  const { work, reading } = asked.protocol, outcome = reading.kind === "pass/fail", repeats = Array.from({ length: reading.repeats }, (_, n) => `${outcome ? "Pass or fail" : "Value"} ${n + 1}`);
  const marks = work.checkpoints.filter((w) => w <= asked.last), hidden = asked.coder !== null && asked.blades.length > 1;
  /** @type {[string, string][]} */
  const told = [
    asked.coder === null ? ["Sharpened by", run.sharpener] : ["Code", run.code ?? ""], ...(hidden ? [] : /** @type {[string, string][]} */ ([["Blade", run.blade]])), ["Tester", run.tester], ["Evening", String(run.evening)],
    ["Begin at, metres", String(run.coil_position_m)], ...(run.partner === null ? [] : /** @type {[string, string][]} */ ([...(halves(asked) ? [["Half", run.edge_part]] : []), ["In turn with run", halves(asked) ? String(run.partner) : `${run.partner}: ${run.order < run.partner ? "this" : "that"} one begins`]])),
    ...(outcome ? [] : /** @type {[string, string][]} */ ([[`Unit: ${reading.accepted_units.join(", ")}`, ""]])),
  ];
  return make("section", { class: "run" }, make("h2", {}, `Run ${run.order}`),
    make("dl", { class: "line" }, told.map(([name, value]) => make("div", {}, make("dt", {}, name), make("dd", {}, value)))),
    make("table", { class: "readings" }, make("thead", {}, row([`Work done (${work.unit})`, ...repeats, "Note"], "th")), make("tbody", {}, marks.map((w) => row([String(w), ...repeats.map(() => ""), ""], "td")))),
    make("p", { class: "ended" }, make("strong", {}, "Ended: "), ended.map((word) => make("span", {}, `☐ ${word} `))),
    ...(asked.coder === null ? [] : [make("dl", { class: "line" }, make("div", { class: "long" }, make("dt", {}, "Not told whose edge? Your guess"), make("dd", {})), make("div", {}, make("dt", {}, "How sure, 0 to 100 %"), make("dd", {})))]));
}
