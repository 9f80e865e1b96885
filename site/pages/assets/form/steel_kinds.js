// Kinds of rules about a composition without a designation, as aggregator/edgehold/records/rules/steel_kinds.py asks them.

import { distance, fitting, nearest, outside, shares } from "./compositions.js";
import { blank, child, expand, valueAt } from "./places.js";
import { filled, general } from "./sentences.js";

/**
 * @typedef {import("./rules.js").Context} Context
 * @typedef {import("./rules.js").Kind} Kind
 */

const MOST_NAMED = 3; // designations that one message names

/** @type {(composition: Dictionary<number>) => string} */
const text = (composition) => Object.entries(composition).map(([element, share]) => `${element} ${general(share)}`).join(" ");

/**
 * Say something at every blade with a composition and no designation where the test finds something to say.
 *
 * @param {(composition: Dictionary<number>, origin: string, context: Context) => string} told
 * @returns {Kind}
 */
function composed(told) {
  return (entry, say, context) => {
    for (const { pointer, value, stars } of expand(context.record, entry.at)) {
      const steel = valueAt(context.record, pointer.slice(0, pointer.lastIndexOf("/"))), composition = shares(value);
      const message = composition && blank(child(steel, "designation")) ? told(composition, String(context.record.origin), context) : "";
      if (message) { say(pointer, stars, "", message); }
    }
  };
}

/** @type {Dictionary<Kind>} */
export const STEEL_KINDS = {
  "no class": composed((composition, origin, { rules: { asks, compositions } }) => {
    if ([false, true].some((named) => fitting(named, composition, origin, compositions).length)) { return ""; }
    const near = nearest(composition, origin, compositions), values = { composition: text(composition), nearest: near?.name };
    if (!near) { return filled(asks.no_steel_class, values); }
    const apart = outside(near.limits, composition, compositions);
    const sides = apart.map(([element, by]) => filled(by > 0 ? asks.element_above : asks.element_below, { element, by: Math.abs(by) }));
    return filled(asks.no_steel_class_near, { ...values, distance: distance(apart, compositions), apart: sides.join(", ") });
  }),
  "named steel": composed((composition, origin, { rules: { asks, compositions } }) => {
    const fits = fitting(true, composition, origin, compositions).slice(0, MOST_NAMED);
    const pattern = fitting(false, composition, origin, compositions).length ? asks.named_steel_fits : asks.only_named_steel_fits;
    return fits.length ? filled(pattern, { composition: text(composition), names: fits.map(({ name }) => name).join(" and ") }) : "";
  }),
};
