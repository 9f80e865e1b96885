// @ts-check
// The planner of "Do it tonight": reads its rules from the page, plans while somebody answers, and hands the plan on to the form.

import { draw, make } from "../form/dom.js";
import { Drafts, localStorageOrNone } from "../form/draft.js";
import { shownCard } from "../form/fitting.js";
import { absent, additions } from "./adds.js";
import { inEvenings as tenths, planCard } from "./card.js";
import { keyOf, neededOf, sheetOf } from "./paper.js";
import { planned } from "./planned.js";
import { asksForEdges, halves, inTurn, levelsOf, practiceMinutes, primary, runMinutes } from "./what_fits.js";
import { say } from "./words.js";

/** @typedef {import("./planned.js").Shown} Shown */
/** @typedef {import("./planned.js").Question} Question */
/** @typedef {import("./what_fits.js").Protocol} Protocol */

const FACTORY = "factory", PLAN_FORMAT = "plan/1.4.0", LARGEST_SEED = 2 ** 53, WIDE = 300, HIGH = 14, LONGEST_WAY = 60;
/** Fields of a preparation by the fact that a level may be told by, where words are written there. @type {{[fact: string]: string}} */
const FACTS = { strop: "strop", deburring: "deburring", "start state": "start_state", condition: "condition" };

/** @param {string} name */
const at = (name) => /** @type {HTMLElement} */ (document.getElementById(`plan-${name}`));
const rules = JSON.parse(/** @type {string} */ (at("rules").textContent));
/** @type {(name: string, values?: import("./words.js").Values) => string} */
const says = (name, values = {}) => say(rules.says, name, values);

const state = { seed: freshSeed() };

/** A seed that nobody can guess. */
function freshSeed() {
  const [high, low] = crypto.getRandomValues(new Uint32Array(2));
  return ((high & 0x1FFFFF) * 2 ** 32 + low) % LARGEST_SEED;
}

/** @param {string} name @returns {string} what is chosen of several */
const chosen = (name) => /** @type {HTMLInputElement} */ (document.querySelector(`[name="plan-${name}"]:checked`)).value;

/**
 * A number that somebody typed; an empty field is null where that is allowed.
 * @param {string} name
 * @returns {?number}
 */
function typed(name) {
  const field = /** @type {HTMLInputElement} */ (at(name)), text = field.value.trim().replace(",", "."), value = Number(text);
  const low = Number(field.min), high = Number(field.max);
  if (!text && !field.required) { return null; }
  if (!text || !(value >= low && value <= high) || (field.step === "1" && !Number.isInteger(value))) {
    const label = /** @type {HTMLLabelElement} */ (document.querySelector(`label[for="plan-${name}"]`));
    field.focus();
    throw new RangeError(says("number_wrong", { name: /** @type {string} */ (label.textContent), given: text || "nothing", low, high }));
  }
  return value;
}

/** Handles, those typed first. @returns {string[]} */
function handles() {
  const typedNames = /** @type {HTMLInputElement} */ (at("handles")).value.toLowerCase().split(/[\s,;]+/u).filter((name) => /^[a-z0-9][a-z0-9-]{0,29}[a-z0-9]$/u.test(name));
  return [...new Set([...typedNames, "first", "second", "third"])].slice(0, 3);
}

/** @param {string} name @returns {string} what is typed or chosen from a list */
const valueOf = (name) => /** @type {HTMLInputElement | HTMLSelectElement} */ (at(name)).value;

/** The two ways of one person, as handle and condition. @param {string} one */
function ways(one) {
  const typedWays = [...new Set(valueOf("ways").split(",").map((way) => way.replace(/[()]/gu, "").trim().slice(0, LONGEST_WAY)).filter(Boolean))];
  if (typedWays.length !== 2) { at("ways").focus(); throw new RangeError(says("ways_wrong", { given: valueOf("ways").trim() || "nothing" })); }
  return typedWays.map((way) => `${one} (${way})`);
}

/** Who does what, by whose edges are compared and how many people there are. @param {Protocol} protocol @returns {Pick<Question, "sharpeners" | "testers" | "coder" | "alone">} */
function people(protocol) {
  const [one, two, three] = handles(), here = chosen("people"), both = protocol.question.factor === "sharpener", whose = both ? valueOf("whose") : "people";
  if (whose === "before") { return { sharpeners: [`${one} (${says("before")})`, one], testers: [one], coder: null, alone: true }; }
  if (whose === "factory") { return { sharpeners: [FACTORY, one], testers: [one], coder: null, alone: true }; }
  if (whose === "ways") { return { sharpeners: ways(one), testers: [here === "alone" ? one : two], coder: here === "three" ? three : null, alone: false }; }
  const made = (/** @type {string} */ handle) => (levelsOf(protocol).length ? levelsOf(protocol).map(({ word }) => `${handle} (${word})`) : [handle]);
  if (here === "alone") { return { sharpeners: both ? [two, one] : made(one), testers: [one], coder: null, alone: true }; }
  if (here === "two") { return both ? { sharpeners: [one, two], testers: [one, two], coder: null, alone: false } : { sharpeners: made(two), testers: [one], coder: two, alone: false }; }
  return both ? { sharpeners: [two, three], testers: [one], coder: two, alone: false } : { sharpeners: made(three), testers: [one], coder: two, alone: false };
}

