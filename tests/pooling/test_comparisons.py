"""Gathering contrasts into comparisons: who counts as a study, what is pooled, what is only listed."""

from dataclasses import replace

import numpy as np
import pytest

from edgehold.endpoints.rows import EndpointRow
from edgehold.estimates.repeatability import Repeatability, RepeatabilityTable
from edgehold.estimates.results import Contrast, ContrastBounded, ContrastEstimated, ContrastNotEstimable, OneSided, SubmissionEstimate
from edgehold.estimates.verdict import one_sided, verdict_of
from edgehold.numerics.interval import Interval
from edgehold.pooling.pairwise.comparisons import ComparisonNotPooled, compare
from edgehold.pooling.pairwise.studies import cluster_numbers, study_numbers
from edgehold.records.canonical import PoolKey

POOL = PoolKey("made-up", 1, "simulated")
KEY = (POOL, "late")
S2 = 0.04


def table() -> RepeatabilityTable:
    entry = Repeatability(s2_pooled=S2, df_pooled=50, prior_df=np.inf, prior_s2=S2, source="pooled", submissions=9)
    return RepeatabilityTable(entries={KEY: entry}, contributions={KEY: ()}, assumed={KEY: (0.2, 4.0)})


def contrast(value, unscaled=0.5, factor="steel", first="a", second="b", loading=None, bound=None) -> Contrast:
    arms, why = (factor, first, second, loading, 2, 2, 1, 1), "cannot be told apart: for a test"
    if value is not None:
        return ContrastEstimated(
            *arms, value, 0.1, 5.0, Interval(value - 1, value + 1, 0.95, "t"), unscaled, verdict_of(value, 0.1, 5.0, 1.25)
        )
    return ContrastNotEstimable(*arms, why) if bound is None else ContrastBounded(*arms, why, bound, one_sided(1.25), ())


def estimate(name, testers, *contrasts, version="1.0.0", sharpener=None, blades=None, endpoint="late") -> SubmissionEstimate:
    blades = blades or (f"{name}.1", f"{name}.2")
    return SubmissionEstimate(
        POOL, name, version, "2026-05", endpoint, "late", 4, 4, 0, 0, tuple(testers), blades, (sharpener or f"of-{name}",), contrasts,
        np.eye(len(contrasts)), S2, 2.0, S2, 52.0, "least squares",
    )  # fmt: skip


def row(submission, blade, steel, sharpener="s", sharpening=None) -> EndpointRow:
    return EndpointRow(
        POOL, "1.0.0", submission, "2026-05", "late", "late", f"r-{blade}", 1, None, blade, steel, None, sharpener, "t", None,
        False, sharpening, False, 0.0, 0.0, "exact", "", 0.1, 1.0, False, False, (),
    )  # fmt: skip


def compared(*estimates, rows=()):
    return compare(estimates, rows, table(), {KEY: 1.25})


def test_submissions_that_share_a_tester_are_one_study_through_a_chain_too():
    assert study_numbers([("a",), ("b",), ("a", "c"), ("c",), ("d",)]) == [1, 2, 1, 1, 3]


def test_ten_files_from_one_evening_are_one_study_and_only_listed():
    (result,) = compared(*(estimate(f"file-{i}", ["tern"], contrast(0.2)) for i in range(10)))
    assert isinstance(result, ComparisonNotPooled) and (result.state, result.studies) == ("listed", 1)


@pytest.mark.parametrize("shared", [{"blades": ("round.1", "round.2")}, {"sharpener": "rowlock"}])
def test_what_goes_round_ten_testers_is_one_study(shared):
    (result,) = compared(*(estimate(f"file-{i}", [f"t{i}"], contrast(0.2), **shared) for i in range(10)))
    assert isinstance(result, ComparisonNotPooled) and (result.state, result.studies) == ("listed", 1)


def test_a_person_and_a_blade_of_one_name_are_not_the_same():
    assert cluster_numbers([estimate("one", ["galley"], blades=("a",)), estimate("two", ["t"], blades=("galley",))]) == {"one": 1, "two": 2}


def test_studies_are_numbered_once_for_all_endpoints_of_a_pool():
    # The chain from one to three runs through what was used at another endpoint only.
    late = [estimate(name, [name], contrast(0.1)) for name in ("one", "two", "three")]
    early = estimate("two", ["one", "three"], contrast(0.1), endpoint="early")
    assert cluster_numbers([*late, early]) == {"one": 1, "two": 1, "three": 1}


@pytest.mark.parametrize(("count", "state"), [(1, "single"), (2, "listed"), (3, "pooled")])
def test_one_stands_alone_two_are_listed_three_are_pooled(count, state):
    (result,) = compared(*(estimate(f"s{i}", [f"t{i}"], contrast(0.1 * i)) for i in range(count)))
    assert (result.state if isinstance(result, ComparisonNotPooled) else "pooled") == state


def test_a_study_of_two_files_that_agree_counts_by_its_inverse_variance_mean():
    # By hand: contrasts 0.28 and 0.31 with variances 0.04*0.5 = 0.02 and 0.04*0.25 = 0.01 agree better than they would by chance, so
    # that they combine to (50*0.28 + 100*0.31)/150 = 0.3 with variance 1/150. With two more studies at 0.3 the three agree
    # exactly: tau2 = 0 and the pooled mean is 0.3, whatever the weights.
    (result,) = compared(
        estimate("one", ["tern"], contrast(0.28, 0.5)),
        estimate("two", ["tern"], contrast(0.31, 0.25)),
        estimate("three", ["cleat"], contrast(0.3, 0.5)),
        estimate("four", ["fid"], contrast(0.3, 0.5)),
    )
    assert result.studies == 3
    assert (result.fit.tau2, result.tau2_within) == (0, 0)
    assert result.fit.coefficients[0] == pytest.approx(0.3, abs=1e-12)
    weights = {c.estimate.submission: c.weight for c in result.contributions}
    # precision 50, 100, 50, 50 of 250
    assert weights == pytest.approx({"one": 0.2, "two": 0.4, "three": 0.2, "four": 0.2})


