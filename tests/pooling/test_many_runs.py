"""What fits of many runs do differently gives what the other way gives: limits are set so low that few runs are many."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from edgehold.numerics import elimination, restricted_likelihood, variance_profile, variance_search
from edgehold.numerics.half_t import HalfT
from edgehold.numerics.indicators import indicator
from edgehold.numerics.mixed import prepare
from edgehold.numerics.variance_search import Problem, at, expected, search, start, start_by_part
from edgehold.pooling import hierarchical as posterior_of
from edgehold.pooling.crossed.crossed import crossed
from edgehold.pooling.crossed.results import NothingFitted

TERMS = ("tester", "sharpener", "blade")


def runs(n, counts, seed, nested):
    """Responses, design and labels; with ``nested`` every blade is one tester's; a count of one is a term of one level."""
    rng = np.random.default_rng(seed)
    labels = [rng.integers(0, count, n) for count in counts]
    if nested:
        labels[2] = labels[0] * counts[2] + labels[2]
    X = np.eye(3)[rng.integers(0, 3, n)]
    X = X[:, X.any(axis=0)]
    y = rng.normal(0, 0.3, n)
    for one, sd in zip(labels, (0.3, 0.2, 0.15), strict=True):
        y = y + rng.normal(0, sd, one.max() + 1)[one]
    return y, X, dict(zip(TERMS, labels, strict=True))


DESIGNS = given(
    st.integers(20, 160), st.tuples(st.integers(1, 30), st.integers(1, 30), st.integers(1, 20)), st.integers(0, 10**6), st.booleans()
)


@settings(max_examples=15, deadline=None)
@DESIGNS
def test_expected_information_is_that_of_the_definition(n, counts, seed, nested):
    """½tr(PGᵢPGⱼ) with P from dense matrices (Searle, Casella & McCulloch 1992, section 6.6)."""
    y, X, groups = runs(n, counts, seed, nested)
    Z = [np.unique(labels, return_inverse=True)[1][:, None] == np.arange(len(np.unique(labels))) for labels in groups.values()]
    problem = Problem(prepare(y, X, [one.astype(float) for one in Z], None), True, False)
    variances = start(problem)
    G = [one.astype(float) @ one.T for one in Z] + [np.eye(n)]
    inverse = np.linalg.inv(sum(v * g for v, g in zip(variances, G, strict=True)))
    P = inverse - inverse @ X @ np.linalg.solve(X.T @ inverse @ X, X.T @ inverse)
    wanted = np.array([[np.sum((P @ a) * (P @ b).T) for b in G] for a in G])
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(variance_search, "EXACT_INFORMATION", 0)
        found = expected(problem, at(problem, variances, False))
    np.testing.assert_allclose(found, wanted, rtol=1e-6, atol=1e-8 * np.abs(wanted).max())


@settings(max_examples=8, deadline=None)
@DESIGNS
def test_limits_by_steps_of_all_variances_are_those_of_one_after_the_other(n, counts, seed, nested):
    y, X, groups = runs(n, counts, seed, nested)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(variance_search, "EXACT_INFORMATION", 0)
        together = crossed(y, X, groups).variance_intervals
        patch.setattr(variance_profile, "_together", lambda *_: None)
        patch.setattr(variance_profile, "FAR_FROM_ZERO", np.inf)
        alone = crossed(y, X, groups).variance_intervals
    assert together.keys() == alone.keys()
    for name, one in alone.items():
        assert (one is None) == (together[name] is None)
        if one is not None:
            assert together[name].low == pytest.approx(one.low, rel=1e-6, abs=1e-10)
            assert together[name].high == pytest.approx(one.high, rel=1e-6)


def test_limits_are_found_by_steps_of_all_variances(monkeypatch):
    """Else the comparison above would compare one way with itself."""
    y, X, groups = runs(900, (60, 60, 100), 3, False)
    one_after_the_other = []
    monkeypatch.setattr(variance_profile, "_crossing", lambda *asked: one_after_the_other.append(asked) or 1.0)
    crossed(y, X, groups)
    assert not one_after_the_other