/** @returns {Question} */
function question() {
  const protocol = /** @type {Protocol} */ (rules.protocols.find((/** @type {Protocol} */ one) => one.id === chosen("question")));
  const who = people(protocol), [owner] = handles(), metres = typed("metres");
  const least = asksForEdges(protocol) ? 1 : 2, blades = Math.max(least, Number(typed("blades")));
  return {
    protocol: protocol.id,
    blades: Array.from({ length: blades }, (_, n) => `${owner}.blade-${n + 1}`),
    ...who,
    stock: {
      lots_m: metres === null ? [] : [metres],
      mm_per_unit: protocol.work.kind === "length" ? 1000 : rules.figures.mm_per_cut,
      minutes: Number(typed("minutes")),
      evenings: Number(typed("evenings")),
      runs_a_hand: protocol.minutes.parts?.runs_a_hand ?? rules.figures.runs_a_hand,
      most_runs: null,
      steel_mm: rules.figures.steel_mm,
    },
  };
}

/** @param {number} share */
const inEvenings = (share) => tenths(rules.says, share);

/** @param {string} title */
const lower = (title) => title.slice(0, 1).toLowerCase() + title.slice(1);

/** One design: a sentence and a bar. @param {Shown} shown */
function designed({ design, shows }) {
  const { asked, fits } = design, [lesser, larger] = shows.seen;
  if (!Number.isFinite(shows.half_width)) { return [make("p", {}, says("one_half", { runs: fits.runs, last: asked.last, units: asked.protocol.units }))]; }
  const width = says("width_short", { width: Math.exp(shows.half_width) });
  const text = says("design", { runs: fits.runs, last: asked.last, units: asked.protocol.units, title: lower(asked.rule.title), width, seen15: inEvenings(lesser), seen20: inEvenings(larger) });
  const bar = draw("svg", { viewBox: `0 0 ${WIDE} ${HIGH}`, class: "share", "aria-hidden": "true", preserveAspectRatio: "none" },
    draw("rect", { class: "share-all", width: WIDE, height: HIGH }), draw("rect", { class: "share-more", width: WIDE * larger, height: HIGH }), draw("rect", { class: "share-less", width: WIDE * lesser, height: HIGH }));
  return [make("p", {}, text), bar];
}

/** What an exchange, a friend's table and a second evening add. @param {Shown} first */
function more({ design: { asked }, runs }) {
  const left = absent(asked), again = left.some((name) => name === FACTORY || takenApart(name).condition !== null) ? says("back_other") : says("back_again", { names: namesOf(left) });
  const back = left.length ? again : "";
  const things = says(asksForEdges(asked.protocol) ? "add_edges" : "add_blades");
  return additions(asked, runs, state.seed).map(({ kind, shows }) => {
    const [lesser, larger] = shows.seen;
    const told = Number.isFinite(shows.half_width)
      ? says("add_told", { width: says("width_short", { width: Math.exp(shows.half_width) }), seen15: inEvenings(lesser), seen20: inEvenings(larger) }) : says("add_never");
    return make("li", {}, says(kind, { things, told, back }));
  });
}

/** Everything about the design that will be done. @param {Shown} first */
function plan(first) {
  const { design, runs } = first, { asked, fits, changes } = design, { protocol } = asked, minutes = runMinutes(protocol, rules.figures, asked.last);
  const most = Math.max(...runs.map((run) => runs.filter((other) => other.evening === run.evening).length));
  const whole = practiceMinutes(protocol) + most * minutes.whole;
  /** @type {Element[]} */
  const out = designed(first);
  if (out.length > 1) { out.push(make("p", { class: "quiet" }, says("bar"))); }
  if (changes.length) {
    out.push(make("p", {}, says("changed_head")), make("ul", {}, changes.map((change) => make("li", {}, says(change.code, { ...change.values, units: protocol.units })))));
  }
  if (!asked.rule.primary) {
    out.push(make("p", {}, says("not_primary", { title: lower(primary(protocol).title), last: asked.last, units: protocol.units, judged: lower(asked.rule.title) })));
  }
  if (asked.rule.kind === "life") { out.push(make("p", {}, says("life_at_best"))); }
  out.push(make("p", {}, says("minutes", { minutes: whole, practice: practiceMinutes(protocol), run: minutes.whole, sharpening: minutes.sharpening, readings: minutes.readings, cutting: minutes.cutting })));
  out.push(make("details", {}, make("summary", {}, says("needs_head", { things: 1 + protocol.needs.length })), make("ul", {}, make("li", {}, says("buy", { metres: fits.buy_m, medium: protocol.medium.name, lots: says("lots", { lots: Math.max(1, asked.stock.lots_m.length) }), runs: fits.runs, run: fits.run_m })), protocol.needs.map((need) => make("li", {}, `${need.item} (${need.where})`)))));
  return out;
}

