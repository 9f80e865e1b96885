"""The finished site, and the pages as a pure function of the results."""

from __future__ import annotations

import hashlib
import json
import re
from collections import Counter
from functools import cache
from html import unescape
from pathlib import Path
from urllib.parse import urlsplit

import pytest
from reading import parsed
from sample import HANDLES, results

from edgehold.pages.csp import policy
from edgehold.pages.links import broken_links
from edgehold.pages.search_index import PLACE
from edgehold.pages.site import PROJECT, build_site
from edgehold.words import Reason, together
from tests.generated import generate_pages

POLICY = re.compile(r'<meta http-equiv="Content-Security-Policy" content="([^"]*)">')
LOADS = {"script": "src", "img": "src", "iframe": "src", "link": "href", "source": "src", "form": "action"}


def pages_of(site: Path) -> dict[str, str]:
    return {p.relative_to(site).as_posix(): p.read_text(encoding="utf-8") for p in site.rglob("*.html")}


def words(html: str) -> str:
    return " ".join("".join(parsed(html).tree.itertext()).split())


@cache
def generated(measured: int, simulated: int) -> tuple[tuple[str, str], ...]:
    return generate_pages(results(measured, simulated))


def home(measured: int, simulated: int) -> str:
    return words(dict(generated(measured, simulated))["index.md"].split("---\n", 2)[2])


def test_pages_are_a_pure_function_of_the_results() -> None:
    given = results(measured=4, simulated=4)
    before = given.model_dump_json()
    assert generate_pages(given) == generate_pages(results(measured=4, simulated=4))
    assert given.model_dump_json() == before


def test_the_same_results_give_the_same_bytes(site: Path, tmp_path: Path) -> None:
    build_site(
        results(measured=4, simulated=4),
        tmp_path / "none",
        tmp_path,
        {"results.json": b"{}\n", "comparisons.csv": b"a,b\n", "datapackage.json": b"{}\n"},
    )

    def hashes(folder: Path) -> dict[str, str]:
        return {p.relative_to(folder).as_posix(): hashlib.sha256(p.read_bytes()).hexdigest() for p in folder.rglob("*") if p.is_file()}

    assert hashes(tmp_path) == hashes(site)


@pytest.mark.parametrize(("measured", "simulated"), [(0, 0), (0, 2), (1, 0), (1, 4), (2, 4)])
def test_a_site_of_few_submissions_builds_and_no_link_is_broken(measured: int, simulated: int, tmp_path: Path) -> None:
    build_site(results(measured, simulated), tmp_path / "none", tmp_path, {})
    assert (tmp_path / "index.html").is_file() and broken_links(tmp_path) == []


def test_the_first_page_answers_for_none_one_two_and_more() -> None:
    assert Reason("pages.no_measured") in home(0, 4) and Reason("pages.no_measured") in home(0, 0)
    for number, few in ((1, "one"), (2, "two")):
        said = results(number, 4).pools[-1].headline.removeprefix(Reason(f"studies_answer.{few}_so_far"))
        assert f"{Reason(f'pages.{few}_measured')}{said}" in home(number, 4), "how few they are is said once"
    assert results(3, 4).pools[-1].headline in home(3, 4)


def test_a_first_submission_without_anything_to_compare_is_counted_once() -> None:
    found = results(1, 0)
    nothing = {"headline": together(Reason("studies_answer.one_so_far"), Reason("studies_answer.nothing")), "quoted": None}
    bare = tuple(pool.model_copy(update=nothing) for pool in found.pools)
    page = dict(generate_pages(found.model_copy(update={"pools": bare})))["index.md"]
    assert together(Reason("pages.one_measured"), Reason("studies_answer.nothing")) in page


def test_measured_results_come_first_and_the_demonstration_goes_to_its_corner() -> None:
    assert "Simulated demonstration. Invented volunteers" in home(0, 4)
    assert "Simulated demonstration. Invented volunteers" not in home(1, 4)
    index = dict(generated(3, 4))["results/index.md"]
    assert index.index("steels-rope-v1-measured") < index.index('id="demonstration"') < index.index("steels-rope-v1-simulated")


def test_downloads_lie_under_data_and_are_listed(site: Path) -> None:
    assert (site / "data" / "comparisons.csv").read_bytes() == b"a,b\n"
    assert 'href="comparisons.csv"' in (site / "data" / "index.html").read_text(encoding="utf-8")


def test_simulated_stands_in_the_banner_of_a_page_and_once_at_every_table_and_chart() -> None:
    """The caption goes with a picture of a table, the title with one of a chart; a screen reader hears it before the chart."""
    for path, text in generated(0, 4):
        if "simulated" not in path and not path.startswith("compare/"):
            continue
        html = text.split("---\n", 2)[2]
        assert html.count('class="banner simulated"') == 1, path
        for table in re.findall(r"<table>(.*?)</table>", html, re.DOTALL):
            (caption,) = re.findall(r"<caption>(.*?)</caption>", table, re.DOTALL)
            assert caption.endswith("Simulated.") and words(table).lower().count("simulated") == 1, (path, caption)
        for figure in re.findall(r"<figure.*?</figure>", html, re.DOTALL):
            assert words(figure.split("<figcaption>")[1]).startswith("Simulated."), (path, figure[:200])
        for label, drawing in re.findall(r'role="img" aria-label="([^"]*)"><svg(.*?)</svg>', html, re.DOTALL):
            assert label.startswith("Simulated.") and drawing.count("simulated demonstration") == 1


