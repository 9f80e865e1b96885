"""First values of variance components from squares of sums of the residuals, for a search to begin from.

The squares ‖Zₖᵀr‖² and rᵀr of the least-squares residuals r = My, M = I − X(XᵀX)⁻¹Xᵀ, have expected values that are linear in the
variances, with coefficients tr(MGᵢMGⱼ), Gₖ = ZₖZₖᵀ (MINQUE with all weight on the residual: Rao 1971, J. Multivariate Anal. 1:445–456;
Searle, Casella & McCulloch 1992, Variance Components, section 11.3). Nothing has to be factored but XᵀX.
"""

from __future__ import annotations

import numpy as np
from scipy.linalg import solve_triangular

from .arrays import Array
from .mixed import System

TOLD_APART = 1e-6  # smallest eigenvalue of the equations with unit diagonal from which they are solved
AT_ONCE = 20_000  # entries


def by_moments(system: System) -> Array | None:
    """(K + 1,) variances, the residual's last, any of which may be negative; None where the equations do not tell them apart."""
    q, terms, sizes, owner = system.q, system.terms, system.sizes, system.owner
    of_effects = system.rows < q
    across = ~of_effects & (system.cols < q)
    fixed = np.zeros((q, system.p))
    fixed[system.cols[across], system.rows[across] - q] = system.gram[across]
    try:
        root = np.linalg.cholesky(system.moments)
    except np.linalg.LinAlgError:
        return None
    fixed = solve_triangular(root, fixed.T, lower=True).T  # ZᵀX(XᵀX)^−½, so that ZᵀMZ = ZᵀZ − fixed·fixedᵀ
    if not terms:
        return None
    row, column, gram = system.rows[of_effects], system.cols[of_effects], system.gram[of_effects]
    taken = np.concatenate(
        [np.einsum("ij,ij->i", fixed[row[i : i + AT_ONCE]], fixed[column[i : i + AT_ONCE]]) for i in range(0, len(gram), AT_ONCE)]
    )
    half = np.bincount(owner[row] * terms + owner[column], gram * (gram - 2 * taken) / (1 + (row == column)), minlength=terms**2)
    inner = half.reshape(terms, terms)
    parts = [one.T @ one for one in np.split(fixed, np.cumsum(sizes)[:-1])]
    flat = np.array(parts).reshape(terms, -1)
    left = system.information * sizes - np.array([np.trace(one) for one in parts])
    equations = np.block([[inner + inner.T + flat @ flat.T, left[:, None]], [left, np.array([system.n - system.p])]])
    squares = np.append(np.bincount(owner, system.rhs[:q] ** 2, minlength=terms), system.y @ system.y)
    length = np.sqrt(np.abs(np.diag(equations)))
    if not (length > 0).all() or np.linalg.eigvalsh(equations / np.outer(length, length))[0] < TOLD_APART:
        return None
    return np.asarray(np.linalg.solve(equations / np.outer(length, length), squares / length) / length, dtype=float)
