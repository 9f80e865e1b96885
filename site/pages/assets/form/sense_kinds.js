// Kinds of rules that ask about slips of the hand, once a run and by their place, as aggregator/edgehold/records/rules/sense_kinds.py.

import { rememberedOf, remembering } from "./memory.js";
import { bind, blank, child, valueAt } from "./places.js";
import { burr, copied, exact, farReadings, muchSharper, otherUnits, rowTwice, spread, strayLimits, unitOfOthers } from "./sense.js";
import { filled, general } from "./sentences.js";

/**
 * @typedef {import("./sense.js").ReadRun} ReadRun
 * @typedef {import("./sense.js").Far} Far
 * @typedef {import("./rules.js").Context} Context
 * @typedef {import("./rules.js").Kind} Kind
 * @typedef {import("./rules.js").Say} Say
 * @typedef {{ row: number, cell: number | null, told: string }} Asked what is asked at a reading, or at a whole checkpoint (cell null)
 * @typedef {(entry: RuleEntry, context: Context, run: ReadRun, number: number) => Asked[]} Test
 */

const ORDINALS = ["first", "second", "third", "fourth", "fifth"], MOST_PLACES = 4;
/** @type {Dictionary<string>} */
const SIGNS = { below: "<", above: ">" };

/** @type {(context: Context, name: string, values: Named) => string} */
const told = ({ rules }, name, values) => filled(rules.asks[name], values);

/**
 * The runs of a file as the rules of sense look at them; null where one could not be converted.
 *
 * @param {RuleEntry} entry
 * @param {Context} context
 * @returns {(ReadRun | null)[]}
 */
function runsOf(entry, context) {
  context.memo.runs ??= context.runsOf(entry);
  return context.memo.runs;
}

/** @typedef {ReturnType<typeof muchSharper>} Sharper */
/** By the spread of single readings, for a run in which nothing has changed. @type {(run: ReadRun) => (name: string, work: () => Far[]) => Far[]} */
const farBefore = rememberedOf(() => remembering(3));
/** @type {(run: ReadRun) => (name: string, work: () => Sharper) => Sharper} */
const sharperBefore = rememberedOf(() => remembering(3));

/**
 * The spread of single readings over all runs.
 *
 * @param {RuleEntry} entry
 * @param {Context} context
 */
function singleOf(entry, context) {
  context.memo.single ??= spread(runsOf(entry, context), entry.sense);
  return context.memo.single;
}

/**
 * @param {RuleEntry} entry
 * @param {Context} context
 * @returns {Far[][]}
 */
function farOf(entry, context) {
  if (!context.memo.far) {
    const single = singleOf(entry, context);
    context.memo.far = runsOf(entry, context).map((run) => (run ? farBefore(run)(String(single), () => farReadings(run, single, entry.sense)) : []));
  }
  return context.memo.far;
}

/**
 * What is asked of the unit, by run.
 *
 * @param {RuleEntry} entry
 * @param {Context} context
 * @returns {Map<number, string>}
 */
function doubtedUnits(entry, context) {
  context.memo.units ??= new Map(runsOf(entry, context).flatMap((run, number) => {
    const asked = run ? unitAsked(entry, context, run, number) : "";
    return asked ? [/** @type {[number, string]} */ ([number, asked])] : [];
  }));
  return context.memo.units;
}

/**
 * @param {RuleEntry} entry
 * @param {Context} context
 * @param {ReadRun} run
 * @param {number} number
 */
function unitAsked(entry, context, run, number) {
  const runs = runsOf(entry, context), { unit } = run;
  const factors = Object.fromEntries(entry.sense.units.map((name) => [name, context.factorOf(name, entry)]).filter(([, factor]) => factor !== run.factor));
  const fits = otherUnits(number, runs, factors, entry.sense);
  if (fits.length) {
    const numbers = run.rows.flatMap(({ cells }) => cells.filter(({ mark, value }) => mark === null && value > 0).map(({ value }) => value / run.factor));
    return told(context, "unit", { low: Math.min(...numbers), high: Math.max(...numbers), unit, fits: fits.join(" or ") });
  }
  const other = unitOfOthers(number, runs, entry.sense);
  return other ? told(context, "unit_of_others", { fits: other.unit, times: general(other.times, 2), unit }) : "";
}

