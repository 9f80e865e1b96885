// The flat table of rules (aggregator/edgehold/records/rules/table.py), interpreted: which rule kinds there are and what each looks at.
// Limits, places, words and codes all come with the table.

import { factsOf, folded, gritOf, judged, levelOf } from "./levels.js";
import { rememberedOf, rememberingFor } from "./memory.js";
import { below, bind, blank, child, expand, lastPart, valueAt } from "./places.js";
import { REFERENCE_KINDS } from "./reference_kinds.js";
import { schemaFindings } from "./schema.js";
import { SENSE_KINDS } from "./sense_kinds.js";
import { general } from "./sentences.js";
import { STEEL_KINDS } from "./steel_kinds.js";
import { WrittenError, canonicalValue, findUnit } from "./units.js";

/**
 * @typedef {import("./places.js").Place} Place
 * @typedef {{ value: number | null, cure: string, unit: boolean }} Read a number in its canonical unit; `unit`: whether its unit is known
 * @typedef {Finding & { step: number }} SteppedFinding
 * @typedef {import("./sense.js").ReadRun} ReadRun
 * @typedef {{ runs?: (ReadRun | null)[], single?: number, far?: import("./sense.js").Far[][], units?: Map<number, string> }} Memo what several kinds ask for
 * @typedef {object} Context
 * @property {Named} record
 * @property {RegisterRules} rules
 * @property {Month} today
 * @property {SteppedFinding[]} found
 * @property {Map<string, Read>} numbers
 * @property {Memo} memo
 * @property {(entry: RuleEntry) => (ReadRun | null)[]} runsOf
 * @property {(unit: string, entry: RuleEntry) => number} factorOf how many canonical units one of a unit is
 * @property {(written: unknown, stars: number[], entry: RuleEntry) => number | null} workAt
 * @property {(item: unknown, stars: number[], entry: RuleEntry) => { value: number, limit: unknown }[] | null} valuesOf the repeats of a reading
 * @property {(quantity: unknown) => number | null} forceOf a force in newtons
 * @property {(entry: RuleEntry, run: number) => boolean} unread whether something of a run could not be read
 * @typedef {(pointer: string, stars: number[], cure?: string, asks?: string) => void} Say `asks`: a question in its own words
 * @typedef {(entry: RuleEntry, say: Say, context: Context) => void} Kind
 */

const LAST_STEP = 9; // rules that nothing else waits for

/**
 * Everything that is found in one record by itself and against its protocol: [{pointer, code, cure}].
 *
 * @param {Named} record plain JSON values
 * @param {FormRules} rules the form's rules
 * @param {Month} today month 1 to 12
 * @param {boolean} unfinished look at everything although the form of the record is not right yet
 * @returns {Finding[]}
 */
export function check(record, rules, today, unfinished = false) {
  const found = unfitTexts(record, rules);
  if (found.length && !unfinished) { return found; }
  found.push(...schemaFindings(rules.schema, record, rules.cures));
  if (found.length && !unfinished) { return found; }
  return [...found, ...tableFindings(record, rules, today)];
}

/**
 * Today as the rules want it.
 *
 * @param {Date} date
 * @returns {Month}
 */
export function thisMonth(date = new Date()) {
  return { year: date.getFullYear(), month: date.getMonth() + 1 };
}

/** The patterns of what no text may hold, and any of them at once. @type {(characters: FormRules["characters"]) => { tests: [code: string, test: RegExp][], any: RegExp }} */
const unfitOf = rememberedOf((characters) => ({
  tests: characters.map(({ code, pattern }) => [code, new RegExp(pattern, "u")]),
  any: new RegExp(characters.map(({ pattern }) => `(?:${pattern})`).join("|"), "u"),
}));

/**
 * @param {Named} record
 * @param {FormRules} rules
 * @returns {Finding[]}
 */
function unfitTexts(record, rules) {
  const { tests, any } = unfitOf(rules.characters);
  /** @type {Finding[]} */
  const found = [];
  /** @type {[pointer: string, value: unknown][]} */
  const waiting = [["", record]];
  for (let next = waiting.pop(); next; next = waiting.pop()) {
    const [pointer, value] = next;
    if (typeof value === "string") {
      if (any.test(value)) { tests.filter(([, test]) => test.test(value)).forEach(([code]) => found.push({ pointer, code, cure: "" })); }
    } else if (value !== null && typeof value === "object") {
      for (const [name, inside] of Object.entries(value)) {
        if (any.test(name)) { tests.filter(([, test]) => test.test(name)).forEach(([code]) => found.push({ pointer, code, cure: "" })); }
        waiting.push([below(pointer, name), inside]);
      }
    }
  }
  return found;
}

