"""Which contrasts a design can tell."""

import numpy as np
import pytest

from edgehold.numerics.estimability import estimable, in_basis, prepare


def columns(*factors):
    blocks = [np.ones((len(factors[0]), 1))]
    for factor in factors:
        blocks.append((np.array(list(factor))[:, None] == np.array(sorted(set(factor)))).astype(float))
    return np.hstack(blocks)


def test_two_factors_that_move_together_cannot_be_told_apart():
    design = prepare(columns("aabb", "ppqq"))
    assert not estimable(design, np.array([0, 1, -1, 0, 0]))
    assert estimable(design, np.array([0, 1, -1, 1, -1])), "their sum can"


def test_a_chain_of_shared_levels_links_what_never_met():
    design = prepare(columns("abbc", "ppqq"))
    assert estimable(design, np.array([0, 1, 0, -1, 0, 0]))


def test_two_islands_are_not_linked():
    design = prepare(columns("aabbccdd", "pqpqrsrs"))
    within, across = np.zeros(9), np.zeros(9)
    within[[1, 2]] = across[[1, 3]] = 1, -1
    assert estimable(design, within)
    assert not estimable(design, across)


@pytest.mark.parametrize("size", [1e-9, 1.0, 1e9])
def test_the_answer_does_not_depend_on_the_scale_of_a_column(size):
    x = columns("aabb", "pqpq")
    x[:, 3:] *= size
    assert estimable(prepare(x), np.array([0, 1, -1, 0, 0]))
    assert not estimable(prepare(x), np.array([0, 0, 0, 1, 0]))


def test_estimates_and_variances_are_those_of_numpy_least_squares():
    rng = np.random.default_rng(11)
    x = columns("aabbccab", "pqpqpqqp")
    y = rng.normal(size=8)
    design = prepare(x)
    coefficients, _, rank, _ = np.linalg.lstsq(x, y, rcond=None)
    c = np.array([0, 1, 0, -1, 0, 0.0])
    vector = in_basis(design, c)
    assert design.rank == rank
    assert vector @ design.basis.T @ y == pytest.approx(c @ coefficients, rel=1e-12)
    assert vector @ vector == pytest.approx(c @ np.linalg.pinv(x.T @ x) @ c, rel=1e-12)
