// @ts-check
// A or B? Two names are chosen, and the page that compares them opens, or it is said at once what would compare them. What is chosen
// stands in the address.

import { make } from "../form/dom.js";
import { folded } from "../form/levels.js";
import { say } from "../plan/words.js";
import { combobox } from "./combobox.js";
import { exchangeOf, pageOf, whyNever } from "./exchange.js";

/** @typedef {import("./exchange.js").Thing} Thing */

/** @param {string} name */
const at = (name) => /** @type {HTMLElement} */ (document.getElementById(`choose-${name}`));
/** @type {import("./exchange.js").Rules} */
const rules = JSON.parse(/** @type {string} */ (at("rules").textContent));
/** @type {(name: string, values?: import("../plan/words.js").Values) => string} */
const says = (name, values = {}) => say(rules.says, name, values);
const fields = { a: /** @type {HTMLInputElement} */ (at("a")), b: /** @type {HTMLInputElement} */ (at("b")) };
/** @typedef {keyof typeof fields} Side */
/** @type {{ a: ?Thing, b: ?Thing }} */
const chosen = { a: null, b: null };
const spellings = new Map(rules.things.map((thing) => [thing, [thing.label, thing.name, ...thing.names].map((name) => folded(name, rules))]));

/** @param {Side} side @returns {Side} */
const across = (side) => (side === "a" ? "b" : "a");

/** What may stand beside what is chosen on the other side. @param {Side} side */
function possible(side) {
  const other = chosen[across(side)];
  return other ? rules.things.filter((thing) => !whyNever(thing, other)) : rules.things;
}

/** What a text fits, names that begin with it first. @param {Side} side @param {string} text */
function offered(side, text) {
  const wanted = folded(text, rules), mine = chosen[side];
  const all = mine && text === mine.label ? possible(side) : possible(side).filter((thing) => spellings.get(thing)?.some((name) => name.includes(wanted)));
  const first = (/** @type {Thing} */ thing) => Number(!spellings.get(thing)?.some((name) => name.startsWith(wanted)));
  return [...all].sort((one, other) => first(one) - first(other));
}

/** What a whole text names: one thing alone. @param {Side} side @param {string} text */
function exact(side, text) {
  const wanted = folded(text, rules);
  const named = (/** @type {Thing[]} */ things) => things.filter((thing) => spellings.get(thing)?.includes(wanted));
  const found = [possible(side), rules.things].map(named).find((things) => things.length === 1);
  return found ? found[0] : null;
}

/** @param {string} code @param {import("../plan/words.js").Values} [values] */
const line = (code, values) => make("p", {}, says(code, values));

/** Whether somebody is at a field and what stands in it fits something. @param {Side} side */
const typing = (side) => document.activeElement === fields[side] && offered(side, fields[side].value).length > 0;

/** What is said of what is chosen. @returns {(Node | null)[]} */
function answer() {
  const unknown = /** @type {Side[]} */ (["a", "b"]).find((side) => !chosen[side] && fields[side].value.trim() && !typing(side));
  if (unknown) { return [line("unknown", { text: fields[unknown].value.trim() })]; }
  const { a, b } = chosen;
  if (!a || !b) { return [line(a || b ? "choose_other" : "choose_two")]; }
  const never = whyNever(a, b), names = { first: a.label, second: b.label };
  if (never) { return [line(never, { ...names, name: (a.group ? a : b).label })]; }
  const page = pageOf(a, b, rules);
  if (page) { return [make("p", { class: "finding" }, make("a", { href: page.address }, says("page", names))), page.ratio ? null : line("page_open")]; }
  const { code, values, links } = exchangeOf(a, b, rules);
  return [
    make("p", { class: "finding" }, make("strong", {}, says("nothing", names)), " ", says(code, values)),
    make("ul", {}, links.map(([name, given, address]) => make("li", {}, make("a", { href: address }, says(name, given))))),
    make("p", { class: "note" }, make("a", { href: rules.safety }, says("law")), "."),
  ];
}

/** Say it, and keep what is chosen in the address. */
function show() {
  at("answer").replaceChildren(...answer().filter((part) => part !== null));
  const words = new URLSearchParams(Object.entries(chosen).flatMap(([side, thing]) => (thing ? [[side, thing.key]] : [])));
  window.history.replaceState(null, "", words.size ? `?${words}` : window.location.pathname);
}

/** @type {{ a: ReturnType<typeof combobox>, b: ReturnType<typeof combobox> }} */
const boxes = { a: begin("a"), b: begin("b") };

/** @param {Side} side */
function begin(side) {
  fields[side].addEventListener("blur", show);
  return combobox(fields[side], at(`${side}-list`), {
    offered: (text) => offered(side, text),
    exact: (text) => exact(side, text),
    changed: (thing) => {
      chosen[side] = thing;
      const other = across(side), left = thing ? possible(other) : [];
      if (left.length === 1 && !fields[other].value) { boxes[other].set(left[0]); } else { show(); }
    },
    counted: (things) => { at("count").textContent = says("matches", { things }); },
  });
}

at("form").addEventListener("submit", (event) => {
  event.preventDefault();
  const { a, b } = chosen, page = a && b && !whyNever(a, b) ? pageOf(a, b, rules) : null;
  if (page) { window.location.assign(page.address); return; }
  show();
  if (!a || !b) { fields[a ? "b" : "a"].focus(); }
});

at("off").remove();
at("root").hidden = false;
const asked = new URLSearchParams(window.location.search);
for (const side of /** @type {Side[]} */ (["a", "b"])) {
  const thing = rules.things.find(({ key }) => key === asked.get(side));
  if (thing) { chosen[side] = thing; fields[side].value = thing.label; }
}
show();
