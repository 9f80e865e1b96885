// Choose the evidence yourself: the address says which pair and what is left out, and everything is drawn from it.

import { button, make } from "../form/dom.js";
import { answerOf } from "./answer.js";
import { everything, readChoice, writeChoice } from "./choice.js";
import { Ticks, refreshRules, rulesForm, whichPair } from "./controls.js";
import { pointsOf } from "./prediction.js";
import { Plots, numbers, published, told } from "./view.js";
import { Words } from "./words.js";

/** @type {import("./words.js").Rules} */
const rules = JSON.parse(at("data").textContent ?? "");
const words = new Words(rules), points = pointsOf(rules.draws);
/** @type {Map<string, Promise<import("./choice.js").Pair>>} */
const files = new Map();
const state = { choice: readChoice(location.search), pair: /** @type {?import("./choice.js").Pair} */ (null), asked: 0 };
const own = {
  mark: make("h2", { id: "explore-own-head" }), result: make("p", { class: "result", role: "status" }), numbers: make("dl", { class: "numbers" }),
  copied: make("span", { class: "quiet", role: "status" }),
};
at("own").replaceChildren(own.mark, own.result, own.numbers, make("p", { class: "actions" }, button(words.say("again"), () => choose(putBack)), button(words.say("copy"), copy), own.copied));
at("root").hidden = false;
const plots = new Plots(at("plots"), words, rules.scale), ticks = new Ticks(at("ticks"), words, choose, submissionPage);

/** @param {string} name @returns {HTMLElement} */
function at(name) { return /** @type {HTMLElement} */ (document.getElementById(`explore-${name}`)); }

/** A submission's published page. @param {string} id */
function submissionPage(id) {
  const { origin = "", protocol = "" } = state.pair ?? {};
  return `../../submissions/${origin}/${protocol}/${encodeURIComponent(id)}/`;
}

/** Everything of the same pair again. @param {import("./choice.js").Choice} choice */
function putBack(choice) { Object.assign(choice, everything(choice.pool, choice.pair, choice.endpoint)); }

async function copy() {
  try {
    await navigator.clipboard.writeText(location.href);
    own.copied.textContent = words.say("copied");
  } catch { own.copied.textContent = words.say("not_copied"); }
}

/** A change of what is kept: the address first, then the figures. @param {(choice: import("./choice.js").Choice) => void} change */
function choose(change) {
  change(state.choice);
  history.pushState(null, "", `?${writeChoice(state.choice)}`);
  redraw();
}

/** Another pair or endpoint; submissions left out one by one stay out where they are met again. @type {(pool: string, pair: string, endpoint: string) => void} */
function goTo(pool, pair, endpoint) {
  const same = pool === state.choice.pool && pair === state.choice.pair;
  state.choice = same ? { ...state.choice, endpoint } : everything(pool, pair, endpoint);
  settle();
  history.pushState(null, "", `?${writeChoice(state.choice)}`);
  open();
}

/** Fill in what the address leaves open: the pair with most submissions comes first where none is named. @returns {boolean} whether what it names is there */
function settle() {
  const { choice } = state, pool = rules.pools.find(({ id }) => id === choice.pool) ?? (choice.pool ? undefined : rules.pools[0]);
  const pair = pool?.pairs.find(({ id }) => id === choice.pair) ?? (choice.pair ? undefined : pool?.pairs[0]);
  if (pool && pair) { Object.assign(choice, { pool: pool.id, pair: pair.id }); }
  return Boolean(pair);
}

/** Load the pair that the choice names, and show it. */
async function open() {
  const found = settle(), turn = state.asked += 1;
  ask(null);
  if (!found) { unable("no_such_pair"); return; }
  const listed = /** @type {import("./words.js").ListedPair} */ (rules.pools.find(({ id }) => id === state.choice.pool)?.pairs.find(({ id }) => id === state.choice.pair));
  if (state.pair?.pair !== listed.id || state.pair.pool !== state.choice.pool) { at("status").textContent = words.say("loading"); }
  try {
    const pair = await load(listed.file);
    if (turn !== state.asked) { return; }
    show(pair, listed);
  } catch {
    files.delete(listed.file);
    if (turn === state.asked) { unable("no_file"); }
  }
}

/** Which pair is asked for; whoever was choosing there goes on where they were. @param {?import("./choice.js").Pair} pair */
function ask(pair) {
  const focused = document.activeElement?.id ?? "";
  at("ask").replaceChildren(...whichPair(rules.pools, pair ?? state.pair, state.choice, words, goTo));
  if (focused.startsWith("explore-")) { document.getElementById(focused)?.focus(); }
}

/** @param {string} why */
function unable(why) {
  state.pair = null;
  at("answer").hidden = true;
  at("status").replaceChildren(make("p", { class: "banner" }, words.say(why)));
}

/** @param {string} file */
function load(file) {
  const known = files.get(file) ?? fetch(new URL(`../../data/${file}`, import.meta.url)).then((got) => {
    if (!got.ok) { throw new Error(`${got.status}`); }
    return got.json();
  });
  files.set(file, known);
  return known;
}

/** @param {import("./choice.js").Pair} pair @param {import("./words.js").ListedPair} listed */
function show(pair, { page }) {
  const { choice } = state;
  state.pair = pair;
  if (!pair.endpoints.some(({ id }) => id === choice.endpoint)) { choice.endpoint = (pair.endpoints.find(({ primary }) => primary) ?? pair.endpoints[0]).id; }
  at("status").replaceChildren();
  at("answer").hidden = false;
  ask(pair);
  if (ticks.pair !== pair) {
    at("rules-form").replaceChildren(rulesForm(pair, choice, words, choose));
    ticks.fill(pair, () => state.choice);
    at("published").dataset.page = page;
  }
  redraw();
}

/** Everything that hangs on what is kept. */
function redraw() {
  const { pair, choice } = state, endpoint = pair?.endpoints.find(({ id }) => id === choice.endpoint);
  if (!pair || !endpoint) { return; }
  const shown = { pair, endpoint, choice, answer: answerOf(pair, endpoint, choice, points) };
  own.mark.textContent = words.mark(pair);
  own.result.textContent = told(shown, words);
  own.numbers.replaceChildren(...numbers(shown.answer, words));
  own.copied.textContent = "";
  at("published").replaceChildren(...published(shown, words, at("published").dataset.page ?? ""));
  refreshRules(choice);
  ticks.refresh();
  plots.show(shown);
}

addEventListener("popstate", () => {
  state.choice = readChoice(location.search);
  open();
});
document.querySelectorAll("#explore-root form").forEach((form) => form.addEventListener("submit", (event) => event.preventDefault()));
open();
