// What the form writes by itself (rules.layout.filled): only where nothing is written, and it follows what it is made of until
// somebody types something else. What was written so is kept beside the draft, by place.

import { below, blank, child, expand, lastPart, parts, valueAt } from "./places.js";
import { WrittenError, canonicalValue } from "./units.js";

/** @typedef {{ kept: Kept, rules: FormRules, today: Month, name: string }} About */

const LETTERS = "bcdfghjkmnpqrstvwxz23456789"; // nothing that reads as a word or as another sign

/**
 * A few signs that make an id differ from another evening's.
 *
 * @param {number} count
 * @param {() => number} random
 */
export function someSigns(count = 3, random = Math.random) {
  return Array.from({ length: count }, () => LETTERS[Math.floor(random() * LETTERS.length)]).join("");
}

/**
 * Fixed values, and everything that can be filled in.
 *
 * @param {Kept} kept
 * @param {FormRules} rules
 * @param {Month} today
 */
export function fill(kept, rules, today) {
  const { draft } = kept;
  for (const [pointer, value] of Object.entries(rules.layout.fixed)) {
    const names = parts(pointer).slice(0, -1), last = lastPart(pointer);
    const parent = names.reduce((tree, name) => (tree[name] ??= {}), /** @type {any} */ (draft));
    if (blank(parent[last])) { parent[last] = value; }
  }
  for (const entry of rules.layout.filled) {
    const cut = entry.at.lastIndexOf("/"), name = lastPart(entry.at);
    const make = WAYS[entry.with];
    if (!make) { continue; }
    const owners = cut ? expand(draft, entry.at.slice(0, cut)) : [{ pointer: "", value: draft, stars: [] }];
    owners.forEach((owner) => write(kept, below(owner.pointer, name), owner.value, name, () => make(entry, owner, { kept, rules, today, name })));
  }
}

/**
 * @param {Kept} kept
 * @param {string} pointer
 * @param {Named} owner
 * @param {string} name
 * @param {(now: unknown) => unknown} proposal
 */
function write(kept, pointer, owner, name, proposal) {
  const now = child(owner, name), own = child(kept.auto, pointer);
  if (!blank(now) && (own === undefined || now !== own)) { return; }
  const value = proposal(now);
  if (blank(now) && blank(value)) { return; }
  owner[name] = value;
  kept.auto[pointer] = value ?? "";
}

/**
 * Somebody typed here: the value no longer follows.
 *
 * @param {Kept} kept
 * @param {string} pointer
 */
export function typedHere(kept, pointer) {
  delete kept.auto[pointer];
}

/**
 * Places in a list have moved: what stands there is taken as typed.
 *
 * @param {Kept} kept
 * @param {string} pointer
 */
export function listMoved(kept, pointer) {
  Object.keys(kept.auto).filter((place) => place.startsWith(`${pointer}/`)).forEach((place) => delete kept.auto[place]);
}

/**
 * The number behind a text such as "run-3"; 0 where there is none.
 *
 * @type {(value: unknown, text: string) => number}
 */
const numberBehind = (value, text) => (String(value).startsWith(text) && Number(String(value).slice(text.length))) || 0;

/** @type {Dictionary<(entry: FilledEntry, owner: import("./places.js").Place, about: About) => unknown>} */
const WAYS = {
  number(entry, owner, { kept, name }) {
    /** @type {unknown[]} */
    const list = valueAt(kept.draft, owner.pointer.slice(0, owner.pointer.lastIndexOf("/")));
    if (!blank(owner.value[name])) { return owner.value[name]; }
    const next = 1 + Math.max(0, ...list.map((other) => numberBehind(child(other, name) ?? "", entry.text)));
    return entry.text ? `${entry.text}${next}` : next;
  },
  only(entry, owner, { kept }) {
    const known = [...new Set(expand(kept.draft, String(entry.of)).map(({ value }) => value))];
    return known.length === 1 ? known[0] : undefined;
  },
  previous(entry, owner, { kept, name }) {
    const place = owner.stars.at(-1) ?? 0;
    return place > 0 ? valueAt(kept.draft, `${owner.pointer.slice(0, owner.pointer.lastIndexOf("/"))}/${place - 1}/${name}`) : undefined;
  },
  value: (entry) => entry.value,
  "in turn": (entry, owner) => entry.of[(owner.stars.at(-1) ?? 0) % entry.of.length],
  // Runs come in twos that were cut in turn; the last of an odd number has no partner yet.
  partner(entry, owner, { kept }) {
    const list = valueAt(kept.draft, owner.pointer.slice(0, owner.pointer.lastIndexOf("/"))), place = owner.stars.at(-1) ?? 0;
    return child(list[place % 2 ? place - 1 : place + 1], "id");
  },
  month: (entry, owner, { today }) => `${today.year}-${String(today.month).padStart(2, "0")}`,
  same: (entry, owner, { kept }) => valueAt(kept.draft, String(entry.of)),
  id(entry, owner, { kept }) {
    const named = [entry.of].flat().map((pointer) => valueAt(kept.draft, pointer));
    return named.some(blank) ? undefined : [...named, kept.signs].join("-").slice(0, 63);
  },
};

/**
 * A row for every checkpoint that was not read, in order of work; rows that somebody wrote in stay as they are.
 *
 * @param {RunDraft} run a run, or a reference edge
 * @param {SubmissionRules} rules
 * @param {number[]} checkpoints
 */
export function fillRows(run, rules, checkpoints = rules.layout.grid.checkpoints) {
  const goal = rules.protocol.work.unit;
  const rows = (Array.isArray(run.readings) ? run.readings : []).filter((row) => !(row.auto && unread(row)));
  const read = rows.map((row) => amount(row.work, run.work_unit, goal, rules));
  const missing = checkpoints.filter((point) => !read.some((work) => work !== null && Math.abs(work - point) <= 0.02 * point));
  const blankRows = missing.map((point) => ({ work: amount(point, goal, run.work_unit, rules, 4) ?? point, auto: true, at: point }));
  const all = [...rows.map((row, n) => ({ row, at: read[n] ?? Infinity })), ...blankRows.map(({ at, ...row }) => ({ row, at }))];
  run.readings = all.sort((a, b) => a.at - b.at).map(({ row }) => row);
}

/**
 * Whether nothing was read in a row.
 *
 * @param {RowDraft} row
 */
export function unread(row) {
  const cells = [...(row.values ?? []).map((value) => value.written), ...(row.outcomes ?? []), row.note];
  return cells.every(blank);
}

/**
 * @param {Written} written
 * @param {unknown} unit
 * @param {unknown} goal
 * @param {UnitRules} rules
 * @param {number} digits
 */
function amount(written, unit, goal, rules, digits = 0) {
  try {
    const value = canonicalValue(written, unit, goal, rules);
    return digits ? Number(value.toPrecision(digits)) : value;
  } catch (error) {
    if (error instanceof WrittenError) { return null; }
    throw error;
  }
}