def test_a_fit_that_begins_with_a_part_of_the_rows_ends_where_others_do(monkeypatch):
    y, X, groups = runs(2000, (100, 420, 20), 5, False)
    usual = crossed(y, X, groups, profile=False)
    monkeypatch.setattr(variance_search, "LARGE", 300)
    parted = crossed(y, X, groups, profile=False)
    assert parted.convergence.converged and parted.convergence.evaluations <= usual.convergence.evaluations
    problem = Problem(prepare(y, X, [indicator(np.unique(one, return_inverse=True)[1]) for one in groups.values()], None), True, False)
    part = start_by_part(problem)
    assert part is not None
    assert search(problem, part).evaluations < search(problem, np.full(4, 0.25)).evaluations
    assert parted.log_likelihood == pytest.approx(usual.log_likelihood, rel=1e-11)
    for name, variance in usual.variances.items():
        assert parted.variances[name] == pytest.approx(variance, rel=1e-3 * 1e-1)
    np.testing.assert_allclose(parted.coefficients, usual.coefficients, rtol=1e-6)


@settings(max_examples=8, deadline=None)
@DESIGNS
def test_a_part_of_any_design_gives_a_start_or_none(n, counts, seed, nested):
    y, X, groups = runs(n, counts, seed, nested)
    with pytest.MonkeyPatch.context() as patch:
        usual = crossed(y, X, groups, profile=False)
        patch.setattr(variance_search, "LARGE", 5)
        patch.setattr(variance_search, "LEAST_LEVELS", 8)
        patch.setattr(variance_search, "EXACT_INFORMATION", 0)
        parted = crossed(y, X, groups, profile=False)
    assert type(usual) is type(parted)
    if not isinstance(usual, NothingFitted):
        assert parted.log_likelihood == pytest.approx(usual.log_likelihood, abs=1e-6)


def test_the_mode_by_newtons_steps_is_the_mode(monkeypatch):
    from edgehold.pooling import hierarchical as function

    module = __import__("sys").modules[function.__module__]
    y, X, groups = runs(1500, (120, 120, 200), 7, False)
    priors = {name: HalfT(4, 0.2) for name in TERMS} | {"residual": HalfT(4, 0.3)}
    usual = posterior_of(y, X, groups, priors, normal=True)
    monkeypatch.setattr(module, "MANY", 100)
    newton = posterior_of(y, X, groups, priors, normal=True)
    np.testing.assert_allclose(newton.mode, usual.mode, rtol=1e-5)
    for name in usual.names:
        assert newton.spread(name).sd == pytest.approx(usual.spread(name).sd, rel=0.12)  # average information of some hundred levels
    difference = newton.contrast([1, -1, 0]), usual.contrast([1, -1, 0])
    assert difference[0].mean == pytest.approx(difference[1].mean, abs=1e-6)
    assert difference[0].sd == pytest.approx(difference[1].sd, rel=1e-3)


def test_products_of_columns_tell_rank_and_fit_as_the_columns_do(monkeypatch):
    rng = np.random.default_rng(1)
    X = np.column_stack([np.eye(3)[rng.integers(0, 3, 500)], rng.normal(50, 1, 500)])
    y = 1e3 + rng.normal(size=500)
    monkeypatch.setattr(restricted_likelihood, "MANY_ROWS", 10)
    monkeypatch.setattr(restricted_likelihood, "WELL_CONDITIONED", 1e-9)
    found = restricted_likelihood._least_squares(X, y)
    np.testing.assert_allclose(found, np.linalg.lstsq(X, y, rcond=None)[0], rtol=1e-9)
    assert restricted_likelihood.full_rank(X) and not restricted_likelihood.full_rank(np.column_stack([X, X[:, 0] + X[:, 1]]))


def test_plans_of_a_fit_and_of_its_parts_are_kept_together():
    assert elimination.KEPT_PLANS >= 4
