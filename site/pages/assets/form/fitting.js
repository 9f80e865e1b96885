// A text of lines that must not be longer than a post may be: the same as aggregator/edgehold/cards/fitting.py.

import { make } from "./dom.js";
import { said } from "./sentences.js";

/** @typedef {{ text: string, rank?: number, prose?: boolean }} Line rank 0 must stay; of the others the highest goes first; prose may be cut at a word */

/** @type {(text: string) => string[]} code points, as the program counts them */
const signs = (text) => Array.from(text);

/** @type {(lines: Line[]) => number} */
const lengthOf = (lines) => lines.reduce((sum, line) => sum + signs(line.text).length + 1, 0) - 1;

/**
 * The place of the largest, the first of equals.
 *
 * @param {number[]} places
 * @param {(place: number) => number} size
 */
const largest = (places, size) => places.reduce((best, place) => (size(place) > size(best) ? place : best));

/**
 * The lines in so many characters: first the longest descriptions are cut at a word, then whole lines go.
 *
 * @param {Line[]} lines in their order; empty ones are passed over
 * @param {CardFigures} figures
 */
export function fitted(lines, { longest, shortest, cut }) {
  const kept = lines.filter((line) => line.text), size = (/** @type {number} */ i) => signs(kept[i].text).length;
  for (let over = lengthOf(kept) - longest; over > 0; over = lengthOf(kept) - longest) {
    const all = [...kept.keys()], long = all.filter((i) => kept[i].prose && size(i) > shortest), last = all.filter((i) => kept[i].rank);
    if (long.length) {
      const at = largest(long, size);
      kept[at] = shorter(kept[at], 1, cut);
    } else if (last.length) {
      kept.splice(last.reduce((best, i) => ((kept[i].rank ?? 0) >= (kept[best].rank ?? 0) ? i : best)), 1);
    } else if (Math.max(...all.map(size)) > signs(cut).length) {
      const at = largest(all, size);
      kept[at] = shorter(kept[at], over, cut);
    } else {
      kept.pop();
    }
  }
  return kept.map((line) => line.text).join("\n");
}

/**
 * Words taken off the end of a line until it is so many characters shorter, or as many letters where it is one word.
 *
 * @param {Line} line
 * @param {number} over
 * @param {string} cut
 */
function shorter(line, over, cut) {
  const room = Math.max(0, signs(line.text).length - over - signs(cut).length), bare = line.text.endsWith(cut) ? line.text.slice(0, -cut.length) : line.text;
  const head = signs(bare).slice(0, room).join(""), whole = head.includes(" ") ? head.slice(0, head.lastIndexOf(" ")).replace(/[ ,;:.]+$/u, "") : head;
  return { ...line, text: (whole || head) + cut };
}

/** Text on one line without anything that a terminal would obey. @param {string} text */
export const harmless = (text) => text.replace(/(?! )[\p{C}\p{Zl}\p{Zp}\p{Zs}]/gu, "\uFFFD");

/**
 * A card to read and to copy, with the way to say what is wrong with it.
 *
 * @param {string} card
 * @param {Dictionary<Pattern>} says
 * @param {{ id: string, version: string }} method
 */
export function shownCard(card, says, { id, version }) {
  const text = make("pre", { class: "post", tabindex: "-1" }, card), status = make("span", { role: "status", "aria-live": "polite" });
  const copies = async () => {
    try {
      await navigator.clipboard.writeText(card);
      status.textContent = said(says, "copied");
    } catch {
      getSelection()?.selectAllChildren(text);
      status.textContent = said(says, "marked");
    }
  };
  return [
    text,
    make("p", { class: "actions" },
      make("button", { type: "button", class: "button", on: { click: copies } }, said(says, "copy")), " ",
      make("a", { href: `/objections/new/?${new URLSearchParams({ protocol: id, version })}` }, said(says, "ask")), " ", status),
  ];
}
