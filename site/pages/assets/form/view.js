// The form, rendered from the schema: what is needed first, everything else folded away under "if you know it".

import { button, fold, idOf, inWords, make, surely, tell } from "./dom.js";
import { field, register } from "./fields.js";
import { listMoved } from "./fill.js";
import { grid } from "./grid.js";
import { below, blank, child, lastPart, parts, patternOf, put, valueAt } from "./places.js";
import { described } from "./schema.js";

/**
 * @typedef {{ needed?: boolean, optional?: boolean, section?: Section }} More
 * @typedef {{ kept: Kept<SubmissionDraft>, rules: SubmissionRules }} JoinedForm
 */

/**
 * All sections of the form.
 *
 * @param {SubmissionForm} form
 */
export function sections(form) {
  return form.rules.layout.sections.map((section) => {
    const inside = section.at.map((pointer) => value(form, pointer, schemaAt(form.rules.schema, pointer), { needed: needed(form, pointer), section }));
    const heading = make("h3", {}, section.title);
    return section.folded ? fold(`If you know it: ${section.title.charAt(0).toLowerCase()}${section.title.slice(1)}`, inside) : make("section", { class: "part" }, heading, inside);
  });
}

/** @type {(form: SubmissionForm, pointer: string) => boolean} */
const needed = ({ rules }, pointer) => (rules.schema.required ?? []).includes(parts(pointer)[0]);

/**
 * The schema of a place that needs no list to get to, with the text that stands where it is used.
 *
 * @param {SchemaNode} root
 * @param {string} pointer
 * @returns {DescribedNode}
 */
function schemaAt(root, pointer) {
  return parts(pointer).reduce((node, name) => property(node, name, root), root);
}

/**
 * @param {DescribedNode} node
 * @param {string} name
 * @param {SchemaNode} root
 * @returns {DescribedNode}
 */
function property(node, name, root) {
  const used = (node.properties ?? {})[name], found = described(used, root);
  return { ...found, text: used.description ?? found.description };
}

/**
 * @param {SubmissionForm} form
 * @param {string} pointer
 * @param {DescribedNode} node
 * @param {More} more
 * @returns {HTMLElement}
 */
function value(form, pointer, node, more) {
  if ([form.rules.layout.grid.at, form.rules.layout.grid.beside.at].includes(patternOf(pointer))) { return grid(form, pointer, titleOf(pointer)); }
  if (node.patternProperties) { return freeNames(form, pointer, node); }
  if (node.type === "array") { return list(form, pointer, node, more); }
  if (node.type === "object") { return object(form, pointer, node, !more.needed); }
  return field(form, pointer, node, more);
}

/** @param {string} pointer */
function titleOf(pointer) {
  const names = parts(pointer), n = names.findLastIndex((name) => /^[0-9]+$/u.test(name));
  const noun = names[n - 1].replace(/s$/u, "");
  return `${inWords(noun)} ${Number(names[n]) + 1}`;
}

/**
 * Fields of an object: those somebody must fill in, and the rest in a fold.
 *
 * @param {SubmissionForm} form
 * @param {string} pointer
 * @param {DescribedNode} node
 * @param {string[]} leave
 * @param {boolean} optional
 */
function fields(form, pointer, node, leave = [], optional = false) {
  const first = [], rest = [], { layout, schema } = form.rules;
  for (const name of Object.keys(node.properties ?? {})) {
    const place = below(pointer, name), pattern = patternOf(place);
    const unasked = layout.absent.includes(pattern) && blank(valueAt(form.kept.draft, place)); // what a file holds all the same is shown
    if (leave.includes(name) || layout.hidden.includes(pattern) || unasked || pattern in layout.fixed) { continue; }
    const way = layout.filled.find((entry) => entry.at === pattern)?.with;
    const must = (node.required ?? []).includes(name) || way === "previous";
    const part = () => value(form, place, property(node, name, schema), { needed: must, optional });
    if (must && way !== "number" && way !== "value") { first.push(part); } else { rest.push(part); }
  }
  return { first: first.map((part) => part()), rest: rest.map((part) => part()) };
}

/**
 * @param {HTMLElement[]} rest
 * @param {string} words
 */
function folded(rest, words = "If you know it") {
  return rest.length ? fold(words, rest) : null;
}

/**
 * A part of a record, such as an angle: its fields in a frame.
 *
 * @param {SubmissionForm} form
 * @param {string} pointer
 * @param {DescribedNode} node
 * @param {boolean} optional
 */
function object(form, pointer, node, optional) {
  const said = make("p", { class: "said", tabindex: "-1", id: idOf(pointer, "said"), hidden: true });
  register(form, pointer, [], said);
  const { first, rest } = fields(form, pointer, node, [], optional);
  const help = node.text ? make("p", { class: "help" }, node.text) : null;
  return make("fieldset", {}, make("legend", {}, inWords(lastPart(pointer))), help, said, first, rest);
}

