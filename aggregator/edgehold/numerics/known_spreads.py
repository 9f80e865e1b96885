"""Generalised least squares where all standard deviations are known, of all rows, of some, and of all but some.

y ~ N(Xb, ZZᵀ + N), N diagonal, every column of Z times its standard deviation. No n × n matrix is formed: with M = I + ZᵀN⁻¹Z,

    (ZZᵀ + N)⁻¹ = N⁻¹ − N⁻¹ZM⁻¹ZᵀN⁻¹      (Woodbury 1950; Hager 1989, SIAM Rev. 31:221–239)

and M, which holds an entry only where two effects meet in a row, is factored as a sparse matrix (SuperLU). Of few rows, ZZᵀ + N itself
is factored.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, replace

import numpy as np
import scipy.sparse as sp
from scipy.linalg import solve_triangular
from scipy.sparse.linalg import splu

from .arrays import Array, Bools, Ints
from .estimability import Design, estimable, prepare

FEW = 200  # rows up to which a dense matrix of rows by rows costs less than a sparse one of effects by effects


@dataclass(frozen=True, eq=False)
class GivenSpreads:
    """Values of rows with everything that a linear model with known spreads needs.

    Attributes
    ----------
    y : (n,) values.
    X : (n, p) fixed part.
    Z : (n, q) random part; each column times the standard deviation of its effect.
    noise : (n,) variances beside it.
    """

    y: Array
    X: Array
    Z: sp.csr_matrix
    noise: Array

    def chosen(self, rows: Bools) -> GivenSpreads:
        """Some of the rows."""
        return GivenSpreads(self.y[rows], self.X[rows], self.Z[rows], self.noise[rows])


@dataclass(frozen=True, eq=False)
class Fitted:
    """Generalised least squares of some rows.

    Attributes
    ----------
    met : (p,) columns that are not zero throughout.
    prepared : these columns, for what they can estimate; None where there are no rows.
    coefficients, covariance : of these columns.
    """

    met: Bools
    prepared: Design | None
    coefficients: Array
    covariance: Array

    def difference(self, c: Array) -> tuple[float, float] | None:
        """cᵀb and its variance; None where these rows cannot estimate it."""
        if self.prepared is None or c[~self.met].any() or not estimable(self.prepared, c[self.met]):
            return None
        return float(c[self.met] @ self.coefficients), float(c[self.met] @ self.covariance @ c[self.met])


@dataclass(frozen=True, eq=False)
class _Whitened:
    """What all rows tell: Σ⁻¹[X y], and [X y]ᵀΣ⁻¹[X y], of Σ = ZZᵀ + N; and the factor of M."""

    rows: GivenSpreads
    scaled: sp.csr_matrix
    solve: Callable[[Array], Array]
    turned: Array
    information: Array

    def inverse_times(self, columns: Array) -> Array:
        """Σ⁻¹ times (n, c) columns."""
        found: Array = columns / self.rows.noise[:, None] - self.scaled @ self.solve(np.asarray(self.scaled.T @ columns))
        return found

    def without(self, group: Ints) -> Array:
        """[X y]ᵀΣ⁻¹[X y] of all rows but some: with W = Σ⁻¹ and U = W[X y], what is lost is U_gᵀW_gg⁻¹U_g."""
        own = self.scaled[group]
        inner = np.diag(1 / self.rows.noise[group]) - own @ self.solve(own.T.toarray())
        turned = self.turned[group]
        lost: Array = turned.T @ np.linalg.solve((inner + inner.T) / 2, turned)
        return self.information - (lost + lost.T) / 2


def generalised_least_squares(rows: GivenSpreads) -> Fitted:
    """b = (XᵀΣ⁻¹X)⁻¹XᵀΣ⁻¹y (Aitken 1936, Proc. R. Soc. Edinb. 55:42–48), with a pseudo-inverse."""
    if not len(rows.y):
        return _nothing(rows.X.shape[1])
    if len(rows.y) > FEW:
        return _fitted(rows.X, _whitened(replace(rows, Z=rows.Z[:, np.unique(rows.Z.indices)])).information)
    Z = rows.Z.toarray()
    root = np.linalg.cholesky(Z @ Z.T + np.diag(rows.noise))
    half = solve_triangular(root, np.column_stack([rows.X, rows.y]), lower=True, check_finite=False)
    return _fitted(rows.X, half.T @ half)


def without_each_group(rows: GivenSpreads, groups: Iterable[Ints]) -> Iterator[Fitted]:
    """Generalised least squares of all rows but some, for every group of row numbers in turn, from one factor."""
    whole = _whitened(rows)
    for group in groups:
        rest = np.ones(len(rows.y), dtype=bool)
        rest[group] = False
        yield _fitted(rows.X[rest], whole.without(group)) if rest.any() else _nothing(rows.X.shape[1])


class Projector:
    """P = Σ⁻¹ − Σ⁻¹X(XᵀΣ⁻¹X)⁺XᵀΣ⁻¹ of Σ = ZZᵀ + N, applied to columns.

    Parameters
    ----------
    X : (n, p) fixed part.
    Z : (n, q) random part; each column times the standard deviation of its effect.
    noise : (n,) variances beside it.
    """

    def __init__(self, X: Array, Z: sp.csr_matrix, noise: Array) -> None:
        self._whole = _whitened(GivenSpreads(np.zeros(len(X)), X, Z, noise))
        self._covariance = np.linalg.pinv(self._whole.information[:-1, :-1], rcond=1e-10, hermitian=True)

    def applied(self, columns: Array) -> Array:
        """P times (n, c) columns."""
        whole = self._whole
        X, U = whole.rows.X, whole.turned[:, :-1]
        turned = whole.inverse_times(columns)
        found: Array = turned - U @ (self._covariance @ (X.T @ turned))
        return found


def _whitened(rows: GivenSpreads) -> _Whitened:
    scaled = sp.csr_matrix(rows.Z.multiply(1 / rows.noise[:, None]))
    both = np.column_stack([rows.X, rows.y])
    if not rows.Z.shape[1]:
        turned = both / rows.noise[:, None]
        return _Whitened(rows, scaled, np.zeros_like, turned, both.T @ turned)
    met = sp.csc_matrix(rows.Z.T @ scaled + sp.identity(rows.Z.shape[1]))
    solve = splu(met, permc_spec="MMD_AT_PLUS_A", diag_pivot_thresh=0.0, options={"SymmetricMode": True}).solve
    turned = both / rows.noise[:, None] - scaled @ solve(np.asarray(scaled.T @ both))
    information = both.T @ turned
    return _Whitened(rows, scaled, solve, turned, (information + information.T) / 2)


def _fitted(X: Array, information: Array) -> Fitted:
    met: Bools = np.asarray(X.any(axis=0), dtype=bool)
    if not met.any():
        return _nothing(X.shape[1])
    own = np.flatnonzero(met)
    covariance = np.asarray(np.linalg.pinv(information[np.ix_(own, own)], rcond=1e-10, hermitian=True), dtype=float)
    return Fitted(met, prepare(X[:, met]), covariance @ information[own, -1], covariance)


def _nothing(p: int) -> Fitted:
    return Fitted(np.zeros(p, dtype=bool), None, np.zeros(0), np.zeros((0, 0)))
