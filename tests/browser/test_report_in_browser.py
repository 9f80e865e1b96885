"""The report's page in a real browser: fits, asks for nothing, and axe-core finds nothing grave, in light and in dark."""

from pathlib import Path

import pytest

from edgehold.report.page import report_html
from tests.report.reports import report

from .test_axe import grave

CASES = ("pooled-runs", "never-dull")  # read as a value, and as pass or fail


@pytest.fixture(scope="module")
def pages(tmp_path_factory) -> dict[str, Path]:
    folder = tmp_path_factory.mktemp("reports")
    for name in CASES:
        (folder / f"{name}.html").write_text(report_html(report(name)), encoding="utf-8")
    return {name: folder / f"{name}.html" for name in CASES}


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("width", [1280, 390])
@pytest.mark.parametrize("name", CASES)
def test_it_fits_asks_for_nothing_and_can_be_read(name, width, scheme, pages, browser):
    context = browser.new_context(viewport={"width": width, "height": 900}, color_scheme=scheme, bypass_csp=True)  # axe needs its script
    page = context.new_page()
    asked, said = [], []
    page.on("request", lambda request: asked.append(request.url))
    page.on("console", lambda message: said.append(message.text))
    page.goto(pages[name].as_uri())
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    assert (asked, said) == ([pages[name].as_uri()], [])
    assert grave(page) == []
    context.close()


def test_under_its_own_policy_the_style_sheet_holds_and_no_script_runs(pages, browser):
    page = browser.new_page()
    said = []
    page.on("console", lambda message: said.append(message.text))
    page.goto(pages["pooled-runs"].as_uri())
    assert page.evaluate("getComputedStyle(document.querySelector('.panel .own')).fill") == "none"
    assert said == []
    page.evaluate("document.body.append(Object.assign(document.createElement('script'), {textContent: 'window.ran = 1'}))")
    assert page.evaluate("window.ran") is None
    page.close()
