// One field: its label and help from the schema, a control that fits its type, and a place for what the check says of it.

import { idOf, inForm, inWords, make } from "./dom.js";
import { bind, blank, expand, lastPart, patternOf, put, valueAt } from "./places.js";
import { typed } from "./record.js";

/**
 * @typedef {Record<"input" | "change" | "focusout", () => void>} Doings what is done at each event of a control
 * @typedef {{ id: string, name: string, help: string, described: string, needed: boolean, optional: boolean }} About
 * @typedef {{ before: HTMLElement | null, controls: HTMLElement[], element: HTMLElement }} Built
 * @typedef {{ of: string, list: () => string[] }} Choices
 */

const LONG_TEXT = 1000; // characters; from here a text has more than one line
const FEW_WORDS = 3; // so many are shown at once

/**
 * A field of one value; `node` is its schema, `more` {label, needed, optional: whether all around it may be left out}.
 *
 * @param {PageForm} form
 * @param {string} pointer
 * @param {DescribedNode} node
 * @param {{ label?: string, needed?: boolean, optional?: boolean }} more
 */
export function field(form, pointer, node, { label, needed = false, optional = false } = {}) {
  const name = label ?? inWords(lastPart(pointer));
  const id = idOf(pointer), help = inForm(node.text ?? node.description ?? "");
  const said = make("p", { class: "said", id: idOf(pointer, "said"), hidden: true });
  const about = help && !("const" in node) ? make("p", { class: saidAbove(pointer) ? "help sr" : "help", id: idOf(pointer, "help") }, help) : null;
  const described = `${about ? `${about.id} ` : ""}${said.id}`;
  const built = control(form, pointer, node, { id, name, help, described, needed, optional });
  register(form, pointer, built.controls, said, name);
  return make("div", { class: "field" }, built.before, about, built.element, said);
}

/** Whether the entry before has the same help to read: then it is for those alone who hear the form. @param {string} pointer */
export const saidAbove = (pointer) => /\/[1-9]\d*(\/|$)/u.test(pointer);

/**
 * Where findings about a place are shown, for a field or a part of the form.
 *
 * @param {PageForm} form
 * @param {string} place
 * @param {HTMLElement[]} controls
 * @param {HTMLElement} said
 * @param {string} name
 */
export function register(form, place, controls, said, name = "") {
  /** @type {Spot} */
  const spot = {
    place,
    name,
    focus: () => { openAround(controls[0] ?? said); (controls[0] ?? said).focus(); },
    say(found) {
      if (!found.length && said.hidden) { return; } // as it was
      said.hidden = !found.length;
      said.replaceChildren(...found.map(({ text, grave }) => make("span", { class: grave ? "grave" : "mild" }, text)));
      const grave = found.some((finding) => finding.grave);
      controls.forEach((one) => (grave ? one.setAttribute("aria-invalid", "true") : one.removeAttribute("aria-invalid")));
      if (grave && form.all) { openAround(said); }
    },
  };
  form.spots.set(place, spot);
  form.distinct.push(spot);
  return spot;
}

/**
 * Unfold every part that an element lies in.
 *
 * @param {HTMLElement} element
 */
export function openAround(element) {
  for (let part = element.closest("details"); part; part = part.parentElement?.closest("details") ?? null) { part.open = true; }
}

/**
 * The first control of an element, which may be one itself.
 *
 * @param {HTMLElement | null} element
 * @returns {HTMLElement | null}
 */
export function controlIn(element) {
  return element?.matches("input, select, textarea, button") ? element : element?.querySelector("input, select, textarea") ?? null;
}

/**
 * When a name is changed that other places refer to, they go with it.
 *
 * @param {PageForm} form
 * @param {string} pointer
 * @param {Doings} on
 * @returns {Doings}
 */
function followed(form, pointer, on) {
  const users = form.rules.table.filter((entry) => entry.rule === "one of" && entry.among === patternOf(pointer)).map((entry) => entry.at);
  if (!users.length) { return on; }
  const now = () => valueAt(form.kept.draft, pointer);
  let before = now();
  const change = () => {
    on.change();
    const listed = expand(form.kept.draft, patternOf(pointer)).map(({ value }) => value);
    if (!blank(before) && before !== now() && !listed.includes(before)) {
      users.flatMap((at) => expand(form.kept.draft, at)).filter(({ value }) => value === before).forEach((place) => put(form.kept.draft, place.pointer, now()));
    }
    before = now();
    form.left(pointer);
  };
  return { ...on, change };
}

/**
 * What somebody did in a control: the value is written at once, and checked when the field is left.
 *
 * @param {PageForm} form
 * @param {string} pointer
 * @param {DescribedNode} node
 * @param {() => unknown} get
 * @returns {Doings}
 */
export function writes(form, pointer, node, get) {
  const write = () => {
    form.typed(pointer);
    put(form.kept.draft, pointer, get());
    form.changed();
  };
  return { input: write, change: () => { write(); form.left(pointer); }, focusout: () => form.left(pointer) };
}

/**
 * @param {PageForm} form
 * @param {string} pointer
 * @param {DescribedNode} node
 * @param {About} about
 * @returns {Built}
 */
function control(form, pointer, node, about) {
  const words = choicesOf(form, pointer, node);
  if ("const" in node) { return tick(form, pointer, node, about); }
  if (words.of === "schema" && about.needed && words.list().length <= FEW_WORDS) {
    return radios(form, pointer, node, about.optional ? ["", ...words.list()] : words.list(), about);
  }
  if (words.of) { return select(form, pointer, node, words, about); }
  return text(form, pointer, node, about);
}