/**
 * A list: a card an entry, and a button for one more.
 *
 * @param {SubmissionForm} form
 * @param {string} pointer
 * @param {DescribedNode} node
 * @param {{ section?: Section }} more
 */
function list(form, pointer, node, { section } = {}) {
  /** @type {unknown[]} */
  const entries = valueAt(form.kept.draft, pointer) ?? [];
  const item = described(node.items ?? {}, form.rules.schema);
  const name = inWords(lastPart(pointer)), noun = (section?.entry ?? name.replace(/s$/u, "")).toLowerCase();
  const said = make("p", { class: "said", tabindex: "-1", id: idOf(pointer, "said"), hidden: true });
  register(form, pointer, [], said);
  const cards = entries.map((entry, n) => card(form, pointer, n, item, noun)).concat(form.rules.layout.joined.list === pointer ? unused(form) : []);
  const add = button(`Add ${/^[aeiou]/u.test(noun) ? "an" : "a"} ${noun}`, () => addEntry(form, pointer), { id: idOf(pointer, "add") });
  const text = node.text ? make("p", { class: "help" }, node.text) : null;
  const inside = [text, said, cards, make("p", {}, add)];
  return section && !section.folded ? make("div", { class: "list" }, inside) : make("fieldset", {}, make("legend", {}, name), inside);
}

/**
 * @param {SubmissionForm} form
 * @param {string} pointer
 */
function addEntry(form, pointer) {
  const list = valueAt(form.kept.draft, pointer) ?? [];
  list.push({});
  put(form.kept.draft, pointer, list);
  const { joined } = form.rules.layout;
  if (joined.list === pointer) { joinNew(form, list.at(-1)); }
  form.structure(below(pointer, list.length - 1));
}

/**
 * A new run comes with a preparation of its own.
 *
 * @param {JoinedForm} form
 * @param {Named} entry
 */
function joinNew({ kept, rules }, entry) {
  const { joined, filled } = rules.layout;
  /** @type {Named[]} */
  const others = valueAt(kept.draft, joined.with) ?? [];
  const text = filled.find(({ at }) => at === `${joined.with}/*/${joined.by}`)?.text ?? "";
  const taken = new Set(others.map((other) => other[joined.by]));
  let number = others.length + 1;
  while (taken.has(`${text}${number}`)) { number += 1; }
  others.push({ [joined.by]: `${text}${number}` });
  put(kept.draft, joined.with, others);
  entry[joined.key] = `${text}${number}`;
}

/**
 * Runs and preparations for a new form.
 *
 * @param {JoinedForm} form
 * @param {number} count
 */
export function addJoined(form, count) {
  const { joined } = form.rules.layout;
  put(form.kept.draft, joined.list, Array.from({ length: count }, () => ({})));
  valueAt(form.kept.draft, joined.list).forEach((/** @type {Named} */ entry) => joinNew(form, entry));
}

/**
 * @param {SubmissionForm} form
 * @param {string} pointer
 * @param {number} n
 * @param {DescribedNode} item
 * @param {string} noun
 */
function card(form, pointer, n, item, noun) {
  const place = below(pointer, n), title = `${inWords(noun)} ${n + 1}`;
  const { joined } = form.rules.layout;
  const said = make("p", { class: "said", tabindex: "-1", id: idOf(place, "said"), hidden: true });
  register(form, place, [], said);
  const remove = surely(`Take ${title.toLowerCase()} out`, () => removeEntry(form, pointer, n));
  if (joined.list !== pointer) {
    const { first, rest } = fields(form, place, item);
    return make("fieldset", { class: "card", id: idOf(place), "data-title": title }, make("legend", {}, title), said, first, folded(rest), remove);
  }
  const own = fields(form, place, item, [joined.key]), before = joinedPart(form, place);
  const summary = make("summary", {});
  const words = () => tell(summary, runSummary(form, place, title));
  words();
  form.refreshers.push(words);
  const part = make("details", { class: "card", id: idOf(place), "data-title": title }, summary, said, before.first, own.first, folded([...before.rest, ...own.rest]), remove);
  part.open = form.opened.get(place) ?? n === 0;
  part.addEventListener("toggle", () => form.opened.set(place, part.open));
  return part;
}

/**
 * The schema of a list's entries.
 *
 * @type {(form: SubmissionForm, pointer: string) => DescribedNode}
 */
const entryOf = ({ rules }, pointer) => described(schemaAt(rules.schema, pointer).items ?? {}, rules.schema);

/**
 * The fields of the preparation that a run's card shows beside its own.
 *
 * @param {SubmissionForm} form
 * @param {string} place
 */
