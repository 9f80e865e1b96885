"""The methods page: its sections can be pointed at, for good."""

import re
from pathlib import Path

METHODS = Path(__file__).parents[2] / "site" / "pages" / "methods.md"
FOR_GOOD = {
    "one-answer",
    "from-readings-to-endpoints",
    "one-submission",
    "planning-an-evening",
    "all-submissions-together",
    "testers",
    "what-is-not-adjusted-for",
    "never-pooled",
    "what-can-be-told-apart",
    "all-runs-in-one-model",
    "steels-that-never-met",
    "two-steels-along-the-whole-course-of-work",
    "probes",
    "objections",
    "what-a-pooled-ratio-leans-on",
    "the-log",
}


def test_every_section_has_an_address_that_does_not_hang_on_its_words():
    headings = re.findall(r"^## .*$", METHODS.read_text(encoding="utf-8"), re.M)
    assert headings and all(re.search(r"\{#[a-z-]+\}$", heading) for heading in headings)


def test_no_section_that_an_objection_may_point_at_loses_its_address():
    found = re.findall(r"^## .*\{#([a-z-]+)\}$", METHODS.read_text(encoding="utf-8"), re.M)
    assert len(found) == len(set(found))
    assert set(found) >= FOR_GOOD
