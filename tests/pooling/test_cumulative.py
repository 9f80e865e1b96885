"""What stands at the end of each month is the fit of everything tested by then."""

from dataclasses import replace

import pytest
from test_comparisons import S2, compared, contrast, estimate

from edgehold.pooling.pairwise.comparisons import ComparisonNotPooled
from edgehold.pooling.pairwise.random_effects import random_effects

MONTHS = ("2026-03", "2026-01", "2026-01", "2026-05", "2026-02")
VALUES = (0.10, 0.42, -0.07, 0.35, 0.21)


def course(count: int = 5):
    evenings = [
        replace(estimate(f"s{i}", [f"t{i}"], contrast(value, unscaled=0.3 + 0.1 * i)), month=month)
        for i, (value, month) in enumerate(zip(VALUES[:count], MONTHS[:count], strict=True))
    ]
    (found,) = compared(*evenings)
    return found


def test_every_month_is_the_random_effects_fit_of_what_was_tested_by_its_end():
    found = course()
    assert [(c.month, c.submissions, c.studies) for c in found.cumulative] == [
        ("2026-01", 2, 2), ("2026-02", 3, 3), ("2026-03", 4, 4), ("2026-05", 5, 5),
    ]  # fmt: skip
    assert found.cumulative[0].fit is None
    for step in found.cumulative[1:]:
        chosen = [i for i in range(5) if MONTHS[i] <= step.month]
        expected = random_effects([VALUES[i] for i in chosen], [S2 * (0.3 + 0.1 * i) for i in chosen], v_df=50)
        assert step.fit.coefficients[0] == pytest.approx(expected.coefficients[0], abs=1e-9)
        assert step.fit.intervals[0].low == pytest.approx(expected.intervals[0].low, abs=1e-9)


def test_the_last_month_is_what_is_pooled():
    found = course()
    assert found.cumulative[-1].fit.coefficients[0] == pytest.approx(found.fit.coefficients[0], abs=1e-12)
    assert found.cumulative[-1].studies == found.studies


def test_what_is_not_pooled_has_no_course():
    assert isinstance(course(2), ComparisonNotPooled)
