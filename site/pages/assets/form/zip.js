// Several files as one archive that every system opens: ZIP, its entries stored as they are (APPNOTE 6.3, sections 4.3.7, 4.3.12 and 4.3.16).

import { joined, sumOf } from "./letters.js";

const LOCAL = 0x04034B50, CENTRAL = 0x02014B50, END = 0x06054B50;
const NEEDED = 20, UTF8 = 0x0800, DAY = 0x21; // version 2.0; names are UTF-8; 1 January 1980, the first day there is

/**
 * @param {WrittenFile[]} files with their paths inside the archive
 */
export function zipped(files) {
  /** @type {Uint8Array[]} */
  const locals = [];
  /** @type {Uint8Array[]} */
  const central = [];
  let offset = 0;
  for (const { path, text } of files) {
    const name = new TextEncoder().encode(path), data = new TextEncoder().encode(text), sum = new DataView(sumOf(data).buffer).getUint32(0);
    const facts = [[2, NEEDED], [2, UTF8], [2, 0], [2, 0], [2, DAY], [4, sum], [4, data.length], [4, data.length], [2, name.length], [2, 0]];
    const local = joined([numbers([[4, LOCAL], ...facts]), name, data]);
    central.push(numbers([[4, CENTRAL], [2, NEEDED], ...facts, [2, 0], [2, 0], [2, 0], [4, 0], [4, offset]]), name);
    locals.push(local);
    offset += local.length;
  }
  const directory = joined(central), count = files.length;
  return joined([...locals, directory, numbers([[4, END], [2, 0], [2, 0], [2, count], [2, count], [4, directory.length], [4, offset], [2, 0]])]);
}

/**
 * Numbers one after the other, the lowest byte first.
 *
 * @param {number[][]} parts size in bytes, and value
 */
function numbers(parts) {
  return new Uint8Array(parts.flatMap(([size, value]) => Array.from({ length: size }, (_, n) => (value >>> (8 * n)) & 0xFF)));
}
