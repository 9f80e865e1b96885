// Drafts in this browser's own storage: written as you type, several side by side, told apart by when they were begun.
// Nothing leaves the browser. A draft of another version of this format is left alone.

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
    const names = this.names().map((name) => this.open(name)).filter((kept) => kept !== null);
    return names.sort((a, b) => (a.saved < b.saved ? 1 : -1));
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
      const whole = kept?.format === FORMAT && kept.name === name && kept.draft && typeof kept.draft === "object" && typeof kept.auto === "object";
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
