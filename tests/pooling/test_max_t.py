"""The largest of several t statistics against Tukey's studentised range, and against the plain t."""

import numpy as np
import pytest
from scipy.stats import studentized_range
from scipy.stats import t as student_t

from edgehold.pooling.crossed.max_t import max_t_quantile


def all_differences(k: int) -> np.ndarray:
    """Correlation of all differences of k independent, equally exact means."""
    rows = [np.eye(k)[i] - np.eye(k)[j] for i in range(k) for j in range(i + 1, k)]
    return np.array(rows) @ np.array(rows).T / 2


@pytest.mark.parametrize(("k", "df"), [(3, 5), (3, 30), (5, 12), (8, 60), (6, 2.5)])
def test_all_differences_of_equal_means_give_tukeys_studentised_range(k, df):
    """Tukey 1953; the range's distribution by scipy, which integrates it."""
    wanted = studentized_range.ppf(0.95, k, df) / np.sqrt(2)
    assert max_t_quantile(all_differences(k), df) == pytest.approx(wanted, rel=0.01)


@pytest.mark.parametrize("level", [0.9, 0.95, 0.99])
def test_one_statistic_alone_is_a_plain_t(level):
    assert max_t_quantile(np.eye(1), 7, level) == pytest.approx(student_t.ppf((1 + level) / 2, 7), rel=0.01)


def test_statistics_that_are_the_same_count_once():
    assert max_t_quantile(np.ones((4, 4)), 9) == pytest.approx(student_t.ppf(0.975, 9), rel=0.01)


def test_without_uncertainty_of_the_variance_it_is_that_of_the_normal():
    """Independent statistics: P(max < q) = P(|z| < q)^m."""
    wanted = student_t.ppf((1 + 0.95**0.25) / 2, np.inf)
    assert max_t_quantile(np.eye(4), np.inf) == pytest.approx(wanted, rel=0.01)


def test_the_same_question_has_the_same_answer():
    assert max_t_quantile(all_differences(4), 10) == max_t_quantile(all_differences(4), 10)