/**
 * The words to choose from: those of the schema, those the protocol accepts, or what the form itself names elsewhere.
 *
 * @param {PageForm} form
 * @param {string} pointer
 * @param {DescribedNode} node
 * @returns {Choices}
 */
function choicesOf(form, pointer, node) {
  const own = patternOf(pointer), { rules } = form;
  const { enum: listed } = node;
  if (listed) { return { of: "schema", list: () => listed }; }
  if (rules.layout.choices[own]) { return { of: "protocol", list: () => rules.layout.choices[own] }; }
  const rule = rules.table.find((entry) => entry.rule === "one of" && entry.at === own);
  if (!rule) { return { of: "", list: () => [] }; }
  const list = () => [...new Set(expand(form.kept.draft, bind(rule.among, [])).map(({ value }) => String(value)))];
  return { of: "form", list };
}

/**
 * @param {PageForm} form
 * @param {string} pointer
 * @param {DescribedNode} node
 * @param {About} about
 * @returns {Built}
 */
function tick(form, pointer, node, { id, help, name, described }) {
  const box = make("input", { type: "checkbox", id, "aria-describedby": described });
  box.checked = valueAt(form.kept.draft, pointer) === node.const;
  const on = writes(form, pointer, node, () => (box.checked ? node.const : ""));
  box.addEventListener("change", on.change);
  box.addEventListener("focusout", on.focusout);
  return { before: null, controls: [box], element: make("div", { class: "tick" }, box, make("label", { for: id }, help || name)) };
}

/**
 * @param {PageForm} form
 * @param {string} pointer
 * @param {DescribedNode} node
 * @param {string[]} words
 * @param {About} about
 * @returns {Built}
 */
function radios(form, pointer, node, words, { id, name, described }) {
  const now = valueAt(form.kept.draft, pointer);
  const boxes = words.map((word, n) => {
    const box = make("input", { type: "radio", id: n ? `${id}-${n}` : id, name: id, value: word });
    box.checked = (now ?? "") === word;
    const on = writes(form, pointer, node, () => words[boxes.findIndex((other) => other.checked)] ?? "");
    box.addEventListener("change", on.change);
    box.addEventListener("focusout", on.focusout);
    return box;
  });
  const lines = boxes.map((box) => make("div", { class: "tick" }, box, make("label", { for: box.id }, box.value || "not stated")));
  const group = make("div", { role: "radiogroup", "aria-labelledby": `${id}-name`, "aria-describedby": described, class: "radios" }, lines);
  return { before: make("p", { class: "label", id: `${id}-name` }, name), controls: [boxes[0]], element: group };
}

/**
 * @param {PageForm} form
 * @param {string} pointer
 * @param {DescribedNode} node
 * @param {Choices} words
 * @param {About} about
 * @returns {Built}
 */
function select(form, pointer, node, words, { id, name, described, needed }) {
  const box = make("select", { id, "aria-describedby": described });
  const refresh = () => {
    const now = valueAt(form.kept.draft, pointer), listed = words.list();
    const all = blank(now) || listed.includes(now) ? listed : [...listed, String(now)];
    if (JSON.stringify(all) !== box.dataset.listed) {
      box.dataset.listed = JSON.stringify(all);
      box.replaceChildren(make("option", { value: "" }, needed ? "choose" : "not known"), ...all.map((word) => make("option", { value: word }, word)));
    }
    const word = blank(now) ? "" : String(now);
    if (box.value !== word) { box.value = word; }
  };
  refresh();
  form.refreshers.push(refresh);
  const on = writes(form, pointer, node, () => box.value);
  box.addEventListener("change", on.change);
  box.addEventListener("focusout", on.focusout);
  return { before: make("label", { for: id }, name), controls: [box], element: box };
}

/**
 * @param {PageForm} form
 * @param {string} pointer
 * @param {DescribedNode} node
 * @param {About} about
 * @returns {Built}
 */
function text(form, pointer, node, { id, name, described }) {
  const lines = String(valueAt(form.kept.draft, pointer) ?? "").includes("\n"); // one line would show them as one
  const long = lines || (node.maxLength ?? 0) >= LONG_TEXT, numeric = node.type === "number" || node.type === "integer";
  const steel = form.rules.table.some((entry) => entry.rule === "steel" && entry.at === patternOf(pointer));
  const box = make(long ? "textarea" : "input", {
    id, "aria-describedby": described, autocomplete: "off", autocapitalize: "none", spellcheck: long ? null : "false",
    inputmode: numeric ? "decimal" : null, rows: long ? 4 : null, list: steel ? "form-steels" : null, class: numeric ? "short" : null, placeholder: form.rules.layout.like[patternOf(pointer)] ?? null,
  });
  const show = () => {
    const now = valueAt(form.kept.draft, pointer);
    const words = blank(now) ? "" : String(now);
    if (document.activeElement !== box && box.value !== words) { box.value = words; }
  };
  show();
  form.refreshers.push(show);
  const on = followed(form, pointer, writes(form, pointer, node, () => typed(box.value, node, form.rules)));
  Object.entries(on).forEach(([event, does]) => box.addEventListener(event, does));
  return { before: make("label", { for: id }, name), controls: [box], element: box };
}
