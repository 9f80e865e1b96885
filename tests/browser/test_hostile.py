"""A repository with a payload in every free text passes the check, is built, and does nothing but be read."""

import csv
import hashlib
import json
import re
from pathlib import Path

import pytest
import yaml
from playwright.sync_api import expect

from edgehold import builds
from edgehold.errors import FindingsError
from edgehold.records import load_repository
from edgehold.records.model.changes import Correction, Retraction
from edgehold.records.model.protocol import Protocol
from edgehold.records.model.review import Event, Objection, Outcome, Response
from edgehold.records.model.submission import Submission
from edgehold.records.threads import state_of

from .crawling import NARROW
from .hostile import PROTOCOL, SNEAKY_DRAWINGS, VERSIONS, write_hostile_repository
from .payloads import as_shown
from .serving import served

CLOSED = {
    "work/unit", "work/accepted_units/*", "reading/canonical_unit", "reading/accepted_units/*", "runs/*/work_unit",
    "runs/*/reading_unit", "blades/*/steel/designation", "blades/*/thickness_behind_edge/unit", "instruments/*/resolution/unit",
    "references/*/work_unit", "references/*/reading_unit", "weights/*/known/unit", "weights/*/read/unit",
}  # fmt: skip
"""Text fields without a pattern whose words come from a register."""

MARK = re.compile(r"mark\d{4}")


@pytest.fixture(scope="module")
def hostile(tmp_path_factory):
    root = tmp_path_factory.mktemp("hostile")
    return root, write_hostile_repository(root)


def free_texts(model: type) -> set[str]:
    """Places of text that nothing limits but its length, from the model's JSON Schema; ``*`` for any entry of a list."""
    schema = model.model_json_schema()

    def places(part: dict, place: str) -> set[str]:
        part = schema["$defs"][part["$ref"].rsplit("/", 1)[1]] if "$ref" in part else part
        if "anyOf" in part:
            kinds = [option.get("type") for option in part["anyOf"]]
            return set() if "number" in kinds else set().union(*(places(option, place) for option in part["anyOf"]))
        if part.get("type") == "string":
            return set() if {"pattern", "enum", "const"} & set(part) else {place}
        found = set().union(*(places(inner, f"{place}/{name}") for name, inner in part.get("properties", {}).items()))
        return found | (places(part["items"], f"{place}/*") if part.get("type") == "array" else set())

    return {place.lstrip("/") for place in places(schema, "")} - CLOSED


def written_texts(tree: object, place: str = "") -> dict[str, list[str]]:
    """Every text of a file by its place."""
    inside = tree.items() if isinstance(tree, dict) else (("*", entry) for entry in tree) if isinstance(tree, list) else ()
    found: dict[str, list[str]] = {place.lstrip("/"): [tree]} if isinstance(tree, str) else {}
    for name, entry in inside:
        for where, texts in written_texts(entry, f"{place}/{name}").items():
            found.setdefault(where, []).extend(texts)
    return found


def front(path: Path) -> dict:
    return yaml.safe_load(path.read_text(encoding="utf-8").split("---\n", 2)[1])


@pytest.mark.parametrize(
    ("model", "pattern", "read"),
    [
        (Protocol, "protocols/*/*.md", front),
        (Event, "protocols/*/events/*.yaml", lambda path: yaml.safe_load(path.read_text(encoding="utf-8"))),
        (Objection, "protocols/*/objections/001-*/00-objection.md", front),
        (Response, "protocols/*/objections/*/*-response.md", front),
        (Outcome, "protocols/*/objections/*/*-outcome.md", front),
        (Correction, "submissions/measured/*/changes/*/*-correction.json", lambda path: json.loads(path.read_text(encoding="utf-8"))),
        (Retraction, "submissions/measured/*/changes/*/*-retraction.json", lambda path: json.loads(path.read_text(encoding="utf-8"))),
        (Submission, "submissions/*/*/*.json", lambda path: json.loads(path.read_text(encoding="utf-8"))),
    ],
)
def test_every_free_text_of_every_record_carries_a_payload(hostile, model, pattern, read):
    paths = sorted(hostile[0].glob(pattern))
    assert paths
    for path in paths:
        texts = written_texts(read(path))
        assert {place for place in free_texts(model) if not any(MARK.search(text) for text in texts.get(place, []))} == set()