function joinedPart(form, place) {
  const { joined } = form.rules.layout;
  const key = valueAt(form.kept.draft, below(place, joined.key));
  /** @type {[others: Named[], runs: Named[]]} */
  const [others, runs] = [valueAt(form.kept.draft, joined.with) ?? [], valueAt(form.kept.draft, joined.list)];
  const n = others.findIndex((other) => other[joined.by] === key), mine = Number(lastPart(place));
  const firstUser = runs.findIndex((run) => run[joined.key] === key);
  if (n < 0 || firstUser !== mine) {
    const node = property(entryOf(form, joined.list), joined.key, form.rules.schema);
    return { first: [field(form, below(place, joined.key), node, { needed: true })], rest: [] };
  }
  const pointer = below(joined.with, n);
  const said = make("p", { class: "said", tabindex: "-1", id: idOf(pointer, "said"), hidden: true });
  register(form, pointer, [], said);
  const { first, rest } = fields(form, pointer, entryOf(form, joined.with));
  return { first: [said, ...first], rest: [make("fieldset", {}, make("legend", {}, "This sharpening"), rest)] };
}

/**
 * Preparations that no run uses: sharpened and never cut with, or left over in an opened file.
 *
 * @param {SubmissionForm} form
 */
function unused(form) {
  const { joined } = form.rules.layout, { draft } = form.kept;
  /** @type {[runs: Named[], others: Named[]]} */
  const [runs, others] = [valueAt(draft, joined.list) ?? [], valueAt(draft, joined.with) ?? []];
  const used = new Set(runs.map((run) => run[joined.key]));
  return others.flatMap((other, n) => {
    if (used.has(other[joined.by])) { return []; }
    const place = below(joined.with, n), title = `Sharpening without a run, ${other[joined.by] ?? n + 1}`;
    const said = make("p", { class: "said", tabindex: "-1", id: idOf(place, "said"), hidden: true });
    register(form, place, [], said);
    const { first, rest } = fields(form, place, entryOf(form, joined.with));
    const remove = surely("Take this sharpening out", () => {
      valueAt(draft, joined.with).splice(n, 1);
      listMoved(form.kept, joined.with);
      form.forget(joined.with);
      form.structure(null, "Taken out.", idOf(joined.list, "add"));
    });
    return [make("fieldset", { class: "card", id: idOf(place), "data-title": title }, make("legend", {}, title), said, first, folded(rest), remove)];
  });
}

/**
 * @param {SubmissionForm} form
 * @param {string} place
 * @param {string} title
 */
function runSummary({ kept, rules }, place, title) {
  const { joined, grid: { cells } } = rules.layout;
  /** @type {[run: RunDraft, others: PreparationDraft[]]} */
  const [run, others] = [valueAt(kept.draft, place) ?? {}, valueAt(kept.draft, joined.with) ?? []];
  const preparation = others.find((other) => other[joined.by] === run[joined.key]) ?? {};
  const read = (run.readings ?? []).filter((row) => (row[cells] ?? []).some((cell) => (cells === "values" ? child(cell, "written") : cell) || child(cell, "written") === 0)).length;
  const who = preparation.sharpener ? `, sharpened by ${preparation.sharpener}` : "";
  return `${title}${who} · ${read} of ${run.readings?.length ?? 0} checkpoints read`;
}

/**
 * @param {SubmissionForm} form
 * @param {string} pointer
 * @param {number} n
 */
function removeEntry(form, pointer, n) {
  /** @type {Named[]} */
  const list = valueAt(form.kept.draft, pointer);
  const { joined } = form.rules.layout;
  const [gone] = list.splice(n, 1);
  if (joined.list === pointer) {
    /** @type {Named[]} */
    const others = valueAt(form.kept.draft, joined.with) ?? [];
    const used = list.some((run) => run[joined.key] === gone[joined.key]);
    const at = others.findIndex((other) => other[joined.by] === gone[joined.key]);
    if (!used && at >= 0) { others.splice(at, 1); }
    listMoved(form.kept, joined.with);
  }
  listMoved(form.kept, pointer);
  form.forget(pointer);
  form.structure(null, "", idOf(pointer, "add"));
}

/**
 * Names that anybody may give, each with a value: chemical symbols and per cent.
 *
 * @param {SubmissionForm} form
 * @param {string} pointer
 * @param {DescribedNode} node
 */
function freeNames(form, pointer, node) {
  /** @type {Named[]} */
  const pairs = valueAt(form.kept.draft, pointer) ?? [];
  const said = make("p", { class: "said", tabindex: "-1", id: idOf(pointer, "said"), hidden: true });
  register(form, pointer, [], said);
  const inside = described(Object.values(node.patternProperties ?? {})[0], form.rules.schema);
  const rows = pairs.map((pair, n) => make("div", { class: "pair" },
    field(form, `${pointer}/${n}/name`, { type: "string" }, { label: "Symbol" }),
    field(form, `${pointer}/${n}/value`, { type: inside.type }, { label: "Per cent" })));
  const add = button("Add an element", () => {
    put(form.kept.draft, pointer, [...pairs, { name: "", value: "" }]);
    form.structure(`${pointer}/${pairs.length}/name`);
  }, { class: "quiet" });
  return make("fieldset", {}, make("legend", {}, inWords(lastPart(pointer))), make("p", { class: "help" }, node.text ?? ""), said, rows, make("p", {}, add));
}
