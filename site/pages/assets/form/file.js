// Files in and out: a half-done or finished one is picked or dropped and becomes the draft; the finished one is saved with its
// id as its name. A file is read in this browser and goes nowhere.

import { button, make } from "./dom.js";
import { fileText, load } from "./record.js";

/** Read a file's text into a draft: {draft, told}, or {problem} in words. */
export async function opened(file, rules) {
  if (file.size > rules.limits.bytes) { return { problem: `The file has ${file.size} bytes; at most ${rules.limits.bytes} are read.` }; }
  let record;
  try {
    record = JSON.parse((await file.text()).replace(/^\uFEFF/u, ""));
  } catch {
    return { problem: "The file is not JSON. Open the one that this form saved." };
  }
  if (tooMuch(record, rules.limits)) { return { problem: "The file holds more than any submission needs: it was not opened." }; }
  if (record === null || typeof record !== "object" || Array.isArray(record)) { return { problem: "The file is not a submission." }; }
  const followed = record.protocol, own = rules.protocol;
  if (followed && (followed.id !== own.id || followed.version !== own.version)) {
    return { problem: `The file follows ${String(followed.id)} ${String(followed.version)}; this form is for ${own.id} ${own.version}. Choose its form under “Do it tonight”.` };
  }
  const { draft, leftOut } = load(record, rules);
  const told = leftOut.length ? `Left out, because the form has no place for it: ${leftOut.slice(0, 8).join(", ")}${leftOut.length > 8 ? ` and ${leftOut.length - 8} more` : ""}. Your file is unchanged.` : "";
  return { draft, told };
}

function tooMuch(tree, { depth, containers }) {
  const waiting = [[tree, 1]];
  let count = 0;
  while (waiting.length) {
    const [value, deep] = waiting.pop();
    if (value === null || typeof value !== "object") { continue; }
    count += 1;
    if (deep > depth || count > containers) { return true; }
    Object.values(value).forEach((inside) => waiting.push([inside, deep + 1]));
  }
  return false;
}

/** Offer a record as a file. */
export function save(record, name) {
  const address = URL.createObjectURL(new Blob([fileText(record)], { type: "application/json" }));
  const link = make("a", { href: address, download: `${name}.json`, hidden: true }, "file");
  document.body.append(link);
  link.click();
  link.remove();
  setTimeout(() => URL.revokeObjectURL(address), 10_000);
}

/** A button that opens a file, and a place to drop one; `use` gets the file. */
export function opener(root, use) {
  const pick = make("input", { type: "file", accept: ".json,application/json", id: "form-file", class: "sr", tabindex: "-1", "aria-label": "A file to go on with", on: { change: () => { if (pick.files[0]) { use(pick.files[0]); } pick.value = ""; } } });
  const over = (on) => (event) => {
    if (!event.dataTransfer?.types.includes("Files")) { return; }
    event.preventDefault();
    root.classList.toggle("dropping", on);
  };
  root.addEventListener("dragover", over(true));
  root.addEventListener("dragleave", over(false));
  root.addEventListener("drop", (event) => {
    over(false)(event);
    const [file] = event.dataTransfer?.files ?? [];
    if (file) { use(file); }
  });
  return [button("Open a file", () => pick.click()), pick];
}