def test_the_check_finds_no_error_in_it(hostile):
    repository = load_repository(hostile[0])
    assert repository.errors == ()
    assert len(repository.submissions) == 3
    assert len(repository.retracted) == 1
    states = [state_of(thread).state for thread in repository.objections if thread.objection.duplicate_of is None]
    assert states == ["open", "rebutted", "revised", "struck"]
    assert len(repository.objections) > 25


def test_no_script_runs_and_no_page_complains_or_asks_elsewhere(hostile_facts):
    assert len(hostile_facts) > 25
    for name in ("scriptRan", "errors", "elsewhere", "violations"):
        assert {address: seen[name] for address, seen in hostile_facts.items() if seen[name]} == {}, name


def test_no_element_that_somebody_smuggled_in_is_there(hostile_facts):
    for name in ("handlers", "foreign", "styled", "repeatedIds"):
        assert {address: seen[name] for address, seen in hostile_facts.items() if seen[name]} == {}, name


def test_every_address_in_the_pages_is_harmless(hostile_facts):
    """Within the site, or an http(s) link that the reader would have to follow on purpose."""
    for address, seen in hostile_facts.items():
        schemes = {re.match(r"\s*([a-z][a-z0-9+.-]*:|//)", value, re.IGNORECASE) for value in seen["addresses"]}
        assert {found[1].lower() for found in schemes if found} <= {"http:", "https:"}, address
    outside = {link for seen in hostile_facts.values() for link in seen["links"] if not link.startswith("/")}
    assert outside and all(link.startswith(("http://elsewhere.invalid", "https://elsewhere.invalid")) for link in outside - {"https://"})


def test_no_table_is_broken(hostile_facts):
    assert {address: seen["unevenTables"] for address, seen in hostile_facts.items() if seen["unevenTables"]} == {}


def test_every_page_keeps_its_one_heading_title_and_policy(hostile_facts):
    for address, seen in hostile_facts.items():
        assert len(seen["headings"]) == len(seen["policy"]) == 1, address
        assert seen["title"].endswith("Edgehold") or "Edgehold" in seen["title"], address


def test_texts_are_shown_as_typed(hostile, hostile_facts):
    shown = hostile[1].shown
    assert {f"/protocols/{PROTOCOL}/{version}/" for version in VERSIONS} < set(shown)
    assert sum(map(len, shown.values())) > 500
    for address, texts in shown.items():
        page = as_shown(hostile_facts[address]["text"])
        assert [text for text in texts if as_shown(text) not in page] == [], address


def test_what_was_struck_is_nowhere_in_the_site(hostile, hostile_site):
    """Neither on a page nor in the search nor in a download."""
    marks = {MARK.search(text)[0].encode() for text in hostile[1].struck if MARK.search(text)}
    assert len(marks) > 40
    for path in hostile_site.rglob("*"):
        if path.is_file():
            content = path.read_bytes()
            assert not [mark for mark in marks if mark in content], path


def test_long_words_wrap_on_a_phone(hostile_facts):
    assert {address: seen["scrollWidth"] for address, seen in hostile_facts.items() if seen["scrollWidth"] > seen["innerWidth"]} == {}
    assert {address: seen["wide"] for address, seen in hostile_facts.items() if seen["wide"]} == {}


def test_a_smuggled_style_hides_and_covers_nothing(browser, hostile_site):
    with served(hostile_site) as base:
        page = browser.new_page(viewport=NARROW)
        page.goto(f"{base}/protocols/{PROTOCOL}/")
        for drawing in page.locator("article figure svg").all():
            box = drawing.bounding_box()
            assert box["x"] >= 0 and box["x"] + box["width"] <= 390
            assert drawing.evaluate("drawing => getComputedStyle(drawing).position") == "static"
        expect(page.get_by_text("Local law").first).to_be_visible()
        page.close()