def test_rows_are_marked_where_a_table_holds_measured_and_simulated_ones() -> None:
    for measured, simulated in ((0, 4), (4, 4), (4, 0)):
        ledger = dict(generated(measured, simulated))["submissions/index.md"]
        rows = re.findall(r"<tr><th scope=\"row\".*?</tr>", ledger)
        marked = [row for row in rows if '<span class="mark">simulated</span>' in row]
        assert len(rows) >= measured + simulated and len(marked) == (
            len([row for row in rows if 'href="simulated/' in row]) if measured else 0
        )
        assert ("Every submission. Simulated.</caption>" in ledger) == (not measured)
        assert ('class="banner simulated"' in ledger) == bool(simulated)


def test_a_page_of_measured_results_is_not_called_simulated() -> None:
    pages = dict(generated(4, 0))
    assert "simulated" not in pages["results/steels-rope-v1-measured/index.md"].lower()


def test_handles_stand_on_pages_of_submissions_only() -> None:
    for path, text in generated(4, 4):
        found = [h for h in HANDLES if re.search(rf"\b{h}\b", words(text.split("---\n", 2)[2]))]
        assert (found != []) == bool(re.fullmatch(r"submissions/.+/.+/index\.md", path)), (path, found)


def test_what_cannot_be_told_apart_has_no_ratio() -> None:
    pool = next(p for p in results(measured=4, simulated=0).pools)
    page = dict(generated(4, 0))["results/steels-rope-v1-measured/late/index.md"]
    for comparison in pool.endpoints[1].steels:
        row = re.search(rf'<tr id="{comparison.first}-and-{comparison.second}">(.*?)</tr>', page, re.DOTALL)
        assert row is not None
        assert ("×" in row[1]) == (comparison.state == "estimated")
    drawn = re.findall(r'<svg class="plot-(?:wide|narrow)".*?</svg>', page, re.DOTALL)
    told = sum(comparison.state == "estimated" for comparison in pool.endpoints[1].steels)
    assert [one.count("plot-diamond") for one in drawn] == [told, told]


def test_every_page_has_a_strict_policy_that_fits_its_scripts(site: Path) -> None:
    for page, html in pages_of(site).items():
        (found,) = POLICY.findall(html)
        assert found == policy(POLICY.sub("", html)), page
        assert "unsafe" not in found and "default-src 'none'" in found
        assert html.index("Content-Security-Policy") < html.index("<script")


def test_no_page_has_an_inline_style_or_handler(site: Path) -> None:
    for page, html in pages_of(site).items():
        for element in parsed(html).tree.iter():
            if isinstance(element.tag, str):
                assert not element.tag.endswith("}style"), page
                assert not [a for a in element.attrib if a == "style" or a.startswith("on")], (page, element.attrib)


def test_nothing_is_loaded_from_another_host(site: Path) -> None:
    for page, html in pages_of(site).items():
        for element in parsed(html).tree.iter():
            attribute = LOADS.get(element.tag.rpartition("}")[2]) if isinstance(element.tag, str) else None
            if attribute and element.get("rel") != "canonical":
                assert urlsplit(element.get(attribute, "")).netloc == "", (page, element.attrib)
    for sheet in site.rglob("*.css"):
        assert not re.search(r"url\(['\"]?(?:https?:)?//", sheet.read_text(encoding="utf-8")), sheet


def test_pages_are_well_formed_and_no_id_stands_twice(site: Path) -> None:
    for page, html in pages_of(site).items():
        found = parsed(html)
        ignored = {"unexpected-end-tag-implied-end-tag"}
        assert [kind for kind in found.errors if kind not in ignored] == [], page
        twice = [i for i, n in Counter(e.get("id") for e in found.tree.iter() if isinstance(e.tag, str) and e.get("id")).items() if n > 1]
        assert twice == [], page


def test_the_link_check_sees_a_missing_page_and_a_missing_place(tmp_path: Path) -> None:
    (tmp_path / "b").mkdir()
    (tmp_path / "index.html").write_text('<a href="b/">1</a><a href="c/">2</a><a href="b/#no">3</a><a href=d.css>4</a>', encoding="utf-8")
    (tmp_path / "b" / "index.html").write_text('<p id="yes"><a href="..#no">5</a><a href="#yes">6</a></p>', encoding="utf-8")
    assert broken_links(tmp_path) == ["b/index.html: ..#no", "index.html: b/#no", "index.html: c/", "index.html: d.css"]


