"""First values of variance components against their definition on dense matrices."""

import numpy as np
import pytest
import scipy.sparse as sp

from edgehold.numerics.indicators import indicator
from edgehold.numerics.mixed import prepare
from edgehold.numerics.moments import by_moments
from edgehold.numerics.variance_search import Problem, search


def labelled(rng, n, counts):
    return [indicator(np.unique(rng.integers(0, count, n), return_inverse=True)[1]) for count in counts]


@pytest.mark.parametrize("continuous", [False, True])
@pytest.mark.parametrize("seed", range(4))
def test_they_solve_the_equations_of_expected_squares(seed, continuous):
    """E‖Zₖᵀr‖² and E rᵀr with M = I − X(XᵀX)⁻¹Xᵀ as a dense matrix (Searle, Casella & McCulloch 1992, section 11.3)."""
    rng = np.random.default_rng(seed)
    n = 120
    X = labelled(rng, n, [4])[0].toarray()
    if continuous:
        X = np.column_stack([X, rng.normal(size=n)])
    terms = labelled(rng, n, [11, 17, 30])
    if continuous:
        terms[1] = sp.csr_matrix(sp.diags(rng.uniform(0.5, 2, n)) @ terms[1])
    y = rng.normal(size=n) + sum(term @ rng.normal(0, 0.5, term.shape[1]) for term in terms)
    system = prepare(y, X, terms, None)
    M = np.eye(n) - X @ np.linalg.pinv(X)
    G = [(term @ term.T).toarray() for term in terms] + [np.eye(n)]
    r = M @ y / system.unit
    equations = [[np.trace(M @ a @ M @ b) for b in G] for a in G]
    np.testing.assert_allclose(by_moments(system), np.linalg.solve(equations, [r @ a @ r for a in G]), rtol=1e-9)


def test_balanced_data_give_the_estimate_itself():
    """One factor, as many runs at each level: by moments as by restricted likelihood (Searle et al., section 3.8)."""
    rng = np.random.default_rng(3)
    level = indicator(np.repeat(np.arange(40), 5))
    problem = Problem(prepare(level @ rng.normal(size=40) + rng.normal(size=200), np.ones((200, 1)), [level], None), True, False)
    found = by_moments(problem.system)
    np.testing.assert_allclose(found, search(problem, found * 2).point.variances, rtol=1e-6)


def test_terms_that_are_the_same_give_none():
    rng = np.random.default_rng(4)
    level = indicator(np.repeat(np.arange(10), 4))
    assert by_moments(prepare(rng.normal(size=40), np.ones((40, 1)), [level, level], None)) is None
    assert by_moments(prepare(rng.normal(size=40), level.toarray(), [level], None)) is None
    assert by_moments(prepare(rng.normal(size=40), np.ones((40, 1)), [], None)) is None