@pytest.mark.parametrize("payload", ["<script>", "<img ", "<svg ", "javascript:", "<iframe "])
def test_the_search_finds_hostile_texts_and_only_shows_them(browser, hostile, hostile_site, payload):
    cautions = front(hostile[0] / "protocols" / PROTOCOL / f"{VERSIONS[-1]}.md")["cautions"]
    mark = next(MARK.search(text)[0] for text in cautions if payload in text)
    with served(hostile_site) as base:
        page = browser.new_page()
        troubles = []
        page.on("dialog", lambda dialog: (troubles.append(dialog.message), dialog.dismiss()))
        page.on("request", lambda request: None if request.url.startswith(base) else troubles.append(request.url))
        page.on("console", lambda message: troubles.append(message.text) if message.type == "error" else None)
        page.goto(base)
        page.keyboard.press("/")
        page.get_by_role("textbox", name="Search").press_sequentially(mark)
        found = page.locator("#search-found")
        first = found.get_by_role("link").first
        expect(first).to_be_visible(timeout=10_000)
        assert f"/protocols/{PROTOCOL}/" in str(first.evaluate("link => link.href"))
        expect(found).to_contain_text(MARK)  # whatever strangers called a thing stands there as text
        assert found.locator("img, script, iframe, input, style, object, [onload], a[href^='javascript:' i]").count() == 0
        assert page.evaluate("window.scriptRan === undefined")
        assert troubles == []
        page.close()


def test_no_cell_of_a_download_can_start_a_formula(hostile_site):
    """A cell is a number, or does not begin with a sign that spreadsheets take for a formula; readings written "+2" come in."""
    number = re.compile(r"-?(?:\d+(?:\.\d+)?(?:e[+-]?\d+)?|INF)")
    guarded = 0
    for path in sorted((hostile_site / "data").glob("*.csv")):
        with path.open(newline="", encoding="utf-8") as file:
            rows = list(csv.reader(file))
        assert len({len(row) for row in rows}) == 1, path.name
        cells = [cell for row in rows for cell in row]
        assert [cell for cell in cells if cell.lstrip()[:1] in set("=+-@\t\r|%") and not number.fullmatch(cell)] == [], path.name
        guarded += sum(cell.startswith("'+") for cell in cells)
    assert guarded >= 60


REFUSED = {
    "a script": "<script>window.scriptRan=1</script>",
    "a handler": "<rect onload='window.scriptRan=1'/>",
    "foreign markup": "<foreignObject><p>x</p></foreignObject>",
    "an outside image": "<image href='http://elsewhere.invalid/x.png'/>",
    "an outside image, old style": "<image xmlns:xlink='http://www.w3.org/1999/xlink' xlink:href='http://elsewhere.invalid/x.png'/>",
    "a link": "<a href='javascript:window.scriptRan=1'><text>x</text></a>",
    "a reused element": "<use href='#x'/>",
    "an animation": "<set attributeName='href' to='javascript:alert(1)'/>",
    "an outside style": "<style>@import 'http://elsewhere.invalid/x.css'</style>",
    "an outside fill": "<rect fill='url(http://elsewhere.invalid/x.svg#y)'/>",
    "an entity": "<!DOCTYPE svg [<!ENTITY x 'y'>]><rect/>",
}


@pytest.mark.parametrize("inside", REFUSED.values(), ids=REFUSED)
def test_a_drawing_that_could_act_is_refused_and_nothing_is_built(tmp_path, inside):
    write_hostile_repository(tmp_path)
    drawing = f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 9 9">{inside}</svg>'
    folder = tmp_path / "protocols" / PROTOCOL
    name = next(iter(SNEAKY_DRAWINGS))
    (folder / "figures" / f"{name}.svg").write_text(drawing)
    old, new = (hashlib.sha256(text.encode()).hexdigest() for text in (SNEAKY_DRAWINGS[name], drawing))
    for version in VERSIONS:
        path = folder / f"{version}.md"
        before = path.read_bytes()
        path.write_bytes(before.replace(old.encode(), new.encode()))
        for event in (folder / "events").glob("*-released.yaml"):
            hashes = [hashlib.sha256(text).hexdigest() for text in (before, path.read_bytes())]
            event.write_text(event.read_text(encoding="utf-8").replace(*hashes), encoding="utf-8")
    assert {finding.code for finding in load_repository(tmp_path).errors} == {"active-figure"}
    with pytest.raises(FindingsError, match="1 error in the repository's files"):
        builds.site(tmp_path)
    assert not (tmp_path / "build" / "site").exists()
