// What puts a version in review, as aggregator/edgehold/review/review_files.py writes it: two events, the first with the hash of the
// protocol's bytes, and a list of what its adoption still needs.

import { spaced } from "./method_lines.js";
import { filled } from "./sentences.js";
import { yamlText } from "./yaml.js";

/** Whether this browser makes hashes: it does where a page is served safely. */
export const hashes = () => Boolean(globalThis.crypto?.subtle);

/**
 * SHA-256 of a text's bytes, as 64 digits.
 *
 * @param {string} text
 */
async function sha256(text) {
  const found = await crypto.subtle.digest("SHA-256", new TextEncoder().encode(text));
  return [...new Uint8Array(found)].map((byte) => byte.toString(16).padStart(2, "0")).join("");
}

/**
 * Every file of a version that is put in review: the protocol, its events, what its adoption still needs.
 *
 * @param {string} text the protocol's file
 * @param {Named} tree its settings
 * @param {{ id: string, version: string, by: string, month: string, evidence: string, first: number }} review `first`: the next event's number
 * @param {MethodRules} rules
 * @returns {Promise<WrittenFile[]>}
 */
export async function reviewFiles(text, tree, { id, version, by, month, evidence, first }, rules) {
  const who = { version, by, month }, format = rules.event_format;
  const events = [
    { format, kind: "released", ...who, sha256: await sha256(text) },
    { format, kind: "opened for review", ...who, ...(evidence ? { evidence } : {}) },
  ];
  return [
    { path: `protocols/${id}/${version}.md`, text },
    ...events.map((event, n) => ({ path: `protocols/${id}/events/${String(first + n).padStart(3, "0")}-${event.kind.replaceAll(" ", "-")}-${version.replaceAll(".", "-")}.yaml`, text: yamlText(event) })),
    { path: `protocols/${id}/README.md`, text: adoption(tree, { id, version, by }, rules) },
  ];
}

/** @type {(tree: Named, named: Named, rules: MethodRules) => string} */
function adoption(tree, named, { says }) {
  const built = entries(tree, "needs").filter(({ where }) => where === "made"), open = entries(tree, "threats").filter(({ steps }) => !(Array.isArray(steps) && steps.length));
  const drawn = Array.isArray(tree.figures) && tree.figures.length > 0;
  const lines = [
    says.adoption_pilot,
    ...(drawn ? [] : built.map(({ item }) => filled(says.adoption_drawing, { line: spaced(String(item)) }))),
    ...open.map(({ threat, text }) => filled(says.adoption_open, { line: `${spaced(String(threat))}: ${spaced(String(text))}` })),
    says.adoption_objections, says.adoption_spread, filled(says.adoption_other, named), filled(says.adoption_command, named),
  ];
  return `${[filled(says.adoption_head, named), says.adoption_told, lines.join("\n")].join("\n\n")}\n`;
}

/** @type {(tree: Named, name: string) => Named[]} */
function entries(tree, name) {
  const found = tree[name];
  return Array.isArray(found) ? found.filter((entry) => entry !== null && typeof entry === "object") : [];
}
