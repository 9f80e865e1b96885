"""One build, one crawl and one browser for all browser tests. A missing browser is a failure, never a skip."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, BrowserContext, Page, expect, sync_playwright

from edgehold import builds
from tests.forms.review_corpus import two_threads
from tests.published import build_demonstration, copy_demonstrated
from tests.shared import once

from .chromium import SWITCHES, chromium_path
from .crawling import WIDE, crawl, pages_of
from .forms import Tab, new_context
from .hostile import write_hostile_repository
from .kinds import some
from .serving import served

expect.set_options(timeout=20_000)  # on a machine that runs other tests at the same time


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    for item in items:
        if Path(__file__).parent in item.path.parents:
            item.add_marker("browser")
            item.add_marker(pytest.mark.flaky(reruns=1))  # a second try, which the summary lists; what fails twice has failed


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    try:
        executable = chromium_path()
    except FileNotFoundError as error:
        pytest.fail(str(error))
    with sync_playwright() as playwright:
        started = playwright.chromium.launch(executable_path=executable, args=SWITCHES)
        yield started
        started.close()


@pytest.fixture
def context(browser: Browser) -> Iterator[BrowserContext]:
    """Fresh settings and an empty memory."""
    made = new_context(browser)
    yield made
    made.close()


@pytest.fixture
def tab(context: BrowserContext, form_base: str) -> Iterator[Tab]:
    """The form in a page of its own; nothing may go wrong in it that a test does not name."""
    opened = Tab(context, form_base)
    yield opened
    assert opened.troubles == []
    assert opened.page.evaluate("window.policyViolations") == []


@pytest.fixture(scope="session")
def site(common: Path) -> Path:
    """The demonstration, built by the project's own path."""
    return once(common, "demonstration", build_demonstration) / "build" / "site"


@pytest.fixture(scope="session")
def base(site: Path) -> Iterator[str]:
    """Address of the demonstration's site."""
    with served(site) as address:
        yield address


@pytest.fixture(scope="session")
def addresses(site: Path) -> list[str]:
    """All pages of the demonstration."""
    return pages_of(site)


@pytest.fixture(scope="session", params=["some pages", pytest.param("all pages", marks=pytest.mark.long)])
def facts(request: pytest.FixtureRequest, common: Path, browser: Browser, addresses: list[str], base: str) -> dict[str, dict]:
    """What the browser saw on the pages of the demonstration, by address; of some alike only on a part, on all in `make test-long`."""
    visited = addresses if request.param == "all pages" else some(addresses)
    return _crawled(common / f"demonstration-facts, {request.param}", browser, visited, base)


@pytest.fixture(scope="session")
def form_root(common: Path) -> Path:
    """The protocols with next to no submissions and an objection to two of their parts, for everything that is about forms."""

    def build(root: Path) -> None:
        copy_demonstrated(root)
        two_threads(root)
        builds.site(root)

    return once(common, "form", build)


@pytest.fixture(scope="session")
def form_site(form_root: Path) -> Path:
    """Its site."""
    return form_root / "build" / "site"


@pytest.fixture(scope="session")
def form_base(form_site: Path) -> Iterator[str]:
    """Address of the site with the forms."""
    with served(form_site) as address:
        yield address


@pytest.fixture(scope="session")
def hostile_site(common: Path) -> Path:
    """A repository with payloads in every free text, built by the project's own path."""

    def build(root: Path) -> None:
        write_hostile_repository(root)
        builds.site(root, archive=root / "kept")

    return once(common, "hostile", build) / "build" / "site"


@pytest.fixture(scope="session")
def hostile_facts(common: Path, browser: Browser, hostile_site: Path) -> dict[str, dict]:
    """What the browser saw on every page made from the hostile repository, by address."""
    with served(hostile_site) as address:
        return _crawled(common / "hostile-facts", browser, pages_of(hostile_site), address)


def _crawled(place: Path, browser: Browser, pages: list[str], address: str) -> dict[str, dict]:
    def visit(file: Path) -> None:
        found = crawl(browser, address, pages)
        file.write_text(json.dumps(found).replace(address, ""), encoding="utf-8")

    return json.loads(once(place.parent, place.name, visit).read_text(encoding="utf-8"))


@pytest.fixture
def open_page(browser: Browser, base: str) -> Iterator[Callable[..., Page]]:
    """Open an address of the demonstration; keyword arguments are the browser context's."""
    contexts = []

    def open_at(address: str, **settings: object) -> Page:
        contexts.append(browser.new_context(**{"viewport": WIDE} | settings))
        page = contexts[-1].new_page()
        page.goto(base + address, wait_until="load")
        return page

    yield open_at
    for context in contexts:
        context.close()
