// What is found by some words: the library indexes the entries, this says how words are told apart and what comes first.

/** @typedef {{ id: number, address: string, kind: string, title: string, names: string, told: string, words: string, weight: number }} Entry */
/** @typedef {Entry & { score: number }} Match */

const MOST = 30;
const FIELDS = ["title", "names", "told", "words"];
// Words that join the names of what is looked for, and say nothing themselves.
const IDLE = new Set("a an and against are as at be better between by can do does for from how i in is it of on or than that the to versus vs was what when which who will with worse".split(" "));

/**
 * The words of a text: letters and digits; "X50CrMoV15", "1.4116" and "440-C" are one word each, the last one two.
 * @param {string} text
 */
function words(text) {
  return text.normalize("NFKD").replace(/\p{M}/gu, "").split(/[^\p{L}\p{N}.]+/u);
}

/** @param {string} word */
function folded(word) {
  const found = word.toLowerCase().replaceAll(".", "");
  return found === "" || IDLE.has(found) ? null : found;
}

/**
 * @param {typeof import("minisearch").default} Library
 * @param {{ address?: string, kind: string, title: string, names?: string[], told?: string, words?: string, weight?: number }[]} rows
 * @returns {(query: string) => Match[]} what is found, the best first
 */
export function finder(Library, rows) {
  const entries = rows.map((row, id) => ({
    id, address: row.address ?? "", kind: row.kind, title: row.title, names: (row.names ?? []).join(" | "), told: row.told ?? "",
    words: row.words ?? "", weight: row.weight ?? 1,
  }));
  const index = new Library({
    fields: FIELDS,
    tokenize: words,
    processTerm: folded,
    searchOptions: {
      boost: { title: 5, names: 4, told: 1.2 },
      prefix: word => word.length > 1,
      fuzzy: word => (word.length > 5 ? 0.2 : false),
      boostDocument: id => entries[id].weight,
      weights: { prefix: 0.5, fuzzy: 0.2 },
    },
  });
  index.addAll(entries);
  return query => {
    const whole = words(query).filter(word => folded(word) !== null).join("");
    const asked = { combineWith: "OR", queries: [{ queries: [query], combineWith: "AND" }, { queries: [whole], prefix: false, fuzzy: false }] };
    let found = index.search(/** @type {import("minisearch").Query} */ (asked));
    if (found.length === 0) { found = index.search(query, { combineWith: "OR" }); }
    return found.slice(0, MOST).map(({ id, score }) => ({ ...entries[id], score }));
  };
}
