"""Somebody with a keyboard and no mouse: every stop of Tab is looked at, and every key is counted."""

from __future__ import annotations

from pathlib import Path

from playwright.sync_api import Locator, Page

MOST_STOPS = 80  # between one thing and the next; a page that needs more is not one for a keyboard
REST = 20  # looks, 50 ms apart, until transitions are over

# A control that its label stands for (a switch of the theme) is seen where the label is.
STOP = """() => {
  const at = document.activeElement, beside = at.nextElementSibling;
  const all = [at, ...(at.labels ?? []), ...(beside?.localName === "label" ? [beside] : [])];
  const within = box => box.width > 1 && box.height > 1 && box.right > 0 && box.left < innerWidth
    && box.bottom > 0 && box.top < innerHeight;
  const shown = one => one.checkVisibility({ visibilityProperty: true, opacityProperty: true }) && within(one.getBoundingClientRect());
  const outlined = ({ outlineStyle, outlineWidth }) => outlineStyle !== "none" && parseFloat(outlineWidth) >= 2;
  const name = at.getAttribute("aria-label") || at.innerText || "";
  return {
    what: `${at.localName} ${at.id || at.className} ${name.slice(0, 60)}`.trim(),
    seen: all.some(shown),
    marked: all.some(one => shown(one) && outlined(getComputedStyle(one))),
  };
}"""


class Keyboard:
    """Keys pressed on a page. ``strokes`` counts them; ``lost`` tells of stops that nobody could see, or see the focus at."""

    def __init__(self, page: Page) -> None:
        self.page = page
        self.strokes = 0
        self.lost: list[str] = []

    def press(self, key: str) -> None:
        """Press a key, or keys held together such as ``Shift+Tab``: one stroke."""
        self.page.keyboard.press(key)
        self.strokes += 1

    def write(self, text: str) -> None:
        """Type a text into whatever has the focus."""
        self.page.keyboard.type(text)
        self.strokes += len(text)

    def reach(self, wanted: Locator) -> None:
        """Press Tab until the focus is on something; it is not touched otherwise."""
        passed = []
        for _ in range(MOST_STOPS):
            if wanted.evaluate("wanted => wanted === document.activeElement"):
                return
            self.press("Tab")
            passed.append(self._stop())
        raise AssertionError(f"{wanted} was not reached in {MOST_STOPS} stops: {passed}")

    def follow(self, wanted: Locator) -> None:
        """Go to a link and follow it."""
        self.reach(wanted)
        address = wanted.evaluate("link => link.href")
        self.press("Enter")
        self.page.wait_for_url(address, wait_until="load")

    def choose(self, wanted: Locator, word: str) -> bool:
        """Go to a list of words and choose one by its first letters; whether there was anything to do."""
        self.reach(wanted)
        typed = 0
        while wanted.input_value() != word:
            assert typed < len(word), f"{word!r} cannot be chosen in {wanted} by typing it"
            self.write(word[typed])
            typed += 1
        return typed > 0

    def choose_file(self, wanted: Locator, file: Path) -> None:
        """Go to a field for a file, open it and choose one.

        The browser is asked something before the key is pressed: that it shall not show its own window reaches the page by another way than
        keys do, and would otherwise come after them now and then.
        """
        self.reach(wanted)
        with self.page.expect_file_chooser() as waited:
            self.page.evaluate("0")
            self.press("Enter")
        waited.value.set_files(file)

    def _stop(self) -> str:
        """What has the focus now; noted when it cannot be seen once everything has come to rest."""
        stop = self.page.evaluate(STOP)
        for _ in range(REST):
            if stop["seen"] and stop["marked"]:
                return stop["what"]
            self.page.wait_for_timeout(50)
            stop = self.page.evaluate(STOP)
        self.lost.append(f"{self.page.url}: {stop['what']}")
        return stop["what"]
