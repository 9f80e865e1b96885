// A file as one block of letters that a message or a forum post does not damage, and back to the same bytes: packed, with a checksum, in
// base32. As aggregator/edgehold/records/read/letters.py, whose patterns and sentences are handed over as rules.letters.

import { filled } from "./sentences.js";

/**
 * @typedef {{ code: string, message: string, cure: string }} Unread what is wrong with a block
 * @typedef {{ bytes: Uint8Array, unread?: undefined } | { bytes?: undefined, unread: Unread }} Read
 */

const BITS = 5, SUM_BYTES = 4, POLYNOMIAL = 0xEDB88320; // of CRC-32, its bits reversed (RFC 1952, section 8)
const SLICE = 256; // bytes handed to the unpacker at once: no more than 300 kB can come of so many before anybody looks

/** Whether this browser packs and unpacks. */
export const packs = () => typeof CompressionStream === "function" && typeof DecompressionStream === "function";

/**
 * The bytes of a file as a block, with a line end behind it.
 *
 * @param {Uint8Array} bytes
 * @param {LetterRules} rules
 */
export async function toLetters(bytes, rules) {
  const packed = await all(through([bytes], new CompressionStream("deflate-raw")), Infinity);
  const letters = encoded(joined([packed, sumOf(packed)]), rules);
  const lines = letters.match(new RegExp(`.{1,${rules.line}}`, "gu")) ?? [];
  return [`BEGIN EDGEHOLD RESULT, VERSION ${rules.version}, ${letters.length} LETTERS`, ...lines, "END EDGEHOLD RESULT", ""].join("\n");
}

/**
 * Whether a block, or what is left of one, stands in a text; in JSON it would be somebody's note.
 *
 * @param {string} text
 * @param {LetterRules} rules
 */
