"""The parts of the study of the crossed model, and a few seeds of it; the study itself is in crossed_coverage.md."""

from __future__ import annotations

import json
import math
from dataclasses import replace

import numpy as np
import pytest
from crossed_coverage import (
    ROWS,
    Row,
    broken_rules,
    contrast,
    contrast_verdict,
    line,
    lines,
    run,
    share,
    summary,
    variance,
    variance_verdict,
)
from crossed_runs import MEANS, OWN_SHARPENING, SDS, STEELS, Design, draw, held_variance

from edgehold.numerics.interval import Interval
from edgehold.pooling.crossed.runs_model import RunsModelNotFitted, VarianceBounded, VarianceEstimated, runs_model


def test_the_same_seed_draws_the_same_runs_and_another_draws_others():
    design = Design(5, 2, own=0.5)
    one, again, other = draw(design, 1), draw(design, 1), draw(design, 2)
    assert (one.low == again.low).all() and (one.labels["sharpener"] == again.labels["sharpener"]).all()
    assert not np.allclose(one.low, other.low)


@pytest.mark.parametrize("own", [0.0, 0.2, 0.5, 1.0])
def test_people_sharpen_the_share_of_their_edges_that_the_design_says(own):
    labels = draw(Design(10, 3, own=own, people=6), 1).labels
    assert len(labels["steel"]) == 10 * 2 * 2 * 3
    assert np.mean(labels["sharpener"] == labels["tester"]) == own


def test_neighbours_exchange_edges_only_within_their_pair():
    labels = draw(Design(20, 2, own=0.5, neighbours=True), 1).labels
    pairs = {frozenset(pair) for pair in zip(labels["sharpener"].tolist(), labels["tester"].tolist(), strict=True) if len(set(pair)) > 1}
    assert pairs <= {frozenset((f"person-{i}", f"person-{i + 1}")) for i in range(0, 20, 2)}


def test_without_any_true_variance_a_run_reads_its_steel_and_whose_edge_it_is():
    drawn = draw(Design(5, 2, own=0.5, zero=tuple(SDS)), 1)
    steel = MEANS[[STEELS.index(one) for one in drawn.labels["steel"]]]
    own = drawn.labels["sharpener"] == drawn.labels["tester"]
    assert drawn.low == pytest.approx(steel + OWN_SHARPENING * own, abs=1e-12)
    assert drawn.new_hands == pytest.approx(MEANS)


def test_a_run_varies_by_the_sum_of_all_variances():
    design = Design(40, 2, own=0.0, blades=4)
    spread = [np.var(draw(design, seed).low - MEANS[np.searchsorted(STEELS, draw(design, seed).labels["steel"])]) for seed in range(60)]
    # a little is lost because runs share people and blades; 60 seeds know the mean to about 3 %
    assert np.mean(spread) == pytest.approx(sum(sd**2 for sd in SDS.values()), rel=0.08)


def test_the_stated_share_of_runs_outlasts_the_last_checkpoint():
    design = Design(40, 2, own=0.5, censored=0.25)
    assert np.mean([np.isinf(draw(design, seed).high).mean() for seed in range(60)]) == pytest.approx(0.25, abs=0.02)
    assert not np.isinf(draw(replace(design, censored=0.0), 1).high).any()


def test_a_term_holds_those_that_group_the_runs_alike_and_are_not_in_the_model():
    design = Design(5, 2, own=0.5)  # one tester a submission, one blade of a steel each
    labels = draw(design, 1).labels
    both = SDS["tester"] ** 2 + SDS["submission"] ** 2
    assert held_variance(design, labels, "tester", ("tester", "blade")) == pytest.approx(both)
    assert held_variance(design, labels, "tester", ("tester", "submission")) == pytest.approx(SDS["tester"] ** 2)
    assert held_variance(design, labels, "residual", ()) == pytest.approx(SDS["residual"] ** 2)


@pytest.fixture(scope="module")
def small(tmp_path_factory):
    out = tmp_path_factory.mktemp("lines")
    rows = {"1": Row(Design(5, 2, own=1.0)), "2": Row(ROWS["2"].design, profiled=2)}
    run(rows, out, seeds=3)
    before = {name: lines(out / f"{name}.jsonl") for name in rows}
    run(rows, out, seeds=4)
    return before, {name: lines(out / f"{name}.jsonl") for name in rows}


def test_a_study_broken_off_goes_on_where_it_stopped(small):
    before, after = small
    assert {name: [one["seed"] for one in found] for name, found in after.items()} == {"1": [1, 2, 3, 4], "2": [1, 2, 3, 4]}
    assert all(after[name][:3] == before[name] for name in before)
    assert [one["profiled"] for one in after["2"]] == [True, True, False, False]


def test_all_own_edges_refuse_the_split_and_still_tell_the_steels(small):
    _, found = small
    for one in found["1"]:
        assert (one["split"], one["state"], one["broken"]) == ("no", "fitted", [])
        assert {one["variances"][name]["state"] for name in ("sharpener", "tester")} == {"no number"}
        assert "off" in one["pairs"][0]


@pytest.mark.parametrize(("name", "seed"), [("2", 1), ("2", 2), ("10", 1), ("12", 1)])
def test_one_point_of_the_profile_tells_whether_the_interval_holds_the_truth(name, seed):
    short, whole = (line(ROWS[name].design, seed, whole=one)["variances"] for one in (False, True))
    assert {term: one["held"] for term, one in short.items()} == {term: one["held"] for term, one in whole.items()}
    assert any(one["held"] is not None for one in whole.values())


