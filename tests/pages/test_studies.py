"""What single studies do to a pooled ratio, small studies and clusters of people, as the pages show them."""

from __future__ import annotations

import re

import html5lib
import pytest
from sample import results
from sample_analyses import PAIRS

from tests.generated import generate_pages

POOL = "results/steels-rope-v1-measured"


@pytest.fixture(scope="module")
def pages() -> dict[str, str]:
    return {path: text.split("---\n", 2)[2] for path, text in generate_pages(results(measured=4, simulated=0))}


def words(html: str) -> str:
    return " ".join("".join(html5lib.parse(html).itertext()).split())


def below(page: str, endpoint: str) -> str:
    """From the heading of an endpoint's studies to the next heading."""
    return page.split(f'id="{endpoint}-studies"')[1].split("<h3")[0]


@pytest.fixture(scope="module")
def pair(pages) -> str:
    return pages[f"{POOL}/compare/{PAIRS[0][0]}-and-{PAIRS[0][1]}/index.md"]


def test_a_pair_says_under_for_analysts_what_it_would_be_without_the_study_that_moves_it_most(pair):
    sentence = "Without the study that moves it most (study 2) the ratio would be ×0.54 instead of ×0.6."
    assert sentence in words(below(pair, "early")) and pair.index('id="for-analysts"') < pair.index('id="early-studies"')


def test_every_study_has_a_row_with_its_measures_and_what_is_missing_has_its_reason(pair):
    table = re.search(r"<tbody>(.*?)</tbody>", below(pair, "early"), re.DOTALL)[1]
    first, second, third = (words(row.replace("</", " </")) for row in re.findall(r"<tr>(.*?)</tr>", table, re.DOTALL))
    assert "×0.63 (×0.382 to ×1.04)" in first and first.endswith("33 % -1.87 0.437 0.871 0")
    assert "×0.54 (two studies left: no interval)" in second
    assert "the others alone cannot be fitted" in third and "×" not in third and third.endswith("33 % – – – –")


def test_below_ten_studies_it_says_that_it_was_not_asked_and_prints_no_figure(pair):
    facts = words(below(pair, "early").split("<dl")[1])
    assert "fewer than ten studies: not asked" in facts and "Fewer than ten clusters of people: not asked" in facts
    assert "×" not in facts and "p =" not in facts


def test_from_ten_on_slope_funnel_and_clusters_stand_on_the_page_of_sharpening(pages):
    facts = words(below(pages[f"{POOL}/sharpening/index.md"], "early").split("<dl")[1])
    assert "Slope 1.73, standard error 0.61, 9 degrees of freedom; at standard error 0 ×1.08" in facts
    assert "trim and fill ×1.15" in facts and "from 12 clusters, 8.4 degrees of freedom" in facts


def test_analysts_find_every_pooled_comparison_in_one_line_and_nothing_is_said_to_be_missing(pages):
    page = pages["analysts/index.md"]
    assert "What is not here yet" not in page
    lines = page.split("Single studies, small studies, clusters of people: Sharpness after 10 cuts")[1].split("</details>")[0]
    heads = re.findall(r'<th scope="row">(.*?)</th>', lines, re.DOTALL)
    assert words(heads[0]) == f"{PAIRS[0][0]} against {PAIRS[0][1]}"
    assert words(heads[-1]) == "practised sharpener against novice sharpener"
    assert "(study 2)" in words(lines)


def test_what_is_not_pooled_has_no_such_heading(pages):
    single = pages[f"{POOL}/compare/{PAIRS[2][0]}-and-{PAIRS[2][1]}/index.md"]
    assert "-studies" not in single
