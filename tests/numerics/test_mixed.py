"""The mixed-model criterion, its gradient and its informations, against dense n × n algebra and finite differences."""

import numpy as np
import pytest
import scipy.sparse as sp

from edgehold.numerics import mixed, mixed_inference, variance_search
from edgehold.numerics.mixed import average_information, prepare, turned
from edgehold.numerics.variance_search import OTHER_STARTS, Found, Problem, at, average, expected, search, search_widely, start
from edgehold.numerics.whitening import whitening


def a_data_set(seed=0, n=60, known=False, slope=False):
    rng = np.random.default_rng(seed)
    a, b = rng.integers(0, 7, n), rng.integers(0, 12, n)
    Za, Zb = np.eye(7)[a], np.eye(12)[b]
    if slope:
        Zb = Zb * rng.normal(size=(n, 1))
    Za, Zb = Za[:, Za.any(0)], Zb[:, Zb.any(0)]
    X = np.column_stack([np.ones(n), rng.normal(size=n), rng.integers(0, 2, n)])
    v = rng.uniform(0.05, 0.5, n) if known else np.full(n, 0.3)
    y = (
        X @ [2.0, 1, -1]
        + Za @ rng.normal(size=Za.shape[1]) * 0.8
        + Zb @ rng.normal(size=Zb.shape[1]) * 0.5
        + rng.normal(size=n) * np.sqrt(v)
    )
    return y, X, [Za, Zb], v if known else None


def a_problem(y, X, terms, v, restricted=True):
    system = prepare(y, X, [sp.csr_matrix(term) for term in terms], None if v is None else whitening(v))
    return Problem(system, restricted, v is not None)


def dense_parts(y, X, terms, v, variances):
    """Σ, P and the matrices G of every variance, all n × n."""
    G = [Z @ Z.T for Z in terms] + ([np.eye(len(y))] if v is None else [])
    S = sum(s * g for s, g in zip(variances, G, strict=True)) + (0 if v is None else np.diag(v))
    S_inverse = np.linalg.inv(S)
    P = S_inverse - S_inverse @ X @ np.linalg.solve(X.T @ S_inverse @ X, X.T @ S_inverse)
    return S, P, G


def dense_deviance(y, X, terms, v, variances, restricted):
    S, P, _ = dense_parts(y, X, terms, v, variances)
    value = np.linalg.slogdet(S)[1] + y @ P @ y
    return value + (np.linalg.slogdet(X.T @ np.linalg.solve(S, X))[1] if restricted else 0)


def deviance_with(problem, point, k, value):
    moved = point.copy()
    moved[k] = value
    return at(problem, moved, False).deviance


def slope_by_differences(function, x, width=1e-5):
    """Second-order differences: central inside, forward at the bound."""
    if x > 0:
        return (function(x + width) - function(x - width)) / (2 * width)
    return (4 * function(width / 8) - 3 * function(0.0) - function(width / 4)) / (width / 4)


CASES = [(known, slope, restricted) for known in (False, True) for slope in (False, True) for restricted in (False, True)]


@pytest.mark.parametrize(("known", "slope", "restricted"), CASES)
def test_differences_of_the_deviance_are_those_of_dense_algebra(known, slope, restricted):
    data = a_data_set(known=known, slope=slope)
    problem = a_problem(*data, restricted)
    unit2 = problem.system.unit**2
    points = [np.array([0.7, 0.2, 0.3]), np.array([0.0, 1.2, 0.5]), np.array([3.0, 0.0, 0.1])]
    points = [point[:2] if known else point for point in points]
    ours = [at(problem, point / unit2, False).deviance for point in points]
    theirs = [dense_deviance(*data, point, restricted) for point in points]
    np.testing.assert_allclose(np.diff(ours), np.diff(theirs), rtol=1e-10, atol=1e-9)


@pytest.mark.parametrize(("known", "slope", "restricted"), CASES)
def test_the_gradient_equals_finite_differences_away_from_the_optimum_and_at_zero(known, slope, restricted):
    data = a_data_set(known=known, slope=slope)
    problem = a_problem(*data, restricted)
    for point in (np.array([0.9, 0.4, 1.3]), np.array([0.5, 0.0, 0.8])):
        point = point[:2] if known else point
        gradient = at(problem, point, False).gradient
        for k in range(len(point)):
            wanted = slope_by_differences(lambda x, k=k, point=point: deviance_with(problem, point, k, x), point[k])
            assert gradient[k] == pytest.approx(wanted, rel=1e-5, abs=1e-5)


