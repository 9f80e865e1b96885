"""The answer on the screen has the program's numbers to 1e-6 and its sentences to the letter, in a real browser."""

import json
import math
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
from answers.cases import answered, differences, files, protocol_of, rules_of
from answers.generated import generated
from playwright.sync_api import Browser, Page
from scipy.special import gammaln, log_ndtr, ndtri
from scipy.stats import f, t

from edgehold.endpoints.draws import key_of, normal_draws
from edgehold.errors import WrittenError
from edgehold.estimates import Contrast, ContrastBounded, ContrastEstimated, ContrastNotEstimable
from edgehold.forms.answer import sentences
from edgehold.records.registers import load_units
from edgehold.records.units import canonical_value, grammar, parse_number
from edgehold.results.words.verdicts import kind_of, own_sentence
from tests.report.contrasts import every_verdict

from .serving import modules

SCRIPTS = Path(__file__).parents[2] / "site" / "pages" / "assets" / "form"
GENERATED = 200
HALF_DONE = ("people", "blades", "preparations", "runs")


@pytest.fixture(scope="module")
def page(browser: Browser) -> Iterator[Page]:
    with modules(browser, SCRIPTS, "answer.js") as opened:
        yield opened


def in_browser(page: Page, script: str, body: str, given: object) -> object:
    """What ``body`` makes of ``given`` (a plain value) with the exports of one script, called ``m``."""
    return page.evaluate(f"async given => {{ const m = await import('./{script}.js'); {body} }}", given)


def answers(page: Page, cases: list[dict]) -> list[dict]:
    given = [{"submission": case["submission"], "rules": rules_of(case)} for case in cases]
    return in_browser(page, "answer", "return given.map(one => m.answer(one.submission, one.rules));", given)


def test_every_case_is_answered_as_the_program_answers_it(page):
    cases = files()
    for (name, case), got in zip(cases.items(), answers(page, list(cases.values())), strict=True):
        assert differences(case["expected"], got) == [], name


def test_submissions_drawn_at_random_are_answered_as_the_program_answers_them(page):
    cases = [generated(seed) for seed in range(GENERATED)]
    expected = [answered(case) for case in cases]
    assert sum(r["ratio"] is not None for e in expected for r in e["results"]) > 5 * GENERATED
    wrong = {c["says"]: found for c, e, got in zip(cases, expected, answers(page, cases), strict=True) if (found := differences(e, got))}
    assert wrong == {}


@pytest.mark.parametrize("factor", ["sharpener", "practice", "blade"])
@pytest.mark.parametrize("kind", ["life", "level"])
def test_every_verdict_is_told_in_the_programs_words(kind, factor, page):
    rule = next(rule for rule in protocol_of(files()["pooled-runs"]).endpoints if rule.kind == kind)
    made = [one.contrast for one in every_verdict(factor)]
    given = {"contrasts": [as_in_browser(one) for one in made], "rule": rule.model_dump(mode="json"), "words": sentences()}
    body = """const ends = { "-inf": -Infinity, inf: Infinity }, number = value => ends[value] ?? value;
      const read = one => ({ ...one, low: number(one.low), high: number(one.high), excludes: number(one.excludes) });
      return given.contrasts.map(one => m.answerSentence(read(one), given.rule, "cut", given.words));"""
    assert in_browser(page, "sentences", body, given) == [own_sentence(one, rule, "cut") for one in made]


def as_in_browser(one: Contrast) -> dict[str, object]:
    """A contrast as answer.js has it; an infinite number as its name, for JSON has none."""
    estimated = isinstance(one, ContrastEstimated)
    low, high = (one.interval.low, one.interval.high) if estimated else (None, None)
    excludes = math.inf if isinstance(one, ContrastNotEstimable) else one.verdict.excludes
    numbers = {"low": low, "high": high, "excludes": excludes}
    return {
        **{name: getattr(one, name) for name in ("factor", "first", "second")},
        "estimate": one.estimate if estimated else None,
        **{name: str(value) if value is not None and math.isinf(value) else value for name, value in numbers.items()},
        "bound": {"side": one.bound.kind, "ln": one.bound.ratio} if isinstance(one, ContrastBounded) else None,
        "verdict": kind_of(one),
        "reason": "" if estimated else str(one.reason),
    }


def test_a_half_done_submission_is_answered_as_far_as_it_goes(page):
    case = files()["three-runs-each"]
    whole, rules = case["submission"], rules_of(case)
    cut = [{key: value for key, value in whole.items() if key != gone} for gone in HALF_DONE]
    cut.append(whole | {"runs": [{"id": "run-1"}, *whole["runs"][1:]]})
    cut.append(whole | {"runs": [run | {"readings": [{"work": "", "values": [{"written": ""}]}]} for run in whole["runs"]]})
    cut.append({})
    found = in_browser(page, "answer", "return given.cut.map(one => m.answer(one, given.rules));", {"cut": cut, "rules": rules})
    assert [len(one["rows"]) for one in found] == [24, 24, 0, 0, 20, 24, 0]
    assert differences(case["expected"], found[0]) == []
    assert "cannot be read" in found[5]["notes"][0]
    assert found[6]["notes"][0].startswith("Nothing to compare")


def places(value: object, above: tuple = ()) -> list[tuple]:
    """Every place in a tree of plain values."""
    inner = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
    return [place for key, below in inner for place in [(*above, key), *places(below, (*above, key))]]


