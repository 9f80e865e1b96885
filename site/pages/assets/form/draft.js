// Drafts in this browser's own storage: written as you type, several side by side, told apart by when they were begun.
// Nothing leaves the browser. A draft of another version of this format is left alone; what is no draft at all is set aside.

import { setAside } from "./aside.js";
import { someSigns } from "./fill.js";

const FORMAT = 1;

/**
 * The drafts of one form.
 *
 * @template D
 */
export class Drafts {
  /**
   * @param {string} form what the form is for, such as "submission/two-sharpeners-rope/1.1.0"
   * @param {Storage} storage the browser's
   */
  constructor(form, storage) {
    this.prefix = `edgehold/draft/${form}/`;
    this.storage = storage;
    this.failed = false;
    this.held = "";
  }

  /**
   * A draft that nothing is written in yet.
   *
   * @param {D} draft
   * @returns {Kept<D>}
   */
  fresh(draft = /** @type {D} */ ({})) {
    return { format: FORMAT, name: `${Date.now().toString(36)}${someSigns(2)}`, saved: "", signs: someSigns(), auto: {}, draft };
  }

  /** Everything kept, the last written first. */
  all() {
    this.names().filter((name) => this.damaged(name)).forEach((name) => this.setAside(name));
    const names = this.names().map((name) => this.open(name)).filter((kept) => kept !== null);
    return names.sort((a, b) => (a.saved < b.saved ? 1 : -1));
  }

  /**
   * Drafts with what is made of each; one of which nothing can be made is set aside.
   *
   * @template T
   * @param {(kept: Kept<D>) => T} does
   * @returns {[kept: Kept<D>, made: T][]}
   */
  each(does) {
    return this.all().flatMap((kept) => {
      try { return [/** @type {[Kept<D>, T]} */ ([kept, does(kept)])]; } catch { this.setAside(kept.name); return []; }
    });
  }

  /**
   * Whether what stands there is no draft, and none of another version either.
   *
   * @param {string} name
   */
  damaged(name) {
    try {
      const text = this.storage.getItem(this.prefix + name);
      if (text === null) { return false; }
      const format = JSON.parse(text)?.format;
      return this.open(name) === null && (format === FORMAT || typeof format !== "number");
    } catch { return true; }
  }

  /** @param {string} name */
  setAside(name) {
    setAside(this.storage, this.prefix + name);
  }

  /**
   * Show a draft; where that cannot be done it is set aside, and a fresh one shown.
   *
   * @param {Kept<D>} kept
   * @param {(kept: Kept<D>) => void} show
   * @param {() => Kept<D>} fresh
   * @returns {boolean} whether it was shown
   */
  shown(kept, show, fresh) {
    try { show(kept); return true; } catch (error) {
      if (this.open(kept.name) === null) { throw error; } // not a draft of this browser: a fault of the form
      kept.dirty = false;
      this.setAside(kept.name);
      show(fresh());
      return false;
    }
  }

  names() {
    try {
      return Object.keys(this.storage).filter((key) => key.startsWith(this.prefix)).map((key) => key.slice(this.prefix.length));
    } catch { return []; }
  }

  /**
   * One draft, or null where it is not there or cannot be read.
   *
   * @param {string} name
   * @returns {Kept<D> | null}
   */
  open(name) {
    try {
      const kept = JSON.parse(this.storage.getItem(this.prefix + name) ?? "null");
      const whole = kept?.format === FORMAT && kept.name === name && isNamed(kept.draft) && isNamed(kept.auto) && typeof kept.saved === "string" && typeof kept.signs === "string";
      return whole ? kept : null;
    } catch { return null; }
  }

  /**
   * Where a draft is kept.
   *
   * @param {Kept<D>} kept
   */
  keyOf(kept) {
    return this.prefix + kept.name;
  }

  /**
   * Write a draft; false where the browser does not let us, which the page must say.
   *
   * @param {Kept<D>} kept
   */
  save(kept) {
    kept.saved = new Date().toISOString();
    try {
      this.storage.setItem(this.keyOf(kept), JSON.stringify(kept));
      this.failed = false;
      this.hold(kept);
    } catch { this.failed = true; }
    return !this.failed;
  }

  /**
   * Remember a draft as it stands: what the page goes on with.
   *
   * @param {Kept<D>} kept
   */
  hold(kept) {
    this.held = JSON.stringify(kept.draft);
  }

  /**
   * Whether another page has written something else under a draft's name than what was held or written here last. A page that is being
   * left may write late, and what it writes is what the next one has just read.
   *
   * @param {Kept<D>} kept what is held
   * @param {{ key: string | null, newValue: string | null }} written
   */
  changedElsewhere(kept, { key, newValue }) {
    if (key !== this.keyOf(kept) || newValue === null) { return false; }
    try { return JSON.stringify(JSON.parse(newValue).draft) !== this.held; } catch { return true; }
  }

  /** @param {string} name */
  forget(name) {
    try { this.storage.removeItem(this.prefix + name); } catch { this.failed = true; }
  }
}

/** @type {(value: unknown) => boolean} */
const isNamed = (value) => value !== null && typeof value === "object" && !Array.isArray(value);

/**
 * The browser's storage, or nothing that keeps where it lets us have none.
 *
 * @returns {Storage}
 */
export function localStorageOrNone() {
  try { return window.localStorage; } catch { return /** @type {Storage} */ ({}); }
}

/**
 * When a draft was kept, in words.
 *
 * @param {{ saved: string }} kept
 */
export function keptAt({ saved }) {
  return `Kept in this browser, last at ${new Date(saved).toLocaleTimeString([], { hour: "2-digit", minute: "2-digit" })}.`;
}