@pytest.mark.parametrize(("known", "slope", "restricted"), CASES)
def test_the_gradient_at_a_zero_variance_is_the_dense_one(known, slope, restricted):
    data = a_data_set(known=known, slope=slope)
    problem = a_problem(*data, restricted)
    unit2 = problem.system.unit**2
    variances = np.array([0.5, 0.0] if known else [0.5, 0.0, 0.4])
    S, P, G = dense_parts(*data, variances)
    trace = P if restricted else np.linalg.inv(S)
    wanted = [np.trace(trace @ g) - data[0] @ P @ g @ P @ data[0] for g in G]
    np.testing.assert_allclose(at(problem, variances / unit2, False).gradient / unit2, wanted, rtol=1e-6)


@pytest.mark.parametrize(("known", "slope"), [(k, s) for k in (False, True) for s in (False, True)])
@pytest.mark.parametrize("limit", [variance_search.DENSE_INFORMATION, 0])
def test_average_and_expected_information_are_the_dense_ones(known, slope, limit, monkeypatch):
    """Both ways to the expected information: blocks of a dense inverse, and slopes of the traces."""
    monkeypatch.setattr(variance_search, "DENSE_INFORMATION", limit)
    data = a_data_set(known=known, slope=slope)
    problem = a_problem(*data)
    unit2 = problem.system.unit**2
    variances = np.array([0.5, 0.2] if known else [0.5, 0.2, 0.4])
    _, P, G = dense_parts(*data, variances)
    y = data[0]
    point = at(problem, variances / unit2, False)
    wanted = [[np.trace(P @ g @ P @ h) for h in G] for g in G]
    np.testing.assert_allclose(expected(problem, point) / unit2**2, wanted, rtol=1e-5)
    wanted = [[y @ P @ g @ P @ h @ P @ y for h in G] for g in G]
    np.testing.assert_allclose(average(problem, point) / unit2**2, wanted, rtol=1e-6)


def test_average_information_needs_no_positive_ratio():
    data = a_data_set()
    problem = a_problem(*data)
    point = at(problem, np.array([0.5, 0.0, 0.4]), False)
    assert np.isfinite(average_information(problem.system, point.evaluation)).all()


@pytest.mark.parametrize(("known", "slope", "restricted"), CASES)
def test_at_the_optimum_the_gradient_is_zero_or_points_out_of_bounds(known, slope, restricted):
    for seed in range(4):
        problem = a_problem(*a_data_set(seed=seed, known=known, slope=slope), restricted)
        found = search(problem, start(problem))
        assert found.converged
        at_zero = found.point.variances == 0
        inside = (found.point.gradient * found.point.variances)[~at_zero]
        assert np.abs(inside).max() < 1e-5 and (found.point.gradient[at_zero] >= 0).all()


def test_few_evaluations_are_needed():
    problem = a_problem(*a_data_set(n=300))
    assert search(problem, start(problem)).evaluations <= 10


@pytest.mark.parametrize(("known", "slope", "restricted"), CASES)
def test_the_bend_of_a_step_is_its_quadratic_form(known, slope, restricted):
    y, X, terms, v = a_data_set(known=known, slope=slope)
    problem = a_problem(y, X, terms, v, restricted)
    unit = problem.system.unit
    variances, step = (np.array(one)[: 2 + (not known)] for one in ([0.5, 0.2, 0.4], [0.1, -0.05, 0.07]))
    point = at(problem, variances, False)
    _, P, G = dense_parts(y, X, terms, v, variances)
    moved = P @ sum(d * g for d, g in zip(step, G, strict=True)) @ P @ y / unit
    known = turned(problem.system, point.evaluation)
    np.testing.assert_allclose(average(problem, point, known), average(problem, point), rtol=1e-9)
    found = variance_search._bend(problem, point, known, average(problem, point), step)
    np.testing.assert_allclose(found, [moved @ g @ moved for g in G], rtol=1e-7)


def test_a_bent_step_saves_evaluations(monkeypatch):
    monkeypatch.setattr(mixed, "FEW", 0)
    problems = [a_problem(*many_rows(1500, seed)) for seed in range(4)]
    far = np.array([3.0, 0.1, 0.5])
    bent = [search(problem, far) for problem in problems]
    monkeypatch.setattr(variance_search, "_bend", lambda *_: np.zeros(3))
    straight = [search(problem, far) for problem in problems]
    assert sum(one.evaluations for one in bent) < sum(one.evaluations for one in straight)
    for one, other in zip(bent, straight, strict=True):
        assert one.point.deviance == pytest.approx(other.point.deviance, abs=1e-9)


