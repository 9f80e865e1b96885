"""Every drawing says what it shows, and the same numbers stand beside it as a table."""

import base64
import csv
import json
import re
import struct
import zlib
from xml.etree import ElementTree

import pytest

from .crawling import NARROW, WIDE
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


def test_the_table_behind_the_curves_holds_the_published_numbers(open_page, addresses, site):
    address = example("pool", addresses)
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


PLOTS = {"comparison": 5, "sharpening": 4, "endpoint": 1, "log": 1, "pool": 1}
ON_A_PHONE = """() => {
  document.querySelectorAll("details").forEach(details => { details.open = true; });
  const shown = [...document.querySelectorAll("article svg *")].filter(one => one.checkVisibility());
  const outside = shown.filter(one => { const { left, right } = one.getBoundingClientRect(); return left < -1 || right > innerWidth + 1; });
  const size = text => text.ownerSVGElement.getBoundingClientRect().width / text.ownerSVGElement.viewBox.baseVal.width
    * parseFloat(getComputedStyle(text).fontSize);
  return {
    plots: [...document.querySelectorAll("figure.plot")].filter(one => one.checkVisibility()).length,
    outside: outside.map(one => one.outerHTML.slice(0, 120)).slice(0, 3),
    smallest: Math.min(...shown.filter(one => one.localName === "text").map(size)),
  };
}"""


@pytest.mark.parametrize("kind", PLOTS)
def test_on_a_phone_every_bar_is_on_the_screen_and_every_word_can_be_read(open_page, addresses, kind):
    seen = open_page(example(kind, addresses), viewport=NARROW).evaluate(ON_A_PHONE)
    assert seen["plots"] >= PLOTS[kind]
    assert seen["outside"] == []
    assert seen["smallest"] >= 11


@pytest.mark.parametrize("viewport", [WIDE, NARROW])
def test_a_forest_plot_draws_every_ratio_of_its_table_and_says_it(open_page, addresses, viewport):
    page = open_page(example("comparison", addresses), viewport=viewport)
    tables = page.locator("details.plot-table")
    assert tables.count() >= 2
    tables.evaluate_all("all => all.forEach(details => { details.open = true; })")
    for plot, table in zip(page.locator("figure.plot:has(.plot-row)").all(), tables.all(), strict=True):
        rows = table.locator("table :is(tbody, tfoot) tr").all_inner_texts()
        told = [m[1] for row in rows if (m := re.search(r"(×[\d.]+ \([^)]+\))", row))]
        assert len(told) >= 3
        drawn = plot.locator(
            "svg[role=img]:visible .plot-row > .plot-figure:not(.plot-row > .plot-figure ~ .plot-figure)"
        ).all_text_contents()
        assert [figure for figure in drawn if "(" in figure] == told


@pytest.fixture
def saved(open_page, addresses, tmp_path):
    """The first plot of a page as its two files, saved from a dark phone."""

    def save(kind: str) -> tuple[str, bytes, str]:
        page = open_page(example(kind, addresses), viewport=NARROW, color_scheme="dark")
        figure = page.locator("figure.plot").first
        files = []
        for button in figure.get_by_role("button").all():
            with page.expect_download() as download:
                button.click()
            files.append(download.value)
        assert [file.suggested_filename.rsplit(".", 1)[1] for file in files] == ["svg", "png"]
        assert all(file.suggested_filename.startswith("plot-") for file in files)
        text, picture = (file.path().read_bytes() for file in files)
        return text.decode(), picture, figure.locator("figcaption").inner_text()

    return save


@pytest.mark.parametrize("kind", ["sharpening", "pool", "log"])
def test_a_saved_plot_stands_alone_with_its_caption_and_where_it_comes_from(saved, site, browser, kind):
    text, picture, caption = saved(kind)
    drawing = ElementTree.fromstring(text)
    words = " ".join(" ".join(one.itertext()) for one in drawing.iter("{http://www.w3.org/2000/svg}text"))
    digest = json.loads((site / "data" / "results.json").read_text(encoding="utf-8"))["provenance"]["inputs_sha256"][:12]
    for told in (*caption.split(), "Edgehold", digest):
        assert told in words, told
    assert re.findall(r"var\(|currentcolor|class=|style=|<script|href", text, re.IGNORECASE) == []
    fills = {one.get("fill") for one in drawing.iter("{http://www.w3.org/2000/svg}text")}
    assert "rgb(233, 229, 217)" not in fills  # the ink of the dark scheme, on white
    width, height = (int(float(drawing.get(side))) for side in ("width", "height"))
    assert struct.unpack(">II", picture[16:24]) == (2 * width, 2 * height)
    kept = dict(texts_of(picture))
    assert kept["Description"] == " ".join(caption.split()) and digest in kept["Source"]
    page = browser.new_page()
    page.set_content('<img alt="">')
    address = f"data:image/png;base64,{base64.b64encode(picture).decode()}"
    shown = page.locator("img").evaluate(
        "async (image, src) => { image.src = src; await image.decode(); return image.naturalWidth; }", address
    )
    assert shown == 2 * width
    page.close()


def texts_of(picture: bytes):
    """Keywords and texts of the chunks iTXt; every checksum is held to zlib's (PNG, third edition, 5.3)."""
    at = 8
    while at < len(picture):
        (length,) = struct.unpack(">I", picture[at : at + 4])
        kind, body = picture[at + 4 : at + 8], picture[at + 8 : at + 8 + length]
        assert struct.unpack(">I", picture[at + 8 + length : at + 12 + length])[0] == zlib.crc32(kind + body)
        if kind == b"iTXt":
            keyword, _, said = body.partition(b"\0")
            yield keyword.decode(), said[4:].decode()
        at += 12 + length


def test_small_multiples_single_out_every_steel_with_its_number_of_runs(open_page, addresses, site):
    page = open_page(example("pool", addresses))
    protocol, major = re.fullmatch(r"/results/(.+)-v(\d+)-simulated/", page.url.removeprefix(page.evaluate("location.origin"))).groups()
    with (site / "data" / "curves.csv").open(newline="", encoding="utf-8") as file:
        rows = [row for row in csv.DictReader(file) if (row["protocol"], row["major"]) == (protocol, major)]
    runs = {steel: max(int(row["runs"]) for row in rows if row["steel"] == steel) for steel in {row["steel"] for row in rows}}
    words = page.locator("figure.plot .chart-wide text").all_text_contents()
    assert sorted(word for word in words if word in runs) == sorted(runs)
    assert sorted(word for word in words if word.startswith("n = ")) == sorted(f"n = {n}" for n in runs.values())