def test_every_page_is_in_the_search_and_a_record_only_once(site: Path) -> None:
    index = json.loads((site / PLACE).read_text(encoding="utf-8"))
    places = Counter(entry.get("address", "").partition("#")[0] for entry in index)
    assert set(places) == {path.removesuffix("index.html") for path in pages_of(site) if path != "404.html"}
    records = [p for p in places if (p.startswith(("submissions/", "steels/")) and p.count("/") > 1) or re.search("compare/.", p)]
    assert len(records) > 10 and {places[p] for p in records} == {1}
    assert places["methods/"] > 5 and places["protocols/steels-rope/"] > 3


def test_the_library_of_the_search_is_the_published_one_to_the_byte() -> None:
    vendored = PROJECT / "site" / "pages" / "assets" / "vendor" / "minisearch.mjs"
    published = PROJECT / "site" / "node_modules" / "minisearch" / "dist" / "es" / "index.js"
    locked = json.loads((PROJECT / "site" / "package-lock.json").read_text(encoding="utf-8"))["packages"]["node_modules/minisearch"][
        "version"
    ]
    assert vendored.read_text(encoding="utf-8").startswith(f"/*! MiniSearch {locked}, ")
    if not published.exists():
        pytest.skip("site/node_modules is not installed: make lint-scripts")
    notice, code = vendored.read_bytes().split(b"*/\n", 1)
    assert code == published.read_bytes() and b"Permission is hereby granted" in notice


def test_an_older_version_says_so_and_keeps_its_address(site: Path) -> None:
    old = words((site / "protocols/steels-rope/1.0.0/index.html").read_text(encoding="utf-8"))
    assert "An older version." in old
    assert "An older version." not in words((site / "protocols/steels-rope/1.1.0/index.html").read_text(encoding="utf-8"))


def test_cautions_stand_before_the_method(site: Path) -> None:
    page = (site / "protocols/steels-rope/index.html").read_text(encoding="utf-8")
    assert page.index('id="cautions"') < page.index('id="s1-safe-first"')
    assert "Local law" in page


def test_no_page_holds_the_time_it_was_made(site: Path) -> None:
    assert not (site / "sitemap.xml.gz").exists()
    assert "lastmod" not in (site / "sitemap.xml").read_text(encoding="utf-8")


def test_an_address_that_is_none_is_refused() -> None:
    from edgehold.pages.addresses import segment

    with pytest.raises(ValueError, match=r"must be letters, digits.*got '\.\./x'"):
        segment("../x")


def test_the_page_of_findings_lists_every_code_of_the_check():
    from edgehold.records.codes import CODES

    page = dict(generated(3, 4))["check/index.md"]
    assert all(f"<code>{code}</code>" in page for code in CODES)


def page_of(address: str) -> str:
    return unescape(dict(generated(4, 4))[address].split("---\n", 2)[2])


def test_a_retracted_submission_is_struck_with_its_reason_in_the_ledger_and_on_its_page() -> None:
    page = page_of("submissions/measured/steels-rope/2026-09-harbour-8/index.md")
    ledger = page_of("submissions/index.md")
    for html in (page, ledger):
        assert "<s>2026-09-harbour-8</s>" in html and "retracted" in words(html) and "The thread was changed." in words(html)
    assert "It stays readable, and is in no result." in words(page) and "pooled with the others" not in words(page)
    assert "1 more submission retracted" in words(ledger)


def test_a_correction_is_shown_with_what_stood_there_and_the_way_to_the_files() -> None:
    page = page_of("submissions/measured/steels-rope/2026-09-harbour-8/index.md")
    told = words(page)
    assert "Correction 1, October 2026, by gull" in told and "/runs/0/humidity_percentnothing55" in told
    assert "As it was sent in: submissions/measured/steels-rope/8.json" in told
    base = "https://code.example/edgehold/blob/HEAD/submissions/measured/steels-rope"
    assert f'href="{base}/8.json"' in page and f'href="{base}/changes/some-id/01-correction.json"' in page


def test_of_a_submission_that_was_taken_out_the_ledger_keeps_one_line() -> None:
    assert "gone-1October 2026privacy" in words(page_of("submissions/index.md"))


def test_an_objection_that_rests_on_a_submission_that_is_gone_says_so() -> None:
    assert "It rests on submission x." in words(page_of("objections/two-sharpeners/001/index.md"))


@pytest.mark.parametrize(
    ("url", "path"),
    [("", "a/b.json"), ("javascript:alert(1)", "a"), ("https://code.example/x", "../b"), ('https://code.example/"x', "a"),
     ("https://code.example/x", "a//b"), ("http://code.example/x", "a"), ("https://code.example/x", 'a"b')],
)  # fmt: skip
def test_only_an_address_becomes_a_link_to_a_file(url: str, path: str) -> None:
    from edgehold.pages.addresses import repository_file

    assert repository_file(url, path) == ""
    assert repository_file("https://code.example/x", "a/b.json") == "https://code.example/x/blob/HEAD/a/b.json"
