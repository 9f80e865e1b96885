"""What tests of the form do as a person would: open it, type a record into it, open and save files."""

from __future__ import annotations

import datetime
import json
import re
from dataclasses import replace
from pathlib import Path

from playwright.sync_api import Browser, BrowserContext, Locator, expect

from edgehold.records import load_repository
from edgehold.records.canonical import Repository
from tests.published import copy_protocols

from .crawling import WATCH, WIDE

FORM = "/tonight/two-sharpeners-rope-1.1.0/"
EXAMPLE = "data/examples/two-sharpeners-rope-1.1.0.json"


def example(site: Path) -> dict:
    """The worked example as the site offers it."""
    return json.loads((site / EXAMPLE).read_text(encoding="utf-8"))


class Tab:
    """One tab with a form in it, and everything the browser complained of."""

    def __init__(self, context: BrowserContext, base: str, address: str = FORM) -> None:
        self.page = context.new_page()
        self.troubles: list[str] = []
        self.page.on("dialog", lambda dialog: (self.troubles.append(f"dialog {dialog.message}"), dialog.dismiss()))
        self.page.on("pageerror", lambda error: self.troubles.append(f"uncaught {error}"))
        self.page.on("console", lambda said: self.troubles.append(said.text) if said.type in ("error", "warning") else None)
        self.page.on("request", lambda made: None if made.url.startswith((base, "blob:", "data:")) else self.troubles.append(made.url))
        self.page.goto(base + address)
        expect(self.page.locator("#form-root")).to_be_visible()

    def open(self, record: object, name: str = "half.json") -> None:
        """Open a file in the form."""
        text = record if isinstance(record, str) else json.dumps(record)
        self.page.locator("#form-status").evaluate("line => line.replaceChildren()")  # what was said before is not the answer
        self.page.set_input_files("#form-file", files=[{"name": name, "mimeType": "application/json", "buffer": text.encode()}])
        expect(self.page.locator("#form-status")).not_to_be_empty()

    def save(self, button: str = "Check and save the finished file") -> tuple[str, dict, str]:
        """Name, record and text of the file that a button saves."""
        with self.page.expect_download() as waited:
            self.page.get_by_role("button", name=button).click()
        text = Path(waited.value.path()).read_text(encoding="utf-8")
        return waited.value.suggested_filename, json.loads(text), text

    def refused(self) -> None:
        """Ask for the finished file of a draft that is not one."""
        self.page.get_by_role("button", name="Check and save the finished file").click()
        expect(self.page.locator("#form-wrong")).to_be_visible()

    def person(self, number: int) -> Locator:
        return self.page.get_by_role("group", name=f"Person {number}", exact=True)

    def blade(self, number: int) -> Locator:
        return self.page.get_by_role("group", name=f"Blade {number}", exact=True)

    def run(self, number: int) -> Locator:
        """A run's card, unfolded."""
        card = self.page.locator(f"details[data-title='Run {number}']")
        if card.get_attribute("open") is None:
            card.locator("summary").first.click()
        return card

    def cell(self, number: int, work: object, repeat: int) -> Locator:
        return self.run(number).get_by_label(f"Run {number}, at {work}, repeat {repeat}", exact=True)

    def said_at(self, field: Locator) -> Locator:
        """What is said at a field, as soon as it is: the form looks when the field has been left, not in the same instant."""
        expect(field).to_have_attribute("aria-describedby", re.compile(r"\S"))
        return self.page.locator(f"[id='{field.get_attribute('aria-describedby').split()[-1]}']")


def new_context(browser: Browser, **settings: object) -> BrowserContext:
    context = browser.new_context(**{"viewport": WIDE, "accept_downloads": True} | settings)
    context.add_init_script(WATCH)
    return context


def type_example(tab: Tab, record: dict) -> dict[str, int]:
    """Type a record into an empty form; how many fields and how many readings that took."""
    fields = readings = 0
    for number, person in enumerate(record["people"], 1):
        tab.person(number).get_by_label("Handle", exact=True).fill(person["handle"])
        tab.person(number).get_by_label("This person agreed").check()
        fields += 2
    for number, blade in enumerate(record["blades"], 1):
        tab.blade(number).get_by_label("Key", exact=True).fill(blade["key"])
        fields += 1
    tab.page.keyboard.press("Tab")  # a field is read when it is left
    preparations = {preparation["id"]: preparation for preparation in record["preparations"]}
    for number, run in enumerate(record["runs"], 1):
        preparation = preparations[run["preparation"]]
        for label, value in (
            ("Blade", preparation["blade"]), ("Sharpener", preparation["sharpener"]), ("Tester", run["tester"]),
            ("Reading unit", run.get("reading_unit")), ("Ended", run["ended"]),
        ):  # fmt: skip
            fields += _choose(tab, number, label, value)
        for reading in run["readings"]:
            for repeat, value in enumerate(reading.get("values") or reading["outcomes"], 1):
                readings += 1
                cell = tab.cell(number, reading["work"], repeat)
                cell.select_option(value) if isinstance(value, str) else cell.fill(f"{value['written']:g}")
    tab.page.keyboard.press("Tab")
    return {"fields": fields, "readings": readings}


def _choose(tab: Tab, number: int, label: str, value: str | None) -> int:
    """Choose a word where it does not stand already; 1 when there was something to do."""
    if value is None:
        return 0
    box = tab.run(number).get_by_label(label, exact=True).first  # the guess, further down, has a blade and a sharpener too
    if box.input_value() == value:
        return 0
    box.select_option(value)
    return 1


def check_file(root: Path, name: str, text: str) -> Repository:
    """A repository that holds the protocols and one file, where the file itself says it belongs.

    Without what is found in the protocols: their adoptions rest on the demonstration, which is not there.
    """
    record = json.loads(text)
    folder = root / "submissions" / record["origin"] / record["protocol"]["id"]
    folder.mkdir(parents=True)
    (folder / name).write_text(text, encoding="utf-8")
    copy_protocols(root)
    repository = load_repository(root)
    return replace(repository, findings=tuple(f for f in repository.findings if not f.file.startswith("protocols/")))


def this_month() -> str:
    return f"{datetime.date.today():%Y-%m}"


def words(locator: Locator) -> str:
    return re.sub(r"\s+", " ", locator.inner_text())