export function holdsLetters(text, rules) {
  return !/^[\uFEFF \t\r\n]*\{/u.test(text) && new RegExp(rules.patterns.named, "u").test(capitals(text));
}

/**
 * The bytes of the file whose block stands in a text, or why there are none.
 *
 * @param {string} text
 * @param {LetterRules} rules
 * @returns {Promise<Read>}
 */
export async function fromLetters(text, rules) {
  const { version, wanted, body, unread } = blockIn(capitals(text), rules);
  if (unread) { return { unread }; }
  if (version !== rules.version) { return none(rules, "other_version", "as_new", { version, known: rules.version }); }
  const letters = body.replace(new RegExp(rules.patterns.entity, "gu"), "").replace(new RegExp(rules.patterns.other, "gu"), "");
  const strange = new RegExp(rules.patterns.strange, "u").exec(letters);
  if (strange) { return none(rules, "strange", "copy_again", { sign: strange[0] }); }
  if (letters.length !== wanted) { return none(rules, "count", "copy_again", { wanted, got: letters.length }); }
  const data = decoded(letters, rules), packed = data.slice(0, Math.max(data.length - SUM_BYTES, 0)), sum = data.slice(packed.length);
  if (encoded(sum, rules) !== encoded(sumOf(packed), rules) || encoded(data, rules) !== letters) { return none(rules, "checksum", "copy_again"); }
  return unpacked(packed, rules);
}

/** @type {(text: string) => string} */
const capitals = (text) => text.replace(/[a-z]+/gu, (part) => part.toUpperCase());

/**
 * Why there are no bytes.
 *
 * @param {LetterRules} rules
 * @param {string} code
 * @param {string} cure
 * @param {Named} values
 * @returns {{ bytes?: undefined, unread: Unread }}
 */
function none(rules, code, cure, values = {}) {
  return { unread: { code, message: filled(rules.says[code], values), cure: rules.says[cure] } };
}

/**
 * Version, number of letters, and what stands between the two lines of the one block of a text.
 *
 * @param {string} text
 * @param {LetterRules} rules
 * @returns {{ version: number, wanted: number, body: string, unread?: Unread }}
 */
function blockIn(text, rules) {
  /** @type {(code: string, cure: string, values?: Named) => { version: number, wanted: number, body: string, unread: Unread }} */
  const refused = (code, cure, values) => ({ version: 0, wanted: 0, body: "", unread: none(rules, code, cure, values).unread });
  const { patterns } = rules, [begins, ends] = [patterns.begin, patterns.end].map((pattern) => [...text.matchAll(new RegExp(pattern, "gu"))]);
  if (!begins.length) { return refused(new RegExp(patterns.named, "u").test(text) ? "no_begin" : "none", "copy_again"); }
  const blocks = Math.max(begins.length, ends.length), [begin] = begins, [end] = ends, start = begin.index + begin[0].length;
  if (blocks > 1) { return refused("several", "one_each", { blocks }); }
  if (!end || end.index < start) { return refused("cut_off", "copy_again"); }
  return { version: Number(begin[1]), wanted: Number(begin[2]), body: text.slice(start, end.index) };
}

/**
 * The file, unpacked no further than any submission is large.
 *
 * @param {Uint8Array} packed
 * @param {LetterRules} rules
 * @returns {Promise<Read>}
 */
async function unpacked(packed, rules) {
  const slices = Array.from({ length: Math.ceil(packed.length / SLICE) }, (_, n) => packed.slice(n * SLICE, (n + 1) * SLICE));
  try {
    const bytes = await all(through(slices, new DecompressionStream("deflate-raw")), rules.bytes);
    return bytes.length > rules.bytes ? none(rules, "too_large", "ask_for_file", { most: rules.bytes }) : { bytes };
  } catch {
    return none(rules, "not_packed", "ask_for_file");
  }
}

/**
 * Parts handed to a packer one after the other, only as fast as somebody reads.
 *
 * @param {Uint8Array[]} parts
 * @param {CompressionStream | DecompressionStream} packer
 * @returns {ReadableStream<Uint8Array>}
 */
function through(parts, packer) {
  const waiting = [...parts];
  const source = new ReadableStream({
    pull(control) {
      const next = waiting.shift();
      if (next) { control.enqueue(next); } else { control.close(); }
    },
  }, { highWaterMark: 0 });
  return source.pipeThrough(/** @type {ReadableWritablePair<Uint8Array, Uint8Array>} */ (packer));
}

/**
 * All that comes out of a stream, or the first of it as soon as it is more than `most`.
 *
 * @param {ReadableStream<Uint8Array>} stream
 * @param {number} most bytes
 */
async function all(stream, most) {
  const reader = stream.getReader(), parts = [];
  let size = 0;
  for (let next = await reader.read(); !next.done; next = await reader.read()) {
    parts.push(next.value);
    size += next.value.length;
    if (size > most) { await reader.cancel(); break; }
  }
  return joined(parts);
}

/**
 * Bytes one after the other.
 *
 * @param {Uint8Array[]} parts
 */
export function joined(parts) {
  const whole = new Uint8Array(parts.reduce((sum, part) => sum + part.length, 0));
  let at = 0;
  for (const part of parts) { whole.set(part, at); at += part.length; }
  return whole;
}

/**
 * CRC-32 of bytes, the highest byte first.
 *
 * @param {Uint8Array} bytes
 */
export function sumOf(bytes) {
  let sum = 0xFFFFFFFF;
  for (const byte of bytes) {
    sum ^= byte;
    for (let bit = 0; bit < 8; bit += 1) { sum = (sum >>> 1) ^ (POLYNOMIAL & -(sum & 1)); }
  }
  const found = new Uint8Array(SUM_BYTES);
  new DataView(found.buffer).setUint32(0, ~sum >>> 0);
  return found;
}

/**
 * Bytes as letters of five bits each, the last one filled up with zeros.
 *
 * @param {Uint8Array} bytes
 * @param {LetterRules} rules
 */
function encoded(bytes, { alphabet }) {
  let text = "", held = 0, bits = 0;
  for (const byte of bytes) {
    held = (held << 8) | byte;
    bits += 8;
    while (bits >= BITS) {
      bits -= BITS;
      text += alphabet[held >> bits];
      held &= (1 << bits) - 1;
    }
  }
  return bits ? text + alphabet[held << (BITS - bits)] : text;
}

/**
 * The whole bytes that letters say.
 *
 * @param {string} letters
 * @param {LetterRules} rules
 */
function decoded(letters, { alphabet }) {
  const bytes = new Uint8Array(Math.floor((letters.length * BITS) / 8)), values = new Map([...alphabet].map((letter, value) => [letter, value]));
  let held = 0, bits = 0, at = 0;
  for (const letter of letters) {
    held = (held << BITS) | /** @type {number} */ (values.get(letter));
    bits += BITS;
    if (bits >= 8) {
      bits -= 8;
      bytes[at] = held >> bits;
      at += 1;
      held &= (1 << bits) - 1;
    }
  }
  return bytes;
}
