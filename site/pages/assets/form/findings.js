// Where findings are shown: beside the field they are about, or at the nearest part of the form around it.

import { findingText, make } from "./dom.js";
import { blank, patternOf, valueAt } from "./places.js";
import { finish } from "./record.js";
import { check, thisMonth } from "./rules.js";
import { pattern } from "./schema.js";

/**
 * Everything found in a draft: [{pointer, from, code, cure, grave}]; pointer in the file, from in the draft.
 *
 * @param {SubmissionDraft} draft
 * @param {SubmissionRules} rules
 */
export function findings(draft, rules) {
  const { record, places } = finish(draft, rules);
  const found = check(record, rules, thisMonth(), true).map((finding) => ({
    ...finding, from: inDraft(finding.pointer, places), grave: rules.messages[finding.code].severity === "error",
  }));
  return { record, found };
}

/**
 * The place in the draft of a place in the file: its own, or that of the nearest one around it and the rest of the way.
 *
 * @param {string} pointer
 * @param {Map<string, string>} places
 */
function inDraft(pointer, places) {
  let known = pointer;
  while (!places.has(known)) { known = known.slice(0, known.lastIndexOf("/")); }
  return places.get(known) + pointer.slice(known.length);
}

/**
 * Show findings.
 *
 * @param {PageForm} form spots by place, places left by the person, all: whether everything is shown
 * @param {PlacedFinding[]} found
 * @returns {ShownFinding[]} those that are shown, with the spot they are shown at
 */
export function show(form, found) {
  /** @type {ShownFinding[]} */
  const shown = [];
  for (const finding of found) {
    const spot = spotOf(form, finding.from);
    if (form.all || form.touched.has(finding.from) || (spot.place !== finding.from && form.touched.has(spot.place))) {
      shown.push({ ...finding, spot, text: findingText(finding, form.rules.messages) });
    }
  }
  form.grids.filter(({ said }) => !said.hidden).forEach(({ said }) => { said.replaceChildren(); said.hidden = true; });
  /** @type {Map<Spot, Saying[]>} */
  const bySpot = new Map(form.distinct.map((spot) => [spot, []]));
  shown.forEach((finding) => bySpot.get(finding.spot)?.push(finding));
  bySpot.forEach((some, spot) => spot.say([...some, ...hints(form, spot, some)]));
  return shown;
}

/**
 * The spot of what is said of the whole, shown in a paragraph above all fields.
 *
 * @param {HTMLElement} line
 * @returns {Spot}
 */
export function wholeSpot(line) {
  return {
    place: "",
    name: "",
    focus: () => line.focus(),
    say: (found) => {
      line.hidden = !found.length;
      line.replaceChildren(...found.map(({ text }) => make("span", { class: "grave" }, text)));
    },
  };
}

/**
 * The spot of a place, or of the nearest part around it.
 *
 * @param {PageForm} form
 * @param {string} pointer
 */
function spotOf(form, pointer) {
  let place = pointer;
  while (place && !form.spots.has(place)) { place = place.slice(0, place.lastIndexOf("/")); }
  return /** @type {Spot} */ (form.spots.get(place)); // the whole has one
}

/**
 * What is said of a value that is right in form, such as a handle that looks like a name.
 *
 * @param {PageForm} form
 * @param {Spot} spot
 * @param {Saying[]} some
 * @returns {Saying[]}
 */
function hints({ rules, kept, touched, all }, { place }, some) {
  if (some.length || !(all || touched.has(place))) { return []; }
  const value = valueAt(kept.draft, place);
  return rules.hints.filter((hint) => hint.at === patternOf(place) && !blank(value) && pattern(hint.pattern).test(String(value)))
    .map(({ text }) => ({ text, grave: false }));
}
