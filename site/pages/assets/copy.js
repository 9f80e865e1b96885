// A button that puts a text of the page on the clipboard; hidden where this script does not run.
(function () {
  "use strict";

  for (const button of /** @type {NodeListOf<HTMLButtonElement>} */ (document.querySelectorAll("button[data-copies]"))) {
    const text = /** @type {HTMLElement} */ (document.getElementById(button.dataset.copies ?? "")), status = /** @type {HTMLElement} */ (button.nextElementSibling);
    button.hidden = false;
    button.addEventListener("click", async () => {
      try {
        await navigator.clipboard.writeText(text.textContent ?? "");
        status.textContent = "Copied.";
      } catch {
        getSelection()?.selectAllChildren(text);
        status.textContent = "The browser did not allow it. The text is marked: copy it yourself.";
      }
    });
  }
})();
