"""The report gives the numbers and sentences that the screen gives: the corpus tests/answers drives both."""

import dataclasses
import json

import pytest

from edgehold.report.assemble import report_json
from edgehold.report.page import report_html
from edgehold.report.plain import WIDTH, report_text
from edgehold.words import arguments_of, code_of
from tests.answers.cases import TOLERANCE, differences

from .reports import CASES, opened, report, report_on, table

RATIOS = [name for name, case in CASES.items() if any(r["ratio"] is not None for r in case["expected"]["results"])]


@pytest.mark.parametrize("name", sorted(CASES))
def test_every_answer_of_the_corpus_stands_in_the_report(name):
    got = json.loads(json.dumps(dataclasses.asdict(report(name).answer)))
    assert differences(CASES[name]["expected"], got, tolerance=TOLERANCE) == []
    assert differences(CASES[name]["expected"], json.loads(report_json(report(name)))["answer"], tolerance=TOLERANCE) == []


@pytest.mark.parametrize("name", sorted(CASES))
def test_the_figures_of_the_leading_comparison_are_those_of_the_screen(name):
    lead = report(name).lead
    if lead is None:
        assert CASES[name]["expected"]["results"] == []
        return
    pair = (lead.factor, lead.first, lead.second)
    results = CASES[name]["expected"]["results"]
    on_screen = {r["endpoint"]: r for r in results if (r["factor"], r["first"], r["second"]) == pair}
    on_report = {r.endpoint: r for r in report(name).answer.results if (r.factor, r.first, r.second) == pair}
    assert {figure.endpoint for figure in lead.figures} == set(on_screen) == set(on_report)
    for figure in lead.figures:
        expected = on_screen[figure.endpoint]
        wanted = {key: expected[key] for key in ("ratio", "low", "high", "verdict", "ruled_out_beyond")}
        got = {key: getattr(figure, key) for key in wanted}
        assert differences(wanted, got, tolerance=TOLERANCE) == []
        whole = code_of(on_report[figure.endpoint].sentence)
        assert on_report[figure.endpoint].sentence == expected["sentence"] and code_of(figure.sentence) == whole.removesuffix(
            "_and_excluded"
        )
        known = arguments_of(on_report[figure.endpoint].sentence)
        assert {name: known[name] for name in known if name != "excluded"} == arguments_of(figure.sentence)


@pytest.mark.parametrize("name", sorted(CASES))
def test_the_text_fits_eighty_columns_and_tells_the_headline_first(name):
    text = report_text(report(name))
    assert max(map(len, text.splitlines())) <= WIDTH
    told = " ".join(text.split())
    assert told.startswith(" ".join(report(name).headline.split()))
    for figure in report(name).lead.figures if report(name).lead else ():
        assert " ".join(figure.sentence.split()) in told


@pytest.mark.parametrize("name", RATIOS[::6])
def test_text_and_page_come_out_the_same_twice(name):
    again = report_on(opened(name), table(name))
    assert report_text(again) == report_text(report(name))
    assert report_html(again) == report_html(report(name))
