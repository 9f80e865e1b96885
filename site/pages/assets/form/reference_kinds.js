// Kinds of rules about reference edges and known weights, as aggregator/edgehold/records/rules/reference_kinds.py asks them.

import { blank, child, expand, valueAt } from "./places.js";
import { filled, general } from "./sentences.js";

/**
 * @typedef {import("./rules.js").Context} Context
 * @typedef {import("./rules.js").Kind} Kind
 * @typedef {import("./places.js").Place} Place
 * @typedef {{ value: number, limit: unknown }} Read
 */

/** @type {(value: unknown) => unknown[]} */
const listOf = (value) => (Array.isArray(value) ? value : []);
/** @type {(written: unknown) => string} */
const text = (written) => (typeof written === "number" ? general(written) : String(written));
/** @type {(quantity: unknown) => string} */
const quantity = (one) => `${text(child(one, "written"))} ${child(one, "unit")}`;
/** @type {(context: Context, name: string, values: Named) => string} */
const told = ({ rules }, name, values) => filled(rules.asks[name], values);

/**
 * Say something at every reference edge of which the test finds something: what is asked, and where below its readings.
 *
 * @param {(place: Place, entry: RuleEntry, context: Context) => { told?: string, below?: string } | null} test
 * @returns {Kind}
 */
function eachEdge(test) {
  return (entry, say, context) => {
    for (const place of expand(context.record, entry.at)) {
      const found = listOf(place.value).length ? test(place, entry, context) : null;
      if (found) { say(`${place.pointer}${found.below ?? ""}`, place.stars, "", found.told); }
    }
  };
}

/** @type {Dictionary<Kind>} */
export const REFERENCE_KINDS = {
  "reference work": eachEdge(({ value, stars }, entry, context) => {
    const works = listOf(value).map((item) => context.workAt(child(item, "work"), stars, entry)), wanted = /** @type {number} */ (entry.wanted);
    if (works.includes(null)) { return null; }
    const [first, second] = /** @type {number[]} */ (works);
    return works.length !== 2 || first !== 0 || Math.abs(second - wanted) > entry.within * wanted ? {} : null;
  }),
  "reference range": eachEdge(({ value, stars }, entry, context) => {
    const low = entry.low ?? 0, high = entry.high ?? Infinity;
    for (const [row, item] of listOf(value).entries()) {
      const values = context.valuesOf(item, stars, entry);
      const marked = listOf(child(item, "values")).map((one) => !blank(child(one, "limit")));
      const odd = (values ?? []).findIndex((one, n) => !marked[n] && !(low <= one.value && one.value <= high));
      if (!values || odd < 0) { continue; }
      const written = text(child(listOf(child(item, "values"))[odd], "written")), unit = valueAt(context.record, `/references/${stars[0]}/reading_unit`);
      const values1 = { which: row + 1, value: written, unit, number: values[odd].value, goal: entry.goal, low, high };
      return { below: `/${row}/values/${odd}/written`, told: told(context, "reference_range", values1) };
    }
    return null;
  }),
  "reference order": eachEdge(({ value, stars }, entry, context) => {
    const rows = listOf(value).map((item) => context.valuesOf(item, stars, entry) ?? []);
    if (rows.length !== 2 || rows.some((row) => !row.length || row.some(({ limit }) => limit))) { return null; }
    const [before, after] = rows.map((row) => row.reduce((sum, one) => sum + Math.log(one.value), 0) / row.length);
    const times = Math.exp(entry.keener === "lower" ? before - after : after - before);
    return times > entry.factor ? { told: told(context, "reference_sharper", { times }) } : null;
  }),
  weight(entry, say, context) {
    for (const { pointer, value, stars } of expand(context.record, entry.at)) {
      const weight = valueAt(context.record, pointer.slice(0, pointer.lastIndexOf("/"))), known = context.forceOf(child(weight, "known")), read = context.forceOf(value);
      if (!known || !read || known < 0 || read < 0 || (read / known >= 1 / entry.factor && read / known <= entry.factor)) { continue; }
      const own = context.forceOf({ written: 1, unit: child(value, "unit") }) ?? 1;
      const fits = (entry.units ?? []).filter((unit) => {
        const times = read / known * ((context.forceOf({ written: 1, unit }) ?? 1) / own);
        return times >= 1 / entry.near && times <= entry.near;
      });
      const values = { read: quantity(value), known: quantity(child(weight, "known")), times: read / known, fits: fits.join(" or ") };
      if (!blank(child(value, "unit"))) { say(pointer, stars, "", told(context, fits.length ? "weight_unit" : "weight", values)); }
    }
  },
};
