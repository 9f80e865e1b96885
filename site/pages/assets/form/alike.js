// Which objections already say what somebody is writing: words that few objections have count for more
// (tf-idf and the cosine of two texts: Salton & Buckley 1988, Information Processing & Management 24:513–523).

/** @typedef {{ protocol: string, number: number, title: string, statement: string, state: string, why: string, at: string }} Said */
/** @typedef {Map<string, number>} Weights */

const LEAST_WORDS = 6; // of what is being written, below which nothing is looked for
const ENOUGH = 0.18; // cosine from which two texts are shown as alike
const MOST = 3;
const TITLE = 2; // how much a word of the title counts for one of the text

/** Words of four letters and more without their usual endings. @param {string} text */
function stems(text) {
  return (text.toLowerCase().match(/\p{L}{4,}/gu) ?? []).map((word) => word.replace(/(?:ings?|edly|ed|ly|es|s)$/u, "")).filter((word) => word.length > 2);
}

/** @param {[text: string, counts: number][]} parts @returns {Weights} */
function counted(parts) {
  /** @type {Weights} */
  const found = new Map();
  for (const [text, counts] of parts) { stems(text).forEach((word) => found.set(word, (found.get(word) ?? 0) + counts)); }
  return found;
}

/** @param {Weights} counts @param {Map<string, number>} rare @returns {Weights} */
const weighed = (counts, rare) => new Map([...counts].map(([word, n]) => [word, (1 + Math.log(n)) * (rare.get(word) ?? 0)]));

/** @param {Weights} weights */
const norm = (weights) => Math.sqrt([...weights.values()].reduce((sum, w) => sum + w * w, 0));

/**
 * Objections that are most like a text, the likest first; at most three.
 *
 * @param {string} title
 * @param {string} text
 * @param {Said[]} said
 * @returns {{ said: Said, score: number }[]}
 */
export function alike(title, text, said) {
  const mine = counted([[title, TITLE], [text, 1]]);
  if (mine.size < LEAST_WORDS) { return []; }
  const theirs = said.map((one) => counted([[one.title, TITLE], [one.statement, 1]])), all = [...theirs, mine];
  /** @type {Map<string, number>} */
  const rare = new Map();
  for (const word of new Set(all.flatMap((counts) => [...counts.keys()]))) {
    rare.set(word, Math.log((1 + all.length) / all.filter((counts) => counts.has(word)).length));
  }
  const own = weighed(mine, rare), length = norm(own);
  return said.map((one, n) => {
    const other = weighed(theirs[n], rare), dot = [...own].reduce((sum, [word, w]) => sum + w * (other.get(word) ?? 0), 0);
    return { said: one, score: length && norm(other) ? dot / (length * norm(other)) : 0 };
  }).filter(({ score }) => score >= ENOUGH).sort((a, b) => b.score - a.score).slice(0, MOST);
}
