// @ts-check
// A drawing as PNG: drawn by the browser, with its title, caption and source as text inside the file (PNG, third edition, 11.3.3.4 iTXt).

const SCALE = 2;
const AFTER_HEADER = 33; // bytes of the signature and of the chunk IHDR

/**
 * @param {{ text: string, width: number, height: number }} drawing an SVG file
 * @param {Record<string, string>} texts by keyword
 * @returns {Promise<Blob>}
 */
export async function png({ text, width, height }, texts) {
  const image = new Image();
  image.src = `data:image/svg+xml;charset=utf-8,${encodeURIComponent(text)}`;
  await image.decode();
  const canvas = document.createElement("canvas");
  canvas.width = width * SCALE;
  canvas.height = height * SCALE;
  const on = /** @type {CanvasRenderingContext2D} */ (canvas.getContext("2d"));
  on.fillStyle = "#ffffff";
  on.fillRect(0, 0, canvas.width, canvas.height);
  on.drawImage(image, 0, 0, canvas.width, canvas.height);
  const drawn = await new Promise((done, fail) => { canvas.toBlob((blob) => { if (blob) { done(blob); } else { fail(new Error("no picture came of the drawing")); } }, "image/png"); });
  const bytes = await drawn.arrayBuffer();
  return new Blob([bytes.slice(0, AFTER_HEADER), ...Object.entries(texts).map(([keyword, said]) => chunk(keyword, said)), bytes.slice(AFTER_HEADER)], { type: "image/png" });
}

/**
 * A chunk iTXt: length, type, keyword, uncompressed text in UTF-8, checksum.
 * @param {string} keyword
 * @param {string} said
 */
function chunk(keyword, said) {
  const body = new TextEncoder().encode(`iTXt${keyword}\0\0\0\0\0${said}`);
  const whole = new Uint8Array(body.length + 8), view = new DataView(whole.buffer);
  view.setUint32(0, body.length - 4);
  whole.set(body, 4);
  view.setUint32(body.length + 4, checksum(body));
  return whole;
}

/**
 * CRC-32 as in annex D of the same standard.
 * @param {Uint8Array} bytes
 */
function checksum(bytes) {
  let sum = 0xffffffff;
  for (const byte of bytes) {
    sum ^= byte;
    for (let bit = 0; bit < 8; bit++) { sum = sum & 1 ? (sum >>> 1) ^ 0xedb88320 : sum >>> 1; }
  }
  return (sum ^ 0xffffffff) >>> 0;
}