/** The drawn order as a table. @param {Shown} first */
function order({ design, runs }) {
  const { asked } = design, coded = asked.coder !== null, paired = inTurn(asked), parted = halves(asked), manyEvenings = new Set(runs.map((run) => run.evening)).size > 1;
  const heads = ["Run", manyEvenings && "Evening", coded && "Code", "Sharpened by", "Blade", parted && "Half", paired && "In turn with", "Cut and read by", "Begin at (m)"].filter(Boolean);
  /** @param {import("./orders.js").PlannedRun} run */
  const cells = (run) => [run.order, manyEvenings && run.evening, coded && run.code, run.sharpener, run.blade, parted && run.edge_part, paired && run.partner, run.tester, run.coil_position_m].filter((cell) => cell !== false);
  const table = make("table", {}, make("caption", {}, says("order_caption")), make("thead", {}, make("tr", {}, heads.map((head) => make("th", { scope: "col" }, head)))),
    make("tbody", {}, runs.map((run) => make("tr", {}, cells(run).map((cell, n) => make(n ? "td" : "th", n ? {} : { scope: "row" }, String(cell)))))));
  const notes = [says("run_end", { last: asked.last, units: asked.protocol.units }), asked.protocol.design.order];
  if (coded) { notes.unshift(says("codes_for", { coder: /** @type {string} */ (asked.coder), testers: asked.testers.join(" and ") })); }
  if (asked.alone && asked.protocol.question.factor === "sharpener") { notes.unshift(says(halves(asked) ? "alone_half_note" : "alone_note", { other: namesOf(absent(asked)) })); }
  return [make("div", { class: "table", tabindex: "0", role: "region", "aria-label": says("order_caption") }, table), ...notes.map((note) => make("p", {}, note)), make("p", { class: "quiet" }, says("drawn_seed", { seed: String(state.seed) }))];
}

/** The month that it is. */
function thisMonth() {
  const now = new Date();
  return `${now.getFullYear()}-${String(now.getMonth() + 1).padStart(2, "0")}`;
}

/** The plan as the program writes it. @param {Shown} first */
function planFile({ design, runs }) {
  const { asked } = design, month = thisMonth();
  const [owner] = handles();
  return {
    format: PLAN_FORMAT,
    id: `${asked.coder ?? owner}-plan-${month}-${state.seed.toString(36).slice(-4)}`,
    protocol: { id: asked.protocol.id, version: asked.protocol.version },
    origin: "measured",
    month,
    endpoint: asked.rule.id,
    worthwhile_ratio: asked.ratio,
    planned_last_checkpoint: asked.last,
    seed: state.seed,
    blinding: asked.coder === null ? "none" : "helper coded",
    coder: asked.coder,
    runs: runs.map(({ sharpener, ...run }) => ({ ...run, ...madeBy(asked, sharpener) })),
    nonce: null,
    sha256: null,
  };
}

/** @param {Shown} first */
function save(first) {
  const file = planFile(first), link = make("a", { download: `${file.id}.json`, href: URL.createObjectURL(new Blob([`${JSON.stringify(file, null, 1)}\n`], { type: "application/json" })) });
  link.click();
  setTimeout(() => URL.revokeObjectURL(link.href), 1000);
}

/** The handle and the condition in `wren (before the course)`. @param {string} name @returns {{sharpener: string, condition: ?string}} */
function takenApart(name) {
  const found = /^([^ ()]+) \(([^()]+)\)$/u.exec(name);
  return found ? { sharpener: found[1], condition: found[2] } : { sharpener: name, condition: null };
}

/** Whose edge it is, and in which condition or to which level. @param {import("./what_fits.js").Occasion} asked @param {string} name */
function madeBy(asked, name) {
  const { sharpener, condition } = takenApart(name);
  return levelsOf(asked.protocol).length ? { sharpener, condition: null, level: condition } : { sharpener, condition, level: null };
}

/** What a preparation says of it: the sharpener, a stated condition, and the recorded fact of a level where a word stands for it. @param {import("./what_fits.js").Occasion} asked @param {string} name */
function prepared(asked, name) {
  const { sharpener, condition, level } = madeBy(asked, name), rule = levelsOf(asked.protocol).find(({ word }) => word === level)?.rule;
  const fact = rule && FACTS[rule.fact] && rule.words.length ? { [FACTS[rule.fact]]: rule.words[0] } : {};
  return { sharpener, ...(condition !== null && { condition }), ...fact };
}