/**
 * @param {Named} record
 * @param {FormRules} rules
 * @param {Month} today
 */
function tableFindings(record, rules, today) {
  const registers = /** @type {FormRules & RegisterRules} */ (rules); // without them no table holds a kind that asks for them
  /** @type {Context} */
  const context = {
    record, rules: registers, today, found: [], numbers: new Map(), memo: {},
    runsOf: (entry) => readRuns(entry, context),
    factorOf: (unit, entry) => /** @type {number} */ (read(1, unit, entry.goal, context).value),
    workAt: (written, stars, { work }) => workAt(written, stars, work, context),
    valuesOf: (item, stars, entry) => valuesOf(item, { pointer: "", value: item, stars }, 0, entry, context),
    forceOf: (quantity) => read(child(quantity, "written"), child(quantity, "unit"), null, context).value,
    unread: (entry, run) => blocked(entry, [run], context.found),
  };
  const steps = rules.table.map((entry) => /** @type {const} */ ([entry.step ?? LAST_STEP, entry])).sort(([a], [b]) => a - b);
  for (const [step, entry] of steps) {
    /** @type {Say} */
    const say = (pointer, stars, cure = "", asks = "") => {
      if (!blocked(entry, stars, context.found) && holds(entry.when, stars, record)) { context.found.push({ pointer, code: entry.code, cure, asks, step }); }
    };
    KINDS[entry.rule](entry, say, context);
  }
  return context.found.map(({ pointer, code, cure, asks }) => (asks ? { pointer, code, cure, asks } : { pointer, code, cure }));
}

/**
 * Whether an earlier step found something inside a place without which this rule cannot look.
 *
 * @param {RuleEntry} entry
 * @param {number[]} stars
 * @param {SteppedFinding[]} found
 */
function blocked(entry, stars, found) {
  return Object.entries(entry.unless ?? {}).some(([scope, step]) => {
    const place = bind(scope, stars);
    return found.some((f) => f.step <= step && (f.pointer === place || f.pointer.startsWith(`${place}/`)));
  });
}

/**
 * Whether what a rule is bound to is so: other places hold a word or nothing (is), or a month that comes before or after one.
 *
 * @param {RuleEntry["when"]} when
 * @param {number[]} stars
 * @param {Named} record
 */
function holds(when, stars, record) {
  return [when ?? []].flat().every(({ at, is, before, after }) => {
    const value = valueAt(record, bind(at, stars)) ?? null;
    if (before !== undefined) { return typeof value === "string" && value < before; }
    return after === undefined ? value === is : typeof value === "string" && value > after;
  });
}

/**
 * A number in its canonical unit, or null where it cannot be read: {value, cure}.
 *
 * @param {unknown} written
 * @param {unknown} unit
 * @param {string | null} goal
 * @param {Context} context
 * @returns {Read}
 */
function read(written, unit, goal, { rules, numbers }) {
  const key = JSON.stringify([written, unit, goal]), known = numbers.get(key);
  if (known) { return known; }
  const made = reading(written, unit, goal, rules);
  numbers.set(key, made);
  return made;
}

/**
 * @param {unknown} written
 * @param {unknown} unit
 * @param {string | null} goal
 * @param {RegisterRules} rules
 * @returns {Read}
 */
function reading(written, unit, goal, rules) {
  const known = blank(unit) ? null : findUnit(unit, rules.units);
  if (!known) { return { value: null, cure: "", unit: false }; }
  const base = rules.units.find((u) => u.kind === known.kind && u.factor === "1" && u.offset === "0");
  try {
    return { value: canonicalValue(written, unit, goal ?? base?.id, rules), cure: "", unit: true };
  } catch (error) {
    if (!(error instanceof WrittenError)) { throw error; }
    return { value: null, cure: error.cure, unit: true };
  }
}