/** @type {(entry: RuleEntry, context: Context, run: number, row: number, cell: number) => boolean} */
function silentAbout(entry, context, run, row, cell) {
  return doubtedUnits(entry, context).has(run) || farOf(entry, context)[run].some((far) => far.row === row && (far.cell === null || far.cell === cell));
}

/** @type {(entry: RuleEntry, work: number) => string} */
const workText = ({ work: { goal, plural } }, work) => `${general(work)} ${work === 1 ? goal : plural}`;

/** @type {(entry: RuleEntry, context: Context, work: number) => string} */
const atCheckpoint = (entry, context, work) => told(context, "at_checkpoint", { work: workText(entry, work) });

/** @type {(entry: RuleEntry, context: Context, work: number, cell: number) => string} */
function atReading(entry, context, work, cell) {
  return told(context, "at_reading", { work: workText(entry, work), which: told(context, ORDINALS[cell] ?? "later", {}) });
}

/**
 * One question for all places of a run: it stands at the first and names the others.
 *
 * @param {ReadRun} run
 * @param {number} number
 * @param {Asked[]} places
 * @param {RuleEntry} entry
 * @param {Say} say
 * @param {Context} context
 */
function onceARun(run, number, places, entry, say, context) {
  if (!places.length) { return; }
  const [{ row, cell, told: first }, ...others] = places;
  const names = others.map((one) => (one.cell === null ? atCheckpoint(entry, context, run.rows[one.row].work) : atReading(entry, context, run.rows[one.row].work, one.cell)));
  const listed = { told: first, places: names.slice(0, MOST_PLACES).join("; "), count: names.length - MOST_PLACES };
  const text = names.length > MOST_PLACES ? told(context, "also_more", listed) : names.length ? told(context, "also", listed) : first;
  say(`/runs/${number}/readings/${row}/values/${cell ?? 0}/written`, [number], "", text);
}

/** @type {(test: Test) => Kind} */
function eachRun(test) {
  return (entry, say, context) => runsOf(entry, context).forEach((run, number) => {
    if (run) { onceARun(run, number, test(entry, context, run, number), entry, say, context); }
  });
}

/**
 * What is asked of single values, once a run, and not of those that are asked about by their unit or their neighbours.
 *
 * @param {(entry: RuleEntry, context: Context, run: ReadRun, row: number, cell: number) => string} ask
 * @returns {Kind}
 */
function eachValue(ask) {
  return eachRun((entry, context, run, number) => run.rows.flatMap(({ cells }, row) => cells.flatMap((_, cell) => {
    const text = ask(entry, context, run, row, cell);
    return text && !silentAbout(entry, context, number, row, cell) ? [{ row, cell, told: text }] : [];
  })));
}

/** @type {(entry: RuleEntry, context: Context, run: ReadRun, far: Far) => string} */
function farText(entry, context, run, { row, cell, power, reference }) {
  const { work, cells } = run.rows[row];
  if (cell === null) { return told(context, power < 0 ? "row_high" : "row_low", { place: atCheckpoint(entry, context, work), times: 10 ** Math.abs(power) }); }
  const number = cells[cell].value / run.factor;
  const meant = power ? general(power < 0 ? number / 10 ** -power : number * 10 ** power) : turnedRound(number, reference / run.factor);
  const others = cells.filter((one, place) => place !== cell && exact(one)).map(({ text }) => text).join(" and ");
  return told(context, meant ? "slip" : "far", { place: atReading(entry, context, work, cell), value: cells[cell].text, unit: run.unit, others, meant });
}

/**
 * The number with two neighbouring digits exchanged that lies nearest to a reference, if within a quarter of it; or nothing.
 *
 * @param {number} number
 * @param {number} reference
 */
function turnedRound(number, reference) {
  const text = general(number);
  const turned = [...text].slice(1).flatMap((b, n) => {
    const a = text[n];
    return /[0-9]/u.test(a) && /[0-9]/u.test(b) && a !== b ? [general(Number(text.slice(0, n) + b + a + text.slice(n + 2)))] : [];
  });
  /** @type {(one: string) => number} */
  const off = (one) => Math.abs(Number(one) - reference);
  return turned.filter((one) => off(one) <= reference / 4).reduce((best, one) => (best === "" || off(one) < off(best) ? one : best), "");
}