/** Sharpeners in a sentence. @param {string[]} names */
const namesOf = (names) => names.map((name) => (name === FACTORY ? says("the_factory") : name)).join(" and ");

/** A draft of the form with people, blades and order, and the form opened on it. @param {Shown} first */
function openForm({ design, runs }) {
  const { asked } = design, { id, version } = asked.protocol, drafts = new Drafts(`submission/${id}/${version}`, localStorageOrNone());
  const named = [...new Set([...asked.testers, ...asked.sharpeners.map((name) => takenApart(name).sharpener)])].filter((handle) => handle !== FACTORY);
  const kept = drafts.fresh({
    people: named.map((handle) => ({ handle })),
    blades: asked.blades.map((key) => ({ key })),
    preparations: runs.map((run) => ({ id: `edge-${run.order}`, blade: run.blade, ...prepared(asked, run.sharpener), ...(halves(asked) && { edge_part: run.edge_part }), ...(run.sharpener === FACTORY && { start_state: FACTORY }) })),
    runs: runs.map((run) => ({
      id: `run-${run.order}`, order: run.order, evening: run.evening, preparation: `edge-${run.order}`, ...(run.partner && { partner: `run-${run.partner}` }), tester: run.tester, coil_position_m: run.coil_position_m,
      ...(levelsOf(asked.protocol).length && { level: madeBy(asked, run.sharpener).level }), blinding: asked.coder === null ? "none" : "helper coded", planned_last_checkpoint: asked.last,
    })),
  });
  if (!drafts.save(kept)) { status(says("not_kept")); return; }
  status(says("begun"));
  window.location.assign(/** @type {HTMLAnchorElement} */ (document.querySelector(`a[data-form="${id}"]`)).href);
}

/** Print one thing alone. @param {Element} paper */
function print(paper) {
  at("paper").replaceChildren(paper);
  window.addEventListener("afterprint", () => at("paper").replaceChildren(), { once: true });
  window.print();
}

/** @param {string} text */
function status(text) {
  at("status").textContent = text;
}

/** Put parts into a place, unless just these stand there: then nothing need be laid out again. @param {string} name @param {Node[]} parts */
function renew(name, parts) {
  const place = at(name), old = place.childNodes;
  if (old.length !== parts.length || parts.some((part, n) => !part.isEqualNode(old[n]))) { place.replaceChildren(...parts); }
}

/** @param {boolean} moves whether to lead on to the result */
function show(moves) {
  let shown;
  try {
    shown = planned(question(), rules, state.seed);
  } catch (error) {
    if (!(error instanceof RangeError)) { throw error; }
    status(error.message);
    return;
  }
  const [first, ...others] = shown, { cautions, id: protocol } = first.design.asked.protocol;
  renew("best", plan(first));
  renew("cautions", cautions.map((text) => make("li", {}, text)));
  renew("order", order(first));
  renew("steps", [".first", ".for-key"].flatMap((part) => neededOf(protocol, `${part} .hands`)));
  renew("full", neededOf(protocol, ".for-page"));
  renew("adds", more(first));
  renew("card", shownCard(planCard(first, rules, thisMonth()), rules.card.says, first.design.asked.protocol));
  renew("others", others.map((other) => make("li", {}, ...designed(other))));
  at("more").hidden = !others.length;
  at("result").hidden = false;
  at("sheet").onclick = () => print(sheetOf(first, rules, says));
  at("key").onclick = () => print(keyOf(first, says, String(state.seed)));
  at("save").onclick = () => save(first);
  at("form").onclick = () => openForm(first);
  status(says("ready", { designs: shown.length }));
  if (moves) { at("result").querySelector("h2")?.focus(); }
}

/** What is asked of sharpeners alone, and of two ways alone. */
function asksWhose() {
  const { question: { factor } } = rules.protocols.find((/** @type {Protocol} */ one) => one.id === chosen("question"));
  at("whose-line").hidden = factor !== "sharpener";
  at("ways-line").hidden = factor !== "sharpener" || valueOf("whose") !== "ways";
}

/** A link may bring the question along. */
function chooseAsked() {
  const asked = new URLSearchParams(window.location.search).get("question");
  const found = /** @type {HTMLInputElement[]} */ ([...document.querySelectorAll('[name="plan-question"]')]).find((one) => one.value === asked);
  if (found) { found.checked = true; }
}

function start() {
  at("off").remove();
  chooseAsked();
  at("root").hidden = false;
  at("ask").addEventListener("change", asksWhose);
  asksWhose();
  at("ask").addEventListener("submit", (event) => { event.preventDefault(); show(true); });
  at("again").onclick = () => { state.seed = freshSeed(); show(false); };
}

start();