/**
 * The number at a place of an entry of the table whose unit stands elsewhere.
 *
 * @param {{ stars: number[], value?: unknown }} place
 * @param {RuleEntry} entry
 * @param {Context} context
 * @param {unknown} written
 */
function numberAt(place, entry, context, written = place.value) {
  return read(written, valueAt(context.record, bind(entry.unit, place.stars)), entry.goal, context);
}

/**
 * An amount of work in the protocol's unit; the checkpoint itself where it is one but for rounding.
 *
 * @param {unknown} written
 * @param {number[]} stars
 * @param {WorkPlace} work
 * @param {Context} context
 */
function workAt(written, stars, { unit, goal, checkpoints, even }, context) {
  const { value } = read(written, valueAt(context.record, bind(unit, stars)), goal, context);
  if (value === null) { return null; }
  return checkpoints.find((point) => Math.abs(value - point) <= even * Math.max(point, 1e-6)) ?? value;
}

/**
 * The limit that a value has by itself: 0 or under the resolution, or over the scale's end.
 *
 * @param {number} value
 * @param {RuleEntry} entry
 */
function ownLimit(value, { resolution, scale_end: end, even }) {
  if (value <= 0 || (resolution !== null && value < resolution * (1 - even))) { return "below"; }
  return end !== null && value > end * (1 + even) ? "above" : null;
}

/** @type {(text: string) => number} */
const monthNumber = (text) => Number(text.slice(0, 4)) * 12 + Number(text.slice(5, 7)) - 1;
/**
 * @param {unknown} text
 * @returns {text is string}
 */
const isMonth = (text) => typeof text === "string" && /^[0-9]{4}-[0-9]{2}$/u.test(text);
/** @type {(value: unknown) => unknown[]} */
const listOf = (value) => (Array.isArray(value) ? value : []);

/**
 * Repeats of a reading as numbers with their limits, or null where one cannot be read.
 *
 * @param {unknown} item
 * @param {Place} place
 * @param {number} n
 * @param {RuleEntry} entry
 * @param {Context} context
 */
function valuesOf(item, place, n, entry, context) {
  const stars = [...place.stars, n], values = [];
  for (const value of listOf(child(item, "values"))) {
    const read = numberAt({ stars, value: child(value, "written") }, entry, context);
    if (read.value === null) { return null; }
    values.push({ value: read.value, limit: child(value, "limit") ?? ownLimit(read.value, entry) });
  }
  return values;
}

/**
 * The runs as the rules of sense look at them; null where one could not be read.
 *
 * @param {RuleEntry} entry
 * @param {Context} context
 */
function readRuns(entry, context) {
  return listOf(child(context.record, "runs")).map((run, number) => (
    context.unread(entry, number) ? null : readBefore(entry, JSON.stringify(run), () => readRun(run, number, entry, context))));
}

/** Runs as they were read when they stood so the last time. @type {(owner: object, name: string, work: () => ReadRun | null) => ReadRun | null} */
const readBefore = rememberingFor(1000);

/**
 * @param {unknown} run
 * @param {number} number
 * @param {RuleEntry} entry
 * @param {Context} context
 * @returns {ReadRun | null}
 */
function readRun(run, number, entry, context) {
  const unit = child(run, "reading_unit"), readings = listOf(child(run, "readings"));
  if (blank(unit) || !readings.length) { return null; }
  const rows = readings.map((item) => {
    const work = workAt(child(item, "work"), [number], entry.work, context), cells = cellsOf(item, number, entry, context);
    return work === null || cells === null ? null : { work, cells };
  });
  const factor = read(1, unit, entry.goal, context).value;
  if (factor === null || rows.includes(null)) { return null; }
  const hand = JSON.stringify([child(run, "tester") ?? null, child(run, "instrument") ?? null]);
  return { rows: rows.filter((row) => row !== null), unit, factor, hand };
}

/**
 * @param {unknown} item
 * @param {number} number
 * @param {RuleEntry} entry
 * @param {Context} context
 */
function cellsOf(item, number, entry, context) {
  const written = listOf(child(item, "values")), values = valuesOf(item, { pointer: "", value: item, stars: [number] }, 0, entry, context);
  return values && values.map(({ value, limit }, n) => {
    const mark = child(written[n], "limit"), text = child(written[n], "written");
    return { value, limit, mark: blank(mark) ? null : String(mark), text: typeof text === "number" ? general(text) : String(text) };
  });
}