/** @type {(entry: RuleEntry, context: Context, run: ReadRun, row: number, cell: number) => string} */
function ownLimitText(entry, context, { rows, unit }, row, cell) {
  const { mark, limit, text } = rows[row].cells[cell];
  return mark !== null || limit === null ? "" : told(context, "own_limit", { place: atReading(entry, context, rows[row].work, cell), value: text, unit, limit });
}

/** @type {(entry: RuleEntry, context: Context, run: ReadRun, row: number, cell: number) => string} */
function unlikelyText(entry, context, { rows, unit }, row, cell) {
  const { limit, value, text } = rows[row].cells[cell], low = entry.low ?? 0, high = entry.high ?? Infinity;
  if (limit !== null || (low <= value && value <= high)) { return ""; }
  return told(context, "unlikely", { place: atReading(entry, context, rows[row].work, cell), value: text, unit, number: value, goal: entry.goal, low, high });
}

/** @type {Kind} */
function copiedRuns(entry, say, context) {
  const runs = runsOf(entry, context);
  runs.forEach((run, later) => {
    for (const [earlier, other] of runs.slice(0, later).entries()) {
      const part = run && other ? copied(run, other, entry.sense) : null;
      if (!run || !part) { continue; }
      const names = { run: nameOf(context, later), other: nameOf(context, earlier) };
      const [first, last] = part.map((row) => workText(entry, run.rows[row].work));
      const whole = part[0] === 0 && part[1] === run.rows.length - 1;
      say(`/runs/${later}/readings/${part[0]}/values/0/written`, [later], "", told(context, whole ? "copied" : "copied_part", { ...names, first, last }));
      return;
    }
  });
}

/** @type {(context: Context, number: number) => string} */
const nameOf = ({ record }, number) => `'${valueAt(record, `/runs/${number}/id`) ?? number + 1}'`;

/** @type {(context: Context, entry: RuleEntry) => { run: any, number: number, last: number }[]} */
function lastWorks(context, entry) {
  /** @type {any[]} */
  const runs = Array.isArray(context.record.runs) ? context.record.runs : [];
  return runs.flatMap((run, number) => {
    const last = Array.isArray(child(run, "readings")) ? run.readings.at(-1) : undefined;
    const work = last === undefined ? null : context.workAt(child(last, "work"), [number], entry);
    return work === null || context.unread(entry, number) ? [] : [{ run, number, last: work }];
  });
}

/** @type {Kind} */
function ends(entry, say, context) {
  for (const { run, number, last } of lastWorks(context, entry)) {
    if (child(run, "ended") !== entry.is) { continue; }
    const planned = child(run, "planned_last_checkpoint");
    const end = blank(planned) ? /** @type {number} */ (entry.work.checkpoints.at(-1)) : context.workAt(planned, [number], entry);
    if (end !== null && last < end * (1 - entry.within)) {
      say(bind(entry.at, [number]), [number], "", told(context, "ends", { place: atCheckpoint(entry, context, last), planned: workText(entry, end) }));
    }
  }
}

/** @type {Kind} */
function beyond(entry, say, context) {
  for (const { run, number, last } of lastWorks(context, entry)) {
    const end = entry.work.checkpoints.find((point) => point > last) ?? last;
    /** @type {any[]} */
    const lots = Array.isArray(child(run, "lot_changes")) ? run.lot_changes : [];
    const changes = [["/tester_change_at_work", child(run, "tester_change_at_work")], ...lots.map((change, n) => [`/lot_changes/${n}/at_work`, child(change, "at_work")])];
    for (const [below, written] of changes) {
      const work = blank(written) ? null : context.workAt(written, [number], entry);
      if (work !== null && work > end * (1 + entry.within)) {
        say(`${bind(entry.at, [number])}${below}`, [number], "", told(context, "beyond", { at: workText(entry, work), place: atCheckpoint(entry, context, last) }));
      }
    }
  }
}

/** @type {(tree: unknown, list: string) => any[]} */
const ordered = (tree, list) => {
  const found = valueAt(tree, list);
  return Array.isArray(found) ? found.map((run, number) => ({ run, number })).sort((a, b) => child(a.run, "order") - child(b.run, "order")) : [];
};

