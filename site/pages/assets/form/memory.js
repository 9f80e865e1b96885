// What was worked out before and is asked for again, because something else on the page changed.

/**
 * A memory of so many results: gives the one under a name, or works it out and keeps it. What is given must not be changed.
 *
 * @template T
 * @param {number} most
 * @returns {(name: string, work: () => T) => T}
 */
export function remembering(most) {
  /** @type {Map<string, T>} */
  const known = new Map();
  return (name, work) => {
    const before = known.get(name);
    if (before !== undefined) { return before; }
    const made = work();
    if (known.size >= most) { known.clear(); }
    known.set(name, made);
    return made;
  };
}

/**
 * The same with a memory for each owner, such as the rules of a page.
 *
 * @template T
 * @param {number} most
 * @returns {(owner: object, name: string, work: () => T) => T}
 */
export function rememberingFor(most) {
  /** @type {WeakMap<object, (name: string, work: () => T) => T>} */
  const each = new WeakMap();
  return (owner, name, work) => {
    const own = each.get(owner) ?? remembering(most);
    each.set(owner, own);
    return own(name, work);
  };
}

/**
 * What a function gives for an object that never changes, kept as long as that is there.
 *
 * @template {object} O
 * @template T
 * @param {(owner: O) => T} work
 * @returns {(owner: O) => T}
 */
export function rememberedOf(work) {
  /** @type {WeakMap<O, { made: T }>} */
  const known = new WeakMap();
  return (owner) => {
    const before = known.get(owner) ?? { made: work(owner) };
    known.set(owner, before);
    return before.made;
  };
}