/**
 * Say something at every place where a test holds.
 *
 * @param {(place: Place, entry: RuleEntry, context: Context) => string | boolean | null | undefined} test
 * @returns {Kind}
 */
function where(test) {
  return (entry, say, context) => {
    for (const place of expand(context.record, entry.at)) {
      const cure = test(place, entry, context);
      if (cure !== false && cure !== null && cure !== undefined) { say(place.pointer, place.stars, cure === true ? "" : cure); }
    }
  };
}

/**
 * Say something of every run that stands so to the entry's levels.
 *
 * @param {(found: import("./levels.js").Judged) => boolean} test
 * @returns {Kind}
 */
function whereJudged(test) {
  return (entry, say, context) => {
    const facts = factsOf(context.rules);
    listOf(child(context.record, "runs")).forEach((run, number) => {
      if (test(judged(entry.levels, context.record, run, facts))) { say(bind(entry.at, [number]), [number]); }
    });
  };
}

/**
 * The same for a list of readings: the test gives the places below it.
 *
 * @param {(place: Place & { value: unknown[] }, entry: RuleEntry, context: Context) => string[]} test
 * @returns {Kind}
 */
function inReadings(test) {
  return (entry, say, context) => {
    for (const place of expand(context.record, entry.at)) {
      if (Array.isArray(place.value)) { test(place, entry, context).forEach((name) => say(`${place.pointer}${name}`, place.stars)); }
    }
  };
}

/** @type {(place: Place, entry: RuleEntry, context: Context) => (number | null)[]} */
const worksOf = (place, entry, context) => listOf(place.value).map((item) => workAt(child(item, "work"), place.stars, entry.work, context));

/**
 * Numbers of two runs that name each other, at the later of them; null elsewhere.
 * @param {Place} place of a partner
 * @param {Named} record
 */
function pairAt({ value, stars: [at] }, record) {
  const runs = listOf(child(record, "runs")), other = runs.slice(0, at).findIndex((run) => child(run, "id") === value);
  return other < 0 || child(runs[other], "partner") !== child(runs[at], "id") ? null : [other, at];
}

/** @param {number} run @param {Named} record */
function edgeOf(run, record) {
  const wanted = child(listOf(child(record, "runs"))[run], "preparation");
  return listOf(child(record, "preparations")).find((preparation) => child(preparation, "id") === wanted);
}