/** @type {Kind} */
function asPlanned(entry, say, context) {
  const { record } = context, made = ordered(record, "/runs"), drawn = ordered(record, "/plan/opened/runs");
  if (![...made, ...drawn].every(({ run }) => typeof child(run, "order") === "number")) { return; }
  /** @type {any[]} */
  const preparations = Array.isArray(record.preparations) ? record.preparations : [];
  const stated = drawn.some(({ run }) => !blank(child(run, "condition"))); // a plan that states no conditions leaves them to the file
  /** @param {unknown} one */
  const by = (one) => (stated && !blank(child(one, "condition")) ? `${child(one, "sharpener")} (${child(one, "condition")})` : child(one, "sharpener"));
  const known = new Map(preparations.map((one) => [child(one, "id"), [child(one, "blade"), by(one)]]));
  if (!made.every(({ run }) => known.has(run.preparation))) { return; }
  /** @type {(name: unknown, level: unknown) => unknown} */
  const withLevel = (name, level) => (blank(level) ? name : `${name} (${level})`);
  const did = made.map(({ run }, n) => { // a level that is not written is taken as drawn
    const [blade, name] = /** @type {unknown[]} */ (known.get(run.preparation)), planned = drawn[n] && child(drawn[n].run, "level");
    return [blade, withLevel(name, blank(planned) ? null : child(run, "level") || planned), run.tester];
  });
  const wanted = drawn.map(({ run }) => [run.blade, blank(child(run, "condition")) ? withLevel(run.sharpener, child(run, "level")) : by(run), run.tester]);
  /** @type {(one: unknown[], two: unknown[]) => boolean} */
  const same = (one, two) => one.every((part, n) => part === two[n]);
  const first = did.findIndex((one, n) => n < wanted.length && !same(one, wanted[n]));
  if (first < 0) { return; }
  const other = did.findIndex((one, n) => n > first && n < wanted.length && same(one, wanted[first]) && same(wanted[n], did[first]));
  /** @type {(run: unknown[]) => string} */
  const text = ([blade, sharpener, tester]) => told(context, "run_drawn", { blade, sharpener, tester });
  const values = { order: drawn[first].run.order, planned: text(wanted[first]), done: text(did[first]), other: drawn[other]?.run.order };
  say(bind(entry.at, [made[first].number]), [made[first].number], "", told(context, other < 0 ? "not_as_drawn" : "swapped", values));
}

/** @type {Dictionary<Kind>} */
export const SENSE_KINDS = {
  "unit fits": (entry, say, context) => doubtedUnits(entry, context).forEach((text, number) => say(bind(entry.at, [number]), [number], "", text)),
  far: eachRun((entry, context, run, number) => farOf(entry, context)[number].map((far) => ({ row: far.row, cell: far.cell, told: farText(entry, context, run, far) }))),
  limit: eachValue(ownLimitText),
  between: eachValue(unlikelyText),
  "stray limit": eachRun((entry, context, run, number) => (doubtedUnits(entry, context).has(number) ? [] : strayLimits(number, runsOf(entry, context), entry.sense)).map(([row, cell]) => {
    const { mark, text } = run.rows[row].cells[cell], place = atReading(entry, context, run.rows[row].work, cell);
    return { row, cell, told: told(context, "stray_limit", { place, sign: SIGNS[mark ?? "below"], value: text, unit: run.unit }) };
  })),
  burr(entry, say, context) {
    runsOf(entry, context).forEach((run, number) => {
      if (!run || !burr(run, farOf(entry, context)[number], entry.sense)) { return; }
      say(`${bind(entry.at, [number])}/1`, [number], "", told(context, "burr", { work: workText(entry, run.rows[1].work) }));
    });
  },
  sharper: eachRun((entry, context, run, number) => {
    const single = singleOf(entry, context), found = sharperBefore(run)(String(single), () => muchSharper(run, farOf(entry, context)[number], single, entry.sense));
    if (!found) { return []; }
    const [place, earlier] = [found.later, found.earlier].map((row) => atCheckpoint(entry, context, run.rows[row].work));
    return [{ row: found.later, cell: null, told: told(context, "sharper", { place, earlier, times: found.times }) }];
  }),
  "row twice": eachRun((entry, context, run) => {
    const found = rowTwice(run, entry.sense), [place, earlier] = (found ?? []).map((row) => atCheckpoint(entry, context, run.rows[row].work));
    return found ? [{ row: found[0], cell: null, told: told(context, "row_twice", { place, earlier }) }] : [];
  }),
  copied: copiedRuns,
  ends,
  beyond,
  "as planned": asPlanned,
};
