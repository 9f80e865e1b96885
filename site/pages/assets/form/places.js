// Places in a tree of plain values: JSON pointers (RFC 6901), and patterns of them in which "*" is any entry of a list.

/** The names a pointer leads through. */
export function parts(pointer) {
  return pointer.split("/").slice(1).map((part) => part.replaceAll("~1", "/").replaceAll("~0", "~"));
}

/** The pointer that goes one name further. */
export function below(pointer, name) {
  return `${pointer}/${String(name).replaceAll("~", "~0").replaceAll("/", "~1")}`;
}

/** What stands one name further, or undefined; only what the tree itself holds. */
export function child(tree, name) {
  return tree !== null && typeof tree === "object" && Object.hasOwn(tree, name) ? tree[name] : undefined;
}

/** What stands at a pointer, or undefined. */
export function valueAt(tree, pointer) {
  return parts(pointer).reduce(child, tree);
}

/** Whether nothing is written: no value, null or an empty text. */
export function blank(value) {
  return value === undefined || value === null || value === "";
}

/** Write a value at a pointer; objects on the way are made where there are none. */
export function put(tree, pointer, value) {
  const names = parts(pointer), last = names.pop();
  let inside = tree;
  for (const name of names) {
    if (inside[name] === undefined || inside[name] === null) {
      Object.defineProperty(inside, name, { value: {}, writable: true, enumerable: true, configurable: true });
    }
    inside = inside[name];
  }
  Object.defineProperty(inside, last, { value, writable: true, enumerable: true, configurable: true });
}

/** A pattern with its first stars replaced by places in lists. */
export function bind(pattern, stars) {
  let next = 0;
  return pattern.split("/").map((part) => (part === "*" && next < stars.length ? String(stars[next++]) : part)).join("/");
}

/** The pattern of a pointer: every number becomes a star. */
export function patternOf(pointer) {
  return pointer.replace(/\/[0-9]+(?=\/|$)/gu, "/*");
}

/** Every place that a pattern names and that holds something: {pointer, value, stars}. */
export function expand(tree, pattern) {
  let found = [{ pointer: "", value: tree, stars: [] }];
  for (const part of parts(pattern)) {
    found = found.flatMap((place) => (part === "*" ? entries(place) : [member(place, part)])).filter(({ value }) => !blank(value));
  }
  return found;
}

function member({ pointer, value, stars }, name) {
  return { pointer: below(pointer, name), value: child(value, name), stars };
}

function entries({ pointer, value, stars }) {
  return Array.isArray(value) ? value.map((entry, n) => ({ pointer: below(pointer, n), value: entry, stars: [...stars, n] })) : [];
}