/** @type {Dictionary<Kind>} */
export const KINDS = {
  unique(entry, say, { record }) {
    const seen = new Set();
    for (const { pointer, value, stars } of expand(record, entry.at)) {
      const key = JSON.stringify([stars.slice(0, -1), value]);
      if (seen.has(key)) { say(pointer, stars); }
      seen.add(key);
    }
  },
  "one of": where(({ value }, entry, { record }) => !entry.beside?.includes(String(value)) && !expand(record, entry.among).some((known) => known.value === value)),
  only: where(({ value }, entry) => !entry.words.includes(value) && `write ${entry.words.join(" or ")}`),
  never: where(({ value }, entry) => entry.words.includes(value)),
  "not after": where(({ value }, entry, { today }) => isMonth(value) && monthNumber(value) > today.year * 12 + today.month - 1 + entry.months),
  "not before": where(({ value }, entry, { today }) => isMonth(value) && monthNumber(value) < today.year * 12 + today.month - 1 + entry.months),
  needed(entry, say, { record }) {
    const cut = entry.at.lastIndexOf("/"), name = lastPart(entry.at);
    for (const { pointer, value, stars } of expand(record, entry.at.slice(0, cut))) {
      if (blank(child(value, name))) { say(below(pointer, name), stars, entry.cure); }
    }
  },
  unused: where(() => true),
  filled(entry, say, { record }) {
    const cut = entry.at.lastIndexOf("/"), name = lastPart(entry.at);
    for (const { pointer, value, stars } of expand(record, entry.at.slice(0, cut))) {
      if (!listOf(child(value, name)).length) { say(below(pointer, name), stars); }
    }
  },
  told: where(() => true),
  since: where(({ value }, entry) => isMonth(value) && value < entry.month),
  matches: where(({ value }, entry) => typeof value === "string" && new RegExp(entry.pattern, "u").test(value)),
  "one kind": where(({ value }, entry) => entry.names.filter((name) => !blank(child(value, name))).length !== 1),
  "at most": where(({ value, stars }, entry, { record }) => {
    const limit = entry.limit ?? child(entry.limits, valueAt(record, bind(entry.by, stars)));
    return typeof value === "number" && value > limit;
  }),
  unit: where(({ value }, entry, { rules }) => {
    const known = typeof value === "string" ? findUnit(value, rules.units) : null;
    const fits = known && (entry.kinds ? entry.kinds.includes(known.kind) : entry.units?.some((u) => findUnit(u, rules.units)?.id === known.id));
    return !fits && (entry.units ? `use ${entry.units.join(" or ")}` : true);
  }),
  number: where((place, entry, context) => {
    const { value, unit, cure } = numberAt(place, entry, context);
    return unit && value === null && cure;
  }),
  "not negative": where((place, entry, context) => {
    const { value } = numberAt(place, entry, context);
    return value !== null && value < 0;
  }),
  agrees: where((place, entry, context) => {
    const { value } = numberAt(place, entry, context, valueAt(context.record, bind(entry.written, place.stars)));
    return value !== null && value >= (entry.least ?? -Infinity) && Math.abs(place.value - value) > entry.within * Math.abs(value);
  }),
  rising: inReadings((place, entry, context) => {
    const works = worksOf(place, entry, context);
    return works.flatMap((work, n) => {
      const before = n > 0 ? works[n - 1] : null;
      return work !== null && before !== null && work <= before ? [`/${n}/work`] : [];
    });
  }),
  near: where((place, entry, context) => {
    const work = workAt(place.value, place.stars, entry.work, context);
    if (work === null) { return false; }
    const nearest = entry.work.checkpoints.reduce((best, point) => (Math.abs(point - work) < Math.abs(best - work) ? point : best));
    return Math.abs(work - nearest) > entry.within * nearest;
  }),
  repeats: where(({ value }, entry) => listOf(value).length !== entry.wanted && `give all ${entry.wanted} repeats, if they were read`),
  begins: inReadings((place, entry, context) => {
    const works = worksOf(place, entry, context);
    return works.length && works.every((work) => work !== null && work > 0) ? [""] : [];
  }),
  settled: inReadings((place) => {
    const outcomes = listOf(place.value).map((item) => listOf(child(item, "outcomes")));
    const fails = outcomes.findIndex((some) => some.includes("fail"));
    const passes = outcomes.findIndex((some, n) => fails >= 0 && n > fails && some.includes("pass"));
    return passes < 0 ? [] : [`/${passes}/outcomes`];
  }),
  "two edges"(entry, say, { record }) {
    const list = listOf(child(record, "preparations"));
    const parted = list.map((p, n) => ({ n, blade: child(p, "blade"), who: JSON.stringify([child(p, "sharpener"), child(p, "condition") ?? null]), part: child(p, "edge_part") ?? "whole" })).filter((p) => p.part !== "whole");
    /** @param {typeof parted} edges whether everybody sharpened every part, in each condition that is compared */
    const everyPartByAll = (edges) => {
      const [parts, people] = [edges.map((p) => p.part), edges.map((p) => p.who)].map((all) => new Set(all).size);
      return new Set(edges.map((p) => JSON.stringify([p.part, p.who]))).size === parts * people;
    };
    if (everyPartByAll(parted)) { return; } // swapped from one blade to another
    for (const blade of new Set(parted.map((p) => p.blade))) {
      const own = parted.filter((p) => p.blade === blade);
      if (new Set(own.map((p) => p.part)).size > 1 && !everyPartByAll(own)) { say(bind(entry.at, [own[0].n]), [own[0].n]); }
    }
  },
  "factory edge": where(({ value, stars }, entry, { record }) => {
    const edge = listOf(child(record, "preparations"))[stars[0]], by = entry.words.includes(String(value));
    return by !== entry.words.includes(String(child(edge, "start_state"))) || (by && !blank(child(edge, "condition")));
  }),
  partners: where(({ value, stars }, entry, { record }) => {
    const runs = listOf(child(record, "runs")), id = child(runs[stars[0]], "id"), other = runs.findIndex((run) => child(run, "id") === value);
    return other >= 0 && (other === stars[0] || child(runs[other], "partner") !== id);
  }),
  "partners share": where(({ value, stars }, entry, { record }) => {
    const runs = listOf(child(record, "runs")), own = runs[stars[0]], at = runs.findIndex((run) => child(run, "id") === value);
    if (at < 0 || at >= stars[0] || child(runs[at], "partner") !== child(own, "id")) { return false; }
    return (entry.shared ?? []).some((/** @type {string} */ name) => (child(own, name) ?? null) !== (child(runs[at], name) ?? null));
  }),
  "partner edges": where((place, entry, { record }) => {
    const pair = pairAt(place, record);
    if (pair === null) { return false; }
    const [one, other] = pair.map((run) => edgeOf(run, record));
    if (one === undefined || other === undefined) { return false; }
    const same = child(one, "blade") === child(other, "blade");
    return entry.same ? !same || (child(one, "edge_part") ?? "whole") === (child(other, "edge_part") ?? "whole") : same;
  }),
  "partners apart": where((place, entry, { record }) => {
    const pair = pairAt(place, record);
    if (pair === null) { return false; }
    const [one, other] = pair.map((run) => Number(child(listOf(child(record, "runs"))[run], "order")));
    return Math.abs(one - other) !== 1;
  }),
  "always first"(entry, say, { record }) {
    const runs = listOf(child(record, "runs"));
    /** @type {Map<string, { first: number, blade: unknown }[]>} */
    const began = new Map();
    for (const place of expand(record, "/runs/*/partner")) {
      const pair = pairAt(place, record)?.sort((a, b) => Number(child(runs[a], "order")) - Number(child(runs[b], "order")));
      const blades = (pair ?? []).map((run) => child(edgeOf(run, record), "blade"));
      if (pair && blades.every((blade) => blade !== undefined) && blades[0] !== blades[1]) {
        const both = JSON.stringify([...blades].sort());
        began.set(both, [...(began.get(both) ?? []), { first: pair[0], blade: blades[0] }]);
      }
    }
    for (const [{ first, blade }, ...rest] of began.values()) {
      if (rest.length && rest.every((start) => start.blade === blade)) { say(bind(entry.at, [first]), [first]); }
    }
  },
  "partner works": where((place, entry, context) => {
    const pair = pairAt(place, context.record);
    if (pair === null || pair.some((run) => context.unread(entry, run))) { return false; }
    const [one, other] = pair.map((run) => listOf(child(listOf(child(context.record, "runs"))[run], "readings"))
      .flatMap((item) => workAt(child(item, "work"), [run], entry.work, context) ?? []));
    if (!one.length || !other.length) { return false; }
    const reach = Math.min(Math.max(...one), Math.max(...other)) * (1 + entry.within);
    /** @type {(works: number[], there: number[]) => boolean} */
    const alone = (works, there) => works.some((w) => w > 0 && w <= reach && there.every((x) => Math.abs(w - x) > entry.within * w));
    return alone(one, other) || alone(other, one);
  }),
  steel: where(({ value }, entry, { rules }) => child(rules.steel_origins, folded(value, rules)) === undefined),
  "steel origin": where(({ value }, entry, { rules, record }) => {
    const origin = child(rules.steel_origins, folded(value, rules));
    return origin !== undefined && origin !== entry.origin && record.origin === entry.origin;
  }),
  grit: where(({ value, stars }, entry, { rules, record }) => {
    const system = valueAt(record, bind(entry.system, stars));
    return !blank(system) && gritOf(system, value, rules) === undefined;
  }),
  size: where(({ value, stars }, entry, { rules, record }) => {
    const [system, grit] = [entry.system, entry.grit].map((name) => valueAt(record, bind(name, stars)));
    const size = blank(system) || blank(grit) ? undefined : gritOf(system, grit, rules);
    return size !== undefined && (value / size > entry.factor || value / size < 1 / entry.factor);
  }),
  "no level": whereJudged((found) => !found.fits.length && levelOf(found) === null),
  "two levels": whereJudged(({ fits }) => fits.length > 1),
  "other level": whereJudged(({ written, against }) => written !== null && against.includes(written)),
  "level unshown": whereJudged((found) => levelOf(found) !== null && !found.fits.length),
  ...SENSE_KINDS,
  ...REFERENCE_KINDS,
  ...STEEL_KINDS,
};