def test_the_tables_of_a_small_study_have_a_line_for_each_row(small):
    text = summary(small[1])
    assert sum(line.startswith(("| 1 |", "| 2 |")) for line in text.splitlines()) == 8
    assert "100 / 0 / 0 %" in text and "no number" in text


def invented(held: int, of: int, off: float = 0.1) -> list[dict]:
    """Lines as a study writes them, ``held`` of which hold."""
    found = []
    for seed in range(of):
        pair = {"told": "yes", "off": off * (-1) ** seed + 0.02, "half": math.log(1.5), "df": 9.0}
        pair |= {"held": seed < held, "inside": seed % 10 == 0, "headline": seed % 10 > 0, "at_once": True, "new": None}
        wide = {"state": "given", "fitted": 0.06, "true": 0.04, "held": seed < held}
        none = {"state": "no number", "fitted": None, "true": 0.01, "held": None}
        limit = {"state": "given" if seed % 4 else "upper limit only", "fitted": 0.0, "true": 0.01, "held": seed % 4 != 1}
        found.append({
            "seed": seed, "profiled": True, "split": "yes" if seed % 2 else "weak", "state": "fitted", "reason": "", "one_sided": 0.0,
            "broken": [], "own": None, "pairs": [pair] * 3,
            "variances": dict.fromkeys(("residual", "sharpener", "tester"), wide) | {"blade": limit}
            | dict.fromkeys(("submission", "steel × sharpener", "steel × tester"), none),
        })  # fmt: skip
    return json.loads(json.dumps(found))


def test_shares_bias_and_width_are_those_counted_by_hand():
    found = contrast(invented(1900, 2000))
    assert found["covered"].held == 0.95 and found["covered"].n == 2000
    assert found["covered"].bound == pytest.approx(0.93740, abs=1e-5)  # worked by hand in test_recovery
    assert found["bias"] == pytest.approx(0.02)
    assert found["bias_error"] == pytest.approx(0.1 / math.sqrt(2000), rel=1e-3)
    assert found["width"] == pytest.approx(1.5)
    assert (found["inside"].held, found["headline"].held) == (pytest.approx(0.1), pytest.approx(0.9))
    assert found["at_once"].held == 1.0 and found["new_hands"].n == found["own"].n == 0


def test_what_is_published_of_a_variance_counts_limits_too_and_nothing_refused():
    found = invented(1900, 2000)
    published, given, interval = variance(found, "blade")
    assert (published.n, published.held, interval) == (2000, 0.75, 0.75)
    assert (given.n, given.held) == (1500, pytest.approx(2 / 3))
    assert variance(found, "submission")[0].n == 0
    text = summary({"4": found})
    assert "| 4 | 0.950 (0.937); 100 % |" in text and "0.750 (0.727), below; 75 %" in text
    assert "| 4 | 1.50 | 1.50 | 1.50 | 0.00 | – | – | – |" in text
    assert "0 / 50 / 50 %" in text


def test_bounds_are_judged_as_the_study_says():
    few, many, flat = Design(10, 2, own=0.5), Design(20, 2, own=0.5), Design(20, 2, own=0.5, zero=("blade",))
    good, low, high = share([True] * 1900 + [False] * 100), share([True] * 1860 + [False] * 140), share([True] * 1960 + [False] * 40)
    assert [contrast_verdict(few, one) for one in (good, low, high)] == ["kept", "below", "kept"]
    assert [contrast_verdict(many, one) for one in (good, low, high)] == ["kept", "below", "above"]
    assert contrast_verdict(flat, high) == "kept"
    assert contrast_verdict(few, share([True] * 1999)) == "not claimed" and contrast_verdict(few, share([])) == "refused"
    assert variance_verdict(share([True] * 1860 + [False] * 140)) == "below"
    assert variance_verdict(share([True] * 1870 + [False] * 130)) == "kept"  # .935, bound .9208


@pytest.fixture(scope="module")
def refusing():
    drawn = draw(ROWS["1"].design, 1)
    return runs_model(drawn.low, drawn.high, drawn.labels)


def test_a_figure_where_the_split_is_refused_would_be_seen(refusing):
    assert broken_rules(refusing) == []
    was = refusing.variances["tester"]
    limit = VarianceBounded("tester", was.holds, was.levels, was.reason, 0.2)
    assert broken_rules(replace(refusing, variances={**refusing.variances, "tester": limit})) == [
        "tester: a figure where the split is refused"
    ]


def test_more_than_a_limit_where_the_split_is_weak_would_be_seen():
    drawn = draw(ROWS["2"].design, 1)
    found = runs_model(drawn.low, drawn.high, drawn.labels)
    assert found.apart.split.verdict == "weak" and broken_rules(found) == []
    was = found.variances["sharpener"]
    told = VarianceEstimated("sharpener", was.holds, was.levels, 0.1, 0.5, Interval(0.0, 1.0, 0.95, "profile-reml"))
    assert broken_rules(replace(found, variances={**found.variances, "sharpener": told})) == [
        "sharpener: more than an upper limit where the split is weak"
    ]


def test_a_ratio_of_steels_that_nothing_links_would_be_seen(refusing):
    wrong = replace(refusing.steels[0], told="no")
    assert len(broken_rules(replace(refusing, steels=(wrong,)))) == 1


def test_half_of_the_runs_censored_is_not_fitted():
    drawn = draw(ROWS["18"].design, 1)
    found = runs_model(drawn.low, drawn.high, drawn.labels)
    assert isinstance(found, RunsModelNotFitted) and broken_rules(found) == []
