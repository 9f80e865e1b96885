"""Levels of a treatment in the model of runs: what is told of them, and what is not."""

import ast
from pathlib import Path

import numpy as np
import pytest

import edgehold
from edgehold.pooling import headline
from edgehold.pooling.answer import LEVELS, TABLES, Estimated, NotEstimable
from edgehold.pooling.what_matters import what_matters
from edgehold.words import code_of

TRUTH = {"coarse": 0.0, "fine": 0.9}


def pool(tables=5, runs=3, words=("coarse", "fine"), seed=3, **changes):
    """Values and labels of tables at which one person makes every level on one blade of one of two steels."""
    rng = np.random.default_rng(seed)
    rows = [(t, word) for t in range(tables) for word in words for _ in range(runs)]
    y = np.array([0.2 * (t % 2) + 0.1 * t + TRUTH.get(word, 0.0) + rng.normal(0, 0.1) for t, word in rows])
    labels = {
        "steel": [f"s{t % 2}" for t, _ in rows], "blade": [f"b{t}" for t, _ in rows], "sharpener": [f"p{t}" for t, _ in rows],
        "tester": [f"p{t}" for t, _ in rows], "submission": [f"f{t}" for t, _ in rows], "level": [word for _, word in rows],
    }  # fmt: skip
    return y, labels | {name: [made(t, word) for t, word in rows] for name, made in changes.items()}


def answer_of(y, labels, high=None):
    found = headline(y, y if high is None else high, labels, worthwhile=1.25)
    return found, {(one.first, one.second): one for one in found.levels}


def test_two_levels_at_several_tables_are_answered_near_the_truth():
    found, pairs = answer_of(*pool())
    answer = pairs[("coarse", "fine")]
    assert (answer.about, answer.units_first, answer.units_second, answer.evidence) == (LEVELS, 5, 5, "direct")
    assert answer.estimate == pytest.approx(-0.9, abs=3 * 0.1 * np.sqrt(2 / 15))  # three standard errors of the runs alone
    assert answer.interval.low < -0.9 < answer.interval.high and answer.verdict.kind == "worse"
    assert {"level × steel", "level × submission"} & {part for term in found.terms.values() for part in term.parts}
    row = next(row for row in what_matters(found).rows if row.name == "level")
    assert row.typical == pytest.approx(abs(answer.estimate), abs=0.02)


def test_one_table_speaks_of_itself_and_the_levels_themselves_are_known_less():
    _, pairs = answer_of(*pool(tables=1, runs=6))
    answer = pairs[("coarse", "fine")]
    assert (answer.about, answer.verdict) == (TABLES, None)
    assert answer.interval.high - answer.interval.low < answer.general.interval.high - answer.general.interval.low


def test_a_level_that_changes_with_whoever_made_it_cannot_be_told():
    changed = {"sharpener": lambda t, word: f"{word}-maker", "tester": lambda t, word: f"p{t}"}
    _, pairs = answer_of(*pool(**changed))
    answer = pairs[("coarse", "fine")]
    assert isinstance(answer, NotEstimable) and code_of(answer.reason) == "separability.not_linked"


def test_a_level_of_which_every_run_is_known_to_one_side_only_is_left_out_and_the_others_are_answered():
    y, labels = pool(words=("coarse", "fine", "raw"))
    high = np.where(np.array(labels["level"]) == "raw", np.inf, y)
    found, pairs = answer_of(y, labels, high)
    assert isinstance(pairs[("coarse", "fine")], Estimated) and dict(found.levels_left_out) == {"raw": 15}
    assert code_of(pairs[("coarse", "raw")].reason) == code_of(pairs[("fine", "raw")].reason) == "headline.one_sided_level"


def test_runs_of_no_level_stay_in_the_model_and_out_of_the_comparison():
    y, labels = pool()
    labels["level"] = [None if n % 6 == 5 else word for n, word in enumerate(labels["level"])]
    found, pairs = answer_of(y, labels)
    assert found.runs == len(y) and list(pairs) == [("coarse", "fine")] and isinstance(pairs[("coarse", "fine")], Estimated)


def test_without_levels_the_model_is_what_it_was():
    y, labels = pool()
    plain = {name: column for name, column in labels.items() if name != "level"}
    same = headline(y, y, plain | {"level": [None] * len(y)}, worthwhile=1.25)
    assert same.levels == () and set(same.terms) == set(headline(y, y, plain, worthwhile=1.25).terms)


def test_no_module_outside_the_records_names_a_fact_that_a_level_may_be_told_by():
    root = Path(edgehold.__file__).parent
    writing = ("records", "demo", "review")  # review writes protocols
    outside = [path for path in root.rglob("*.py") if path.relative_to(root).parts[0] not in writing]
    named = [
        (path.relative_to(root).as_posix(), node.value)
        for path in outside
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
        if isinstance(node, ast.Constant) and node.value in {"last abrasive", "edge angle", "microbevel", "start state"}
    ]
    assert named == []


def test_of_four_levels_the_median_over_their_pairs_stands_beside_the_spreads():
    """At four exact levels 0, 1, 2 and 4 sixths of ln 2 the six differences have the median 1.5 and 2 in the middle."""
    words = dict(zip("abcd", np.array([0, 1, 2, 4]) * np.log(2) / 6, strict=True))
    y, labels = pool(tables=8, runs=4, words=tuple(words))
    y = y + np.array([words[word] for word in labels["level"]])
    found, pairs = answer_of(y, labels)
    matters = what_matters(found)
    row = next(row for row in matters.rows if row.name == "level")
    gaps = sorted(abs(one.estimate) for one in pairs.values())
    assert len(gaps) == 6 and row.levels == 4 and row.most is None
    assert row.typical == pytest.approx((gaps[2] + gaps[3]) / 2, abs=0.03)
    assert row.interval.low < row.typical < row.interval.high
    assert any("level" in pair[:2] for pair in matters.more) or matters.asked > 0


def test_a_level_that_has_no_value_leaves_the_row_of_the_other_two():
    y, labels = pool(words=("coarse", "fine", "raw"))
    found, _ = answer_of(y, labels, np.where(np.array(labels["level"]) == "raw", np.inf, y))
    row = next(row for row in what_matters(found).rows if row.name == "level")
    assert row.levels == 2 and row.typical == pytest.approx(0.9, abs=0.15)


def test_levels_are_compared_in_the_order_in_which_they_are_declared():
    y, labels = pool(words=("P240", "P1000", "stropped"))
    places = {"P240": 0, "P1000": 1, "stropped": 2}
    declared = headline(y, y, labels | {"level_place": [places[word] for word in labels["level"]]}, worthwhile=1.25)
    by_name = headline(y, y, labels, worthwhile=1.25)
    assert [(one.first, one.second) for one in declared.levels] == [("P240", "P1000"), ("P240", "stropped"), ("P1000", "stropped")]
    assert by_name.levels[0].first == "P1000"
    assert declared.levels[0].estimate == pytest.approx(-by_name.levels[0].estimate, abs=1e-9)
