"""axe-core finds nothing serious or critical on any main kind of page, in light and in dark."""

import pytest
from axe_playwright_python.sync_playwright import Axe

from .crawling import NARROW
from .kinds import example

KINDS = [
    "home", "pool", "endpoint", "comparison", "log", "a or b", "two steels", "two levels", "steel", "ledger", "submission", "protocol",
    "changes", "objections", "objection", "methods", "analysts", "data", "archive", "explorer",
]  # fmt: skip


def grave(page) -> list[tuple[str, str]]:
    """Serious and critical findings: rule and first place."""
    found = Axe().run(page).response["violations"]
    return [(v["id"], v["nodes"][0]["html"][:160]) for v in found if v["impact"] in ("serious", "critical")]


IN_BOTH = {"home", "pool", "comparison", "a or b", "submission", "protocol", "explorer"}
"""Kinds that are looked at in dark in every run; the others, which share their colours, by `make test-long`."""
CASES = [
    pytest.param(kind, scheme, marks=[pytest.mark.long] if scheme == "dark" and kind not in IN_BOTH else [])
    for kind in KINDS
    for scheme in ("light", "dark")
]


@pytest.mark.parametrize(("kind", "scheme"), CASES)
def test_nothing_grave_is_found(open_page, addresses, kind, scheme):
    page = open_page(example(kind, addresses), color_scheme=scheme)
    page.locator("details").evaluate_all("all => all.slice(0, 2).forEach(details => { details.open = true; })")
    assert grave(page) == []


def test_nothing_grave_is_found_on_a_phone(open_page):
    assert grave(open_page("/", viewport=NARROW)) == []


def test_axe_would_have_found_a_drawing_without_a_name(open_page):
    page = open_page("/")
    page.locator("article svg[role=img]").first.evaluate("drawing => drawing.removeAttribute('aria-label')")
    assert "svg-img-alt" in dict(grave(page))
