"""Every drawing says what it shows, and the same numbers stand beside it as a table."""

import csv
import re

import pytest

from .kinds import example

CHARTS = "article [role=img]:visible"


def test_every_drawing_on_every_page_has_a_name(facts):
    assert {address: seen["unnamedDrawings"] for address, seen in facts.items() if seen["unnamedDrawings"]} == {}


@pytest.mark.parametrize("width", [1280, 390])
def test_the_first_page_shows_one_chart_that_names_its_finding_and_every_steel(open_page, width):
    page = open_page("/", viewport={"width": width, "height": 900})
    charts = [chart for chart in page.locator(CHARTS).all() if chart.bounding_box()["height"] > 150]
    assert len(charts) == 1
    assert re.search(r"imulated.*\d", charts[0].get_attribute("aria-label"))
    drawn = charts[0].text_content()
    steels = {cell.split()[0] for cell in page.locator("details table tbody th").all_text_contents()}
    assert len(steels) == 6
    assert all(steel in drawn for steel in steels)


def test_the_table_behind_the_curves_holds_the_published_numbers(open_page, facts, site):
    address = example("pool", list(facts))
    protocol, major = re.fullmatch(r"/results/(.+)-v(\d+)-simulated/", address).groups()
    with (site / "data" / "curves.csv").open(newline="", encoding="utf-8") as file:
        rows = [row for row in csv.DictReader(file) if (row["protocol"], row["major"]) == (protocol, major)]
    page = open_page(address)
    table = page.locator("section, article").filter(has=page.locator("figure")).last.locator("details table")
    shown = table.locator("tbody tr").evaluate_all("rows => rows.map(row => [...row.cells].map(cell => cell.textContent.trim()))")
    assert len(shown) == len(rows) > 10
    for cells, row in zip(shown, rows, strict=True):
        assert cells[0].startswith(row["steel"])
        assert float(cells[1]) == float(row["work"])
        assert float(cells[2].lstrip("×")) == pytest.approx(float(row["ratio"]), rel=6e-3)
        assert int(cells[4]) == int(row["runs"])


@pytest.mark.parametrize("kind", ["comparison", "sharpening"])
def test_a_forest_plot_draws_every_ratio_of_its_table_and_says_it(open_page, facts, kind):
    page = open_page(example(kind, list(facts)))
    rows = page.locator("article table:has(tfoot) :is(tbody, tfoot) tr").evaluate_all("""rows => rows.map(row => [row.innerText,
      [...row.querySelectorAll("[role=img]")].map(bar => [bar.getAttribute("aria-label"), bar.getBoundingClientRect().width])])""")
    drawn = 0
    for text, bars in rows:
        if ratio := re.search(r"(?:^|\s)(×[\d.]+) \(", text):
            [(name, width)] = bars
            assert name.startswith(f"{ratio[1]}, 95 % interval ")
            assert width > 100
            drawn += 1
    assert drawn >= 3


def test_bars_stand_where_their_ratios_do(open_page, facts):
    page = open_page(example("sharpening", list(facts)))
    found = (
        page.locator("article table:has(tfoot)")
        .first.locator("tbody tr")
        .evaluate_all("""rows => rows.map(row => {
      const drawing = row.querySelector("svg[role=img]"), marks = drawing ? [...drawing.children] : [];
      const mark = marks.length ? marks[marks.length - 1].getBoundingClientRect() : null;
      return [row.innerText, mark && mark.left + mark.width / 2];
    })""")
    )
    places = sorted((float(m[1]), x) for text, x in found if x and (m := re.search(r"(?:^|\s)×([\d.]+) \(", text)))
    assert len(places) >= 5
    assert [x for _, x in places] == sorted(x for _, x in places)