def test_what_is_not_estimable_stays_listed_with_its_reason_and_has_no_weight():
    (result,) = compared(*(estimate(f"s{i}", [f"t{i}"], contrast(0.1)) for i in range(3)), estimate("aliased", ["z"], contrast(None)))
    assert result.studies == 3
    (left,) = [c for c in result.contributions if c.estimate.submission == "aliased"]
    assert (left.variance, left.weight, left.contrast.reason) == (None, None, "cannot be told apart: for a test")


def test_one_sided_results_are_counted_not_pooled():
    bound = OneSided("at least", 0.5)
    (result,) = compared(
        *(estimate(f"s{i}", [f"t{i}"], contrast(0.1)) for i in range(3)), estimate("bound", ["z"], contrast(None, bound=bound))
    )
    assert (result.studies, result.one_sided, result.bounds_included) == (3, 1, None), "a bound without a profile adds nothing"


def test_people_add_their_own_variance_to_practised_against_novice():
    # By hand: two sharpeners of one class differ by 0.6 with variance 0.04*0.5 = 0.02, so sigma^2 = (0.36 - 0.02)/2 = 0.17;
    # a practised : novice contrast with loading 2 (one of each) gets 0.02 + 0.17*2 = 0.36.
    practice = [
        estimate(f"s{i}", [f"t{i}"], contrast(0.3, factor="practice", first="practised", second="novice", loading=2.0)) for i in range(3)
    ]
    pair = estimate("pair", ["z"], contrast(0.6, factor="sharpener", first="p", second="q"))
    rows = [row("pair", "x.1", None, "p", "novice"), row("pair", "x.2", None, "q", "novice")]
    (result,) = compared(*practice, pair, rows=rows)
    assert result.sharpener_variance == pytest.approx(0.17)
    assert [c.variance for c in result.contributions] == pytest.approx([0.36] * 3)


def test_sharpeners_of_different_or_unknown_class_tell_nothing_about_the_spread_within_a_class():
    practice = estimate("s", ["t"], contrast(0.3, factor="practice", first="practised", second="novice", loading=2.0))
    pair = estimate("pair", ["z"], contrast(0.6, factor="sharpener", first="p", second="q"))
    rows = [row("pair", "x.1", None, "p", "novice"), row("pair", "x.2", None, "q", "professional")]
    (result,) = compared(practice, pair, rows=rows)
    assert result.sharpener_variance is None


def test_blades_are_counted_over_all_submissions_by_key():
    rows = [row("s0", "x.1", "a"), row("s0", "x.2", "b"), row("s1", "x.1", "a"), row("s1", "x.3", "b")]
    (result,) = compared(estimate("s0", ["t0"], contrast(0.1)), estimate("s1", ["t1"], contrast(0.1)), rows=rows)
    assert (result.blades_first, result.blades_second) == (1, 2)


def test_blades_of_a_level_are_not_those_of_a_steel_that_is_called_the_same():
    rows = [replace(row("s0", f"x.{blade}", steel), level=level) for blade, steel, level in ((1, "a", "b"), (2, "b", "a"), (3, "b", "b"))]
    answers = estimate("s0", ["t0"], contrast(0.1), contrast(0.2, factor="level"))
    found = {one.factor: (one.blades_first, one.blades_second) for one in compared(answers, rows=rows)}
    assert found == {"steel": (1, 2), "level": (1, 2)}


def test_versions_that_differ_are_told():
    old = [estimate(f"o{i}", [f"o{i}"], contrast(0.0 + 0.01 * i)) for i in range(4)]
    new = [estimate(f"n{i}", [f"n{i}"], contrast(2.0 + 0.01 * i), version="1.1.0") for i in range(4)]
    (result,) = compared(*old, *new)
    assert result.versions.versions == ("1.0.0", "1.1.0")
    assert result.versions.difference == pytest.approx(2.0, abs=1e-9)
    assert result.versions.p < 0.001


def test_where_most_results_come_from_sellers_the_rest_is_pooled_too():
    sold = [estimate(f"sold-{i}", [f"a{i}"], contrast(0.8)) for i in range(4)]
    free = [estimate(f"free-{i}", [f"b{i}"], contrast(0.1)) for i in range(3)]
    interested = frozenset(e.submission for e in sold)
    (result,) = compare([*sold, *free], (), table(), {KEY: 1.25}, interested)
    assert result.mostly_interested
    assert result.fit.coefficients[0] == pytest.approx(0.5, abs=1e-9), "(4*0.8 + 3*0.1)/7, all variances alike"
    assert result.without_interested.coefficients[0] == pytest.approx(0.1, abs=1e-9)


def test_fewer_than_half_from_sellers_change_nothing_and_too_few_others_give_no_ratio():
    lines = [estimate(f"s{i}", [f"t{i}"], contrast(0.1 * i)) for i in range(5)]
    (few,) = compare(lines, (), table(), {KEY: 1.25}, frozenset({"s0", "s1"}))
    assert (few.mostly_interested, few.without_interested) == (False, None)
    (many,) = compare(lines, (), table(), {KEY: 1.25}, frozenset({"s0", "s1", "s2"}))
    assert (many.mostly_interested, many.without_interested) == (True, None)
