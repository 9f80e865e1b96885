"""Supernodes and fronts against dense algebra (numpy.linalg), with limits so low that small matrices have several fronts."""

import numpy as np
import pytest
import scipy.sparse as sp
from hypothesis import given, settings
from hypothesis import strategies as st

from edgehold.numerics import dissection, elimination
from edgehold.numerics.elimination import (
    analyse,
    factorise,
    half_solve,
    inverse_diagonal,
    inverse_entries,
    last_columns,
    last_covariance,
    solve,
)

dissected = pytest.param("dissected", marks=pytest.mark.skipif(not dissection.available(), reason="a dissection needs METIS"))


@pytest.fixture(autouse=True, params=[dissected, "of minimum degree"])
def low_limits(request, monkeypatch):
    monkeypatch.setattr(elimination, "SOME", 0)
    monkeypatch.setattr(elimination, "MANY", 0 if request.param == "dissected" else 20_000)
    monkeypatch.setattr(elimination, "SMALL_CORE", 5)
    monkeypatch.setattr(elimination, "LARGE_CORE", 20)
    monkeypatch.setattr(elimination, "LARGE_DEGREE", 2)
    monkeypatch.setattr(dissection, "SHARES_OF_ZEROS", ((4, 0.3),))


def crossed_matrix(levels, rows, last, seed):
    """[Z X]ᵀ[Z X] of ``rows`` rows with a level of each term drawn at random, plus the identity for effects; only levels that are met."""
    rng = np.random.default_rng(seed)
    Z = []
    for count in levels:
        _, codes = np.unique(rng.integers(0, count, rows), return_inverse=True)
        Z.append(sp.csr_matrix((np.ones(rows), codes, np.arange(rows + 1))))
    columns = sp.hstack([*Z, sp.csr_matrix(rng.standard_normal((rows, last)))], format="csr")
    size = columns.shape[1]
    return (columns.T @ columns + sp.diags(np.where(np.arange(size) < size - last, 1.0, 1e-3))).tocsr()


def lower(matrix):
    entries = sp.tril(matrix).tocoo()
    return entries.row.astype(np.int64), entries.col.astype(np.int64), entries.data


@settings(max_examples=25, deadline=None)
@given(st.lists(st.integers(1, 60), min_size=1, max_size=4), st.integers(1, 150), st.integers(0, 4), st.integers(0, 10**6))
def test_everything_asked_of_a_factor_agrees_with_dense_algebra(levels, rows, last, seed):
    matrix = crossed_matrix(levels, rows, last, seed)
    size = matrix.shape[0]
    low, high, values = lower(matrix)
    factor = factorise(analyse(low, high, size, last), values)
    dense = matrix.toarray()
    first, inverse = dense[: size - last, : size - last], np.linalg.inv(matrix.toarray())
    assert factor.log_determinant == pytest.approx(np.linalg.slogdet(first)[1], rel=1e-9, abs=1e-9)
    assert factor.log_determinant + factor.log_determinant_last == pytest.approx(np.linalg.slogdet(dense)[1], rel=1e-9, abs=1e-9)
    np.testing.assert_allclose(inverse_diagonal(factor), np.diag(inverse), rtol=1e-7)
    without = np.append(np.diag(np.linalg.inv(first)), np.zeros(last))
    np.testing.assert_allclose(inverse_diagonal(factor, with_last=False), without, rtol=1e-7)
    np.testing.assert_allclose(inverse_entries(factor), inverse[low, high], rtol=1e-6, atol=1e-9)
    np.testing.assert_allclose(last_covariance(factor), inverse[size - last :, size - last :], rtol=1e-6, atol=1e-9)
    np.testing.assert_allclose(last_columns(factor), inverse[:, size - last :], rtol=1e-6, atol=1e-9)
    rhs = np.random.default_rng(seed).standard_normal((size, 3))
    np.testing.assert_allclose(solve(factor, rhs), inverse @ rhs, rtol=1e-6, atol=1e-8)
    half = half_solve(factor, rhs)
    np.testing.assert_allclose(half.T @ half, rhs.T @ inverse @ rhs, rtol=1e-6, atol=1e-8)


def test_a_crossed_matrix_has_fronts_below_a_core():
    matrix = crossed_matrix([60, 60, 60], 150, 3, seed=2)
    low, high, _ = lower(matrix)
    plan = analyse(low, high, matrix.shape[0], 3)
    assert len(plan.fronts) > 3 and 3 < plan.core < plan.size - plan.single
    assert {target.low for front in plan.fronts for target in front.targets} > {0}, "no front reaches beyond the next"
    assert np.array_equal(np.sort(plan.order), np.arange(plan.size)) and set(plan.order[-3:]) == set(range(plan.size - 3, plan.size))


def test_without_the_library_there_is_one_dense_core_and_the_same_factor(monkeypatch):
    matrix = crossed_matrix([60, 60, 60], 150, 3, seed=2)
    low, high, values = lower(matrix)
    with_fronts = factorise(analyse(low, high, matrix.shape[0], 3), values)
    monkeypatch.setattr(dissection, "available", lambda: False)
    monkeypatch.setattr(elimination, "MANY", 0)
    without = factorise(analyse(low, high, matrix.shape[0], 3), values)
    assert with_fronts.plan.fronts and not without.plan.fronts
    assert with_fronts.log_determinant == pytest.approx(without.log_determinant, rel=1e-12)
    np.testing.assert_allclose(inverse_diagonal(with_fronts), inverse_diagonal(without), rtol=1e-10)


def test_a_matrix_that_is_not_positive_definite_in_a_front_has_no_factor():
    matrix = crossed_matrix([60, 60, 60], 150, 3, seed=2)
    low, high, values = lower(matrix)
    plan = analyse(low, high, matrix.shape[0], 3)
    unknown = plan.order[plan.single]
    assert factorise(plan, np.where((low == unknown) & (high == unknown), -1.0, values)) is None


def test_no_figure_of_fewer_unknowns_hangs_on_the_library(monkeypatch):
    monkeypatch.setattr(elimination, "MANY", 20_000)
    matrix = crossed_matrix([60, 60, 60], 150, 3, seed=2)
    low, high, values = lower(matrix)
    usual = factorise(analyse(low, high, matrix.shape[0], 3), values)
    there = dissection.available()
    monkeypatch.setattr(dissection, "available", lambda: not there)
    elimination._analysis.cache_clear()
    assert usual.plan.fronts
    np.testing.assert_array_equal(factorise(analyse(low, high, matrix.shape[0], 3), values).values, usual.values)


def test_few_unknowns_have_a_dense_core(monkeypatch):
    monkeypatch.setattr(elimination, "MANY", 20_000)
    monkeypatch.setattr(elimination, "SOME", 1000)
    matrix = crossed_matrix([60, 60, 60], 150, 3, seed=2)
    low, high, _ = lower(matrix)
    assert not analyse(low, high, matrix.shape[0], 3).fronts
