"""What is asked of the studies of a pooled comparison, from pooling to the bundle and its tables."""

import csv
import io
import math
import sys
from pathlib import Path

import numpy as np
import pytest
from estimates.rows import make_protocols
from pooling.test_comparisons import compared, contrast, estimate
from scipy import stats

from edgehold.results.publish.compare import comparison_result
from edgehold.results.publish.influence import study_checks_result
from edgehold.results.tables import studies as study_tables
from edgehold.results.tables.cells import csv_bytes
from edgehold.results.words.sentences import ratio_text
from tests.words.says import says

sys.path.insert(0, str(Path(__file__).parents[1] / "pages"))
from sample import results


def published(values, people=None, unscaled=None):
    """The checks of one comparison; every study with a tester of its own and, unless said otherwise, a sharpener of its own."""
    files = [
        estimate(f"s{i:02}", [f"tester-{i}"], contrast(value, 0.5 if unscaled is None else unscaled[i]), sharpener=people and people[i])
        for i, value in enumerate(values)
    ]
    (found,) = compared(*files)
    return study_checks_result(found.checks, found.fit), found


def test_the_study_that_moves_it_most_is_named_with_the_mean_of_the_others():
    """By hand: contrasts of equal variance have equal weights, so that without 0.9 the mean of 0.1, 0.2, 0.3 stays."""
    result, _ = published([0.1, 0.9, 0.2, 0.3])
    assert result.most == 2
    odd = result.studies[1]
    assert odd.ratio_without == pytest.approx(math.exp(0.2), rel=1e-9) and odd.without.ratio == odd.ratio_without
    assert [s.hat_percent for s in result.studies] == pytest.approx([25.0] * 4)
    assert odd.studentised_residual > 2 and odd.tau_without == 0
    ratios = {"without": ratio_text(math.exp(0.2)), "whole": ratio_text(math.exp(0.375))}
    assert says(result.sentence, "study_checks.most", study=2, level="95", **ratios)


def test_two_studies_left_give_a_ratio_without_an_interval():
    result, _ = published([0.1, 0.9, 0.2])
    assert all(s.without is None and s.ratio_without is not None for s in result.studies)
    assert says(result.sentence, "study_checks.most_no_interval", studies=2)


def test_nothing_pooled_is_not_asked():
    (found,) = compared(*(estimate(f"s{i}", [f"tester-{i}"], contrast(value)) for i, value in enumerate([0.1, 0.9])))
    rule = next(rule for rule in next(iter(make_protocols().values())).record.endpoints if rule.kind == "level")
    listed = comparison_result(found, rule, "cut", {"s0": "none", "s1": "none"})
    assert (listed.state, listed.checks, listed.result, listed.cumulative) == ("listed", None, None, ())


def test_below_ten_studies_funnel_and_clusters_are_not_asked_and_hold_no_number():
    result, _ = published(np.linspace(-0.4, 0.4, 9))
    small, people = result.small_studies, result.by_people
    assert (small.state, small.reason) == ("not asked", "fewer than ten studies: not asked")
    assert {small.slope, small.p, small.limit, small.missing, small.filled} == {None}
    assert (people.clusters, people.result, people.standard_error, people.df) == (9, None, None, None)
    assert people.reason == "fewer than ten clusters of people: not asked"


def test_from_ten_on_clusters_have_the_variance_of_a_mean():
    """With equal variances and a study a cluster, CR2 is s²/k with k − 1 degrees of freedom: a t interval from scipy."""
    values = np.random.default_rng(0).normal(0.2, 0.3, 12)
    result, _ = published(values)
    low, high = stats.t.interval(0.95, 11, values.mean(), stats.sem(values))
    people = result.by_people
    assert people.clusters == 12 and people.df == pytest.approx(11, rel=1e-6)
    assert (math.log(people.result.low), math.log(people.result.high)) == pytest.approx((low, high), rel=1e-6)


def test_submissions_of_one_sharpener_are_one_study():
    result, found = published(np.linspace(-0.4, 0.4, 12), people=["terns"] * 4 + [f"own-{i}" for i in range(8)])
    assert found.studies == 9 and result.by_people.clusters == 9 and result.by_people.result is None


def test_small_studies_that_tell_another_story_are_told_with_the_slope_and_the_filled_ratio():
    size = np.linspace(0.1, 4.0, 14)
    noise = np.random.default_rng(1).normal(0, 0.03, 14)
    result, found = published(2.0 * np.sqrt(0.04 * size) + noise, unscaled=size)
    small, whole = result.small_studies, math.exp(float(found.fit.coefficients[0]))
    assert small.state == "asked" and small.p < 0.01 and small.slope == pytest.approx(2.0, abs=0.4)
    assert small.limit.ratio == pytest.approx(1.0, abs=0.1)
    assert small.missing > 0 and small.side == "lower" and small.filled.ratio < whole
    assert says(small.sentence, "study_checks.small_higher", p=small.p)
    assert says(small.sentence, "study_checks.lacking_lower", missing=small.missing)


def read(name: str) -> list[dict[str, str]]:
    columns, rows = getattr(study_tables, name)(results(measured=4, simulated=4))
    assert {len(row) for row in rows} == {len(columns)}
    return list(csv.DictReader(io.StringIO(csv_bytes(columns, rows).decode())))


def test_the_table_of_influence_has_a_row_a_study_and_marks_the_one_that_moves_it_most():
    rows = [
        r
        for r in read("influence")
        if (r["origin"], r["protocol"], r["endpoint"], r["factor"]) == ("measured", "steels-rope", "late", "practice")
    ]
    assert [r["study"] for r in rows] == ["1", "2", "4"] and [r["moves_most"] for r in rows] == ["false", "true", "false"]
    assert rows[1]["ratio_without"] and rows[1]["low_without"] == "" and rows[2]["ratio_without"] == ""
    assert rows[2]["reason"] == "the others alone cannot be fitted"


def test_the_table_of_checks_leaves_empty_what_was_not_asked():
    rows = {
        r["factor"]: r for r in read("study_checks") if (r["origin"], r["protocol"], r["endpoint"]) == ("measured", "steels-rope", "late")
    }
    assert rows["steel"]["slope_p"] == rows["steel"]["filled_ratio"] == rows["steel"]["by_people_low"] == ""
    assert rows["steel"]["clusters"] == "3" and rows["steel"]["small_studies_reason"]
    assert (rows["practice"]["missing"], rows["practice"]["side"], rows["practice"]["clusters"]) == ("2", "lower", "12")