def test_a_file_of_any_shape_is_answered_without_an_error(page):
    """The form opens what somebody drags in: one value after another becomes something else."""
    rng, odd, broken = np.random.default_rng(5), [None, "", {}, [], 0, -1, "abc", True, "1e999", [None], [{}]], []
    for name in ("one-run-each", "passed-again", "lots", "angles-held"):
        case = files()[name]
        for place in rng.permutation(np.array(places(case["submission"]), dtype=object))[:100]:
            other = json.loads(json.dumps(case["submission"]))
            at = other
            for key in place[:-1]:
                at = at[key]
            at[place[-1]] = odd[rng.integers(len(odd))]
            broken.append({"submission": other, "rules": name})
    body = "return given.broken.map(one => m.answer(one.submission, given.rules[one.rules]).rows.length);"
    rules = {name: rules_of(files()[name]) for name in {one["rules"] for one in broken}}
    assert len(in_browser(page, "answer", body, {"broken": broken, "rules": rules})) == 400


def test_written_numbers_are_read_as_the_program_reads_them(page):
    texts = [
        "3 1/8", "3½", "1.234,5", "1,234.5", "1,234", "0,5", ".5", "5.", "25 (5)", "1.25(3)", "1.25(0.03)", "1.25 ± 0.3", '3/8"', "5°",
        "12 to 14", "<3", "", "- 4", "\u22124", "1e3", "1E-3", "1 234", "2026-05-01", "4 5/4", "1e20", "1e-20", "twelve", "12 gf", "x" * 50,
        "it's", "½", "01/02", "1e3(2)", 0.1, 12, 0.30000000000000004, 1e-14,
    ]  # fmt: skip
    pairs = [("gf", "N"), ("oz", "N"), ("lbf", "gf"), ("in", "m"), ("ft", "mm"), ("°F", "°C"), ("N", "m")]
    cases = [(text, *pairs[i % len(pairs)]) for i, text in enumerate(texts * len(pairs))]
    rules = {"numbers": grammar(), "units": [unit.model_dump(mode="json") for unit in load_units().units]}
    body = """return given.cases.map(([written, unit, goal]) => {
      try {
        const { value, uncertainty, unit: mark } = m.parseNumber(written, given.rules.numbers);
        return [value, uncertainty, mark, m.canonicalValue(written, unit, goal, given.rules)];
      } catch (error) { return [error.problem, error.cure]; }
    });"""
    got = in_browser(page, "units", body, {"cases": cases, "rules": rules})
    assert got == [_read(*case) for case in cases]


def _read(written: object, unit: str, goal: str) -> list:
    try:
        number = parse_number(written)
        return [number.value, number.uncertainty, number.unit, canonical_value(written, unit, goal)]
    except WrittenError as error:
        return [error.problem, error.cure]


def test_the_draws_are_the_programs(page):
    names = [["wren-1", "run-1", "life"], ["a", "b"], ["ä" * 100, "x" * 55]]
    got = in_browser(page, "draws", "return given.map(names => m.normalDraws(m.keyOf(...names), 400, 7));", names)
    for own, drawn in zip(names, got, strict=True):
        assert np.allclose(drawn, normal_draws(key_of(*own), 400, 7), rtol=0, atol=1e-13)


def test_distributions_agree_with_scipy(page):
    z = np.linspace(-38, 8, 200).tolist()
    p = [1e-10, 1e-5, 0.001, 0.2, 0.4999, 0.5, 0.6, 0.97, 0.99999]
    quantiles = [(q, df) for q in (0.9, 0.95, 0.975, 0.9999) for df in (0.5, 1, 1.7, 4, 6, 33.3, 400, 3000)]
    body = "return [given.z.map(m.logNormal), given.p.map(m.normalQuantile), given.z.map(z => m.logGamma(z + 39)), "
    body += "given.q.map(([p, df]) => m.tQuantile(p, df)), given.q.map(([p, df]) => m.fQuantile(p, df))];"
    logs, normal, gamma, students, fishers = in_browser(page, "distributions", body, {"z": z, "p": p, "q": quantiles})
    assert np.allclose(logs, log_ndtr(z), rtol=1e-13)
    assert np.allclose(normal, ndtri(p), rtol=0, atol=1e-14)
    assert np.allclose(gamma, gammaln(np.array(z) + 39), rtol=1e-13, atol=1e-13)
    assert np.allclose(students, [t.ppf(*pair) for pair in quantiles], rtol=2e-12)
    assert np.allclose(fishers, [f.ppf(q, 1, df) for q, df in quantiles], rtol=1e-11)


def test_numbers_in_sentences_are_written_as_the_program_writes_them(page):
    from edgehold.results.words.sentences import amount

    values = [2.125, 1.015, 12.25, 1234.5, 999.6, 99950.0, 2e-5, 3.25e7, 0.125, 0.0012345, 1.0, 0.5, 1 / 3, 2 / 3, 100000.0, 0.0625, 12.35]
    got = in_browser(page, "sentences", "return given.map(x => [m.amount(x), m.general(x), m.general(x, 3)]);", values)
    assert got == [[amount(x), f"{x:g}", f"{x:.3g}"] for x in values]
    assert json.dumps(in_browser(page, "sentences", "return given.map(m.rounded);", [0.5, 1.5, 2.5, 2.4, 2.6])) == "[0, 2, 2, 2, 3]"