def test_what_the_gradients_change_told_saves_evaluations_and_moves_nothing(monkeypatch):
    monkeypatch.setattr(mixed, "FEW", 0)
    problems = [a_problem(*many_rows(400, seed)) for seed in range(6)]
    founds = [search(problem, start(problem)) for problem in problems]
    monkeypatch.setattr(variance_search, "NEAR", 0.0)
    others = [search(problem, start(problem)) for problem in problems]
    assert all(found.converged for found in founds + others)
    assert sum(found.evaluations for found in founds) < sum(other.evaluations for other in others)
    for found, other in zip(founds, others, strict=True):
        assert found.point.deviance == pytest.approx(other.point.deviance, abs=1e-9)
        np.testing.assert_allclose(found.point.variances, other.point.variances, rtol=1e-5)


@pytest.mark.parametrize("offset", [0.0, 1e9])
def test_columns_far_from_orthogonal_change_nothing_but_their_own_coefficients(offset):
    y, X, terms, v = a_data_set()
    moved = X.copy()
    moved[:, 1] = 1e6 + 1e-3 * X[:, 1]
    plain, skew = (search(p, start(p)).point for p in (a_problem(y, X, terms, v), a_problem(y + offset, moved, terms, v)))
    np.testing.assert_allclose(skew.variances, plain.variances, rtol=1e-5)


def test_of_two_local_minima_the_lower_is_found():
    """Very unequal known variances and few rows: the deviance on a grid, by dense algebra, has two valleys."""
    y = np.array([-4.08, -5.12, -5.18, -5.42, -5.29, -5.26, 4.12, 3.65, -4.59])
    v = np.array([0.6335, 0.1833, 0.0028, 0.0348, 0.0025, 0.1197, 240.0334, 4.1442, 0.1457])
    X, terms = np.ones((9, 1)), [np.eye(3)[[1, 1, 0, 0, 0, 0, 1, 2, 1]], np.eye(2)[[1, 1, 1, 1, 1, 0, 1, 0, 0]]]
    grid = np.geomspace(1e-6, 1e5, 24)
    lowest = min(dense_deviance(y, X, terms, v, [a, b], False) for a in grid for b in grid)
    problem = a_problem(y, X, terms, v, restricted=False)
    alone, widely = search(problem, start(problem)), search_widely(problem, at(problem, start(problem), True))
    assert dense_deviance(y, X, terms, v, widely.point.variances, False) <= lowest
    assert widely.point.deviance < alone.point.deviance - 1, "the first start must end in the higher valley, or nothing is shown"


@pytest.mark.parametrize("known", [False, True])
def test_searches_that_lead_to_the_minimum_found_first_end_early_and_the_lowest_of_all_is_found_all_the_same(known):
    spared = []
    for seed in range(60):
        problem = a_problem(*a_data_set(seed, n=14, known=known))
        first = at(problem, start(problem), True)
        moved = np.append(np.ones(2), [] if known else [0.0]) > 0
        whole = [search(problem, np.where(moved, first.variances * factor, first.variances)) for factor in (1.0, *OTHER_STARTS)]
        reached = [one for one in whole if isinstance(one, Found) and one.converged]
        found = search_widely(problem, first)
        if reached and not any(one.vanished for one in whole if isinstance(one, Found)):
            assert abs(found.point.deviance - min(one.point.deviance for one in reached)) < 2e-7
            spared.append(1 - found.evaluations / sum(one.evaluations for one in whole))
    assert len(spared) > 40
    assert np.mean(spared) > 0.1


def test_average_information_of_many_rows_is_near_its_expected_value(monkeypatch):
    """What stands for expected information above LARGEST_EXPECTED unknowns; here 240 unknowns already agree to a fifth."""
    problem = a_problem(*many_rows(1500))
    found = search(problem, start(problem))
    exact = mixed_inference.information(problem, found.point)
    monkeypatch.setattr(mixed_inference, "LARGEST_EXPECTED", 0)
    np.testing.assert_allclose(np.diag(mixed_inference.information(problem, found.point)), np.diag(exact), rtol=0.2)


def many_rows(n, seed=5):
    rng = np.random.default_rng(seed)
    a, b = rng.integers(0, 100, n), rng.integers(0, 140, n)
    Za, Zb = np.eye(100)[a], np.eye(140)[b]
    y = rng.normal(size=100)[a] + 0.7 * rng.normal(size=140)[b] + rng.normal(size=n)
    return y, np.ones((n, 1)), [Za[:, Za.any(0)], Zb[:, Zb.any(0)]], None
