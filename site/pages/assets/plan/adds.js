// @ts-check
// What more would add to a plan: edges exchanged with a friend's table, that table alone, a second evening. The same as
// aggregator/edgehold/planning/adds.py.

import { outlook } from "./outlook.js";
import { cutOf, leastPrecise, precision } from "./precision.js";
import { asLeft, bladesInTurn, inRounds, inTurn, levelsOf } from "./what_fits.js";

/** @typedef {import("./what_fits.js").Occasion} Occasion */
/** @typedef {import("./orders.js").PlannedRun} PlannedRun */
/** @typedef {import("./precision.js").Cut} Cut */
/** @typedef {{kind: string, shows: import("./outlook.js").Glance}} Addition half width infinite where the runs never tell */

const HALVES = ["heel", "tip"], FRIENDS = 2;

/**
 * @param {Occasion} asked
 * @param {PlannedRun[]} runs
 * @param {number} seed
 * @returns {Addition[]}
 */
export function additions(asked, runs, seed) {
  const factor = inRounds(asked) ? "sharpener" : "blade", mine = runs.map(cutOf), theirs = mine.map(friends);
  const levels = inRounds(asked) ? asked.sharpeners : asked.blades, first = inRounds(asked) ? here(asked) : asked.blades[0];
  /** @param {string} kind @param {{unscaled: number, df: number}} known */
  const addition = (kind, { unscaled, df }) => ({ kind, shows: outlook(asked, unscaled, df, seed) });
  const evening = addition("add_evening", leastPrecise([...mine, ...again(mine)], factor, levels));
  if (levelsOf(asked.protocol).length) { // both tables make the same levels, so that a friend's tells about one's own comparison
    const same = theirs.map((cut, n) => ({ ...cut, sharpener: mine[n].sharpener }));
    return [addition("add_friend_too", leastPrecise([...mine, ...same], factor, levels)), evening];
  }
  return [
    addition("add_exchange", precision([...mine, ...theirs, ...exchanged(asked, mine)], factor, first, named(first))),
    addition("add_friend", precision([...mine, ...theirs], factor, first, named(first))),
    evening,
  ];
}

/** Sharpeners whose edges are cut as they left them. @param {Occasion} asked */
export const absent = (asked) => [...new Set(asLeft(asked).map((arm) => arm.sharpener))].sort();

/** The first sharpener who is there, and so can send an edge. @param {Occasion} asked */
const here = (asked) => asked.sharpeners.find((name) => !asked.alone || asked.testers.includes(name)) ?? asked.sharpeners[0];

/** What stands for somebody or something at the friend's table. @param {string} mine */
const named = (mine) => `the friend's ${mine}`;

/** @param {Cut} cut @returns {Cut} */
const friends = (cut) => ({ ...cut, table: FRIENDS, sharpener: named(cut.sharpener), blade: named(cut.blade), tester: named(cut.tester) });

/** The same on further evenings, with halves changed over. @param {Cut[]} cuts @returns {Cut[]} */
function again(cuts) {
  const evenings = Math.max(...cuts.map((cut) => cut.evening)), pairs = 2 * cuts.length;
  return cuts.map((cut) => ({
    ...cut, evening: cut.evening + evenings, pair: cut.pair === null ? null : cut.pair + pairs,
    edge_part: HALVES.includes(cut.edge_part) ? HALVES[1 - HALVES.indexOf(cut.edge_part)] : cut.edge_part,
  }));
}

/** A blade sent each way, in turn with a blade of the table where it goes. @param {string} blade @param {Cut} home @returns {Cut[]} */
function bladesExchanged(blade, home) {
  const back = { ...home, blade: named(blade) }, visit = { ...friends(back), blade };
  return [visit, { ...visit, blade: named(blade) }, back, { ...back, blade }];
}

/** The runs of one edge sent each way. @param {Occasion} asked @param {Cut[]} mine @returns {Cut[]} */
function exchanged(asked, mine) {
  const [home] = mine, pair = inTurn(asked) ? 4 * mine.length : null, both = inRounds(asked);
  if (bladesInTurn(asked)) { return bladesExchanged(asked.blades[0], { ...home, pair }); }
  const host = both ? here(asked) : home.sharpener, blade = both ? home.blade : asked.blades[0], [heel, tip] = HALVES;
  const visit = { ...home, table: FRIENDS, sharpener: host, blade, tester: named(home.tester), pair, edge_part: heel };
  const back = { ...home, sharpener: named(host), blade: named(blade), pair, edge_part: heel };
  if (!both) { return [{ ...visit, sharpener: named(host) }, { ...back, sharpener: host }]; }
  return [visit, { ...visit, sharpener: named(host), edge_part: tip }, back, { ...back, sharpener: host, edge_part: tip }];
}
