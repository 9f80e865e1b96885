"""Least squares of one submission's runs, with total run variance, or weighted where reading error differs much."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from edgehold.numerics.arrays import Array, Ints
from edgehold.numerics.distributions import f_sf
from edgehold.numerics.estimability import Design, prepare
from edgehold.numerics.root_search import global_maximum

from .results import LackOfFit

UNEQUAL = 3.0 * (1 + 1e-9)  # reading variances further apart are told to the fit; one repeat against three is not, however rounded
ROUNDING = 1e-24  # residual sum of squares, as a share of the total, that is nothing but rounding
GRID = 60  # points on which the slope of the restricted likelihood is looked at before its roots are refined


@dataclass(frozen=True, eq=False)
class LeastSquares:
    """A fit in the orthonormal basis of its design.

    Attributes
    ----------
    theta : (r,) coordinates.
    rss : residual sum of squares.
    df : n − r.
    s2 : rss/df, the run variance; nan without replicates.
    """

    theta: Array
    rss: float
    df: int
    s2: float


def fit(y: Array, design: Design) -> LeastSquares:
    """Ordinary least squares; with weights, divide y and the design by the square roots of the variances first.

    Parameters
    ----------
    y : (n,) responses.
    design : of n rows.
    """
    theta = design.basis.T @ y
    rss = float(((y - design.basis @ theta) ** 2).sum())
    if rss <= ROUNDING * float(y @ y):
        rss = 0.0
    df = len(y) - design.rank
    return LeastSquares(theta, rss, df, rss / df if df else float("nan"))


def relative_sd(y: Array, x: Array, reading_se: Array, assumed_s2: float) -> Array | None:
    """Relative standard deviations of runs whose reading variances differ more than threefold; None otherwise.

    Total run variance already holds the reading error, so equal weights are right unless reading errors are very
    unequal. Then V = diag(se²) + σ²I with σ² by restricted maximum likelihood (Patterson & Thompson 1971), or with
    σ² = assumed total less the mean of se² where nothing is replicated.

    Parameters
    ----------
    y, x, reading_se : (n,), (n, p), (n,); a nan among ``reading_se`` gives None.
    assumed_s2 : run variance assumed without replicates.

    Returns
    -------
    (n,) square roots of the diagonal of V, divided so that the mean of their squares is 1.
    """
    v = reading_se**2
    if np.isnan(v).any() or v.min() <= 0 or v.max() <= UNEQUAL * v.min():
        return None
    basis = prepare(x).basis
    replicated = basis.shape[1] < len(y)
    sigma2 = reml_variance(y, basis, v) if replicated else max(assumed_s2 - float(v.mean()), 0.0)
    total = v + sigma2
    return np.sqrt(total / float(total.mean()))


def reml_variance(y: Array, basis: Array, v: Array) -> float:
    """σ² ≥ 0 that maximises the restricted likelihood of y ~ N(Bθ, diag(v) + σ²I).

    Parameters
    ----------
    y, v : (n,) responses and known variances.
    basis : (n, r) orthonormal columns, r < n.
    """
    residual = y - basis @ (basis.T @ y)
    largest = 2 * float(residual @ residual) / (len(y) - basis.shape[1]) + float(v.max())
    grid = np.linspace(0.0, largest, GRID)
    best = global_maximum(lambda s: _criterion(residual, basis, v + s), lambda s: _slope(residual, basis, v + s), grid)
    return best.at


def _criterion(y: Array, basis: Array, total: Array) -> float:
    """Twice the restricted log-likelihood, up to a constant."""
    w = 1 / total
    information = (basis.T * w) @ basis
    theta = np.linalg.solve(information, basis.T @ (w * y))
    return float(-np.log(total).sum() - np.linalg.slogdet(information)[1] - (w * (y - basis @ theta) ** 2).sum())


def _slope(y: Array, basis: Array, total: Array) -> float:
    """Its derivative in σ²: yᵀPPy − tr P, P = W − WB(BᵀWB)⁻¹BᵀW."""
    w = 1 / total
    information = (basis.T * w) @ basis
    theta = np.linalg.solve(information, basis.T @ (w * y))
    trace = w.sum() - np.trace(np.linalg.solve(information, (basis.T * w**2) @ basis))
    return float(((w * (y - basis @ theta)) ** 2).sum() - trace)


def lack_of_fit(y: Array, cells: Ints, fitted: LeastSquares) -> LackOfFit | None:
    """F test of the additive model against one mean a cell (Draper & Smith 1998, Applied Regression Analysis, 2.1).

    Parameters
    ----------
    y : (n,) responses of an unweighted fit.
    cells : (n,) number of the cell of each.
    fitted : the additive model.

    Returns
    -------
    None where no cell is repeated, or where the model has as many coefficients as there are cells.
    """
    count = np.bincount(cells)
    means = np.bincount(cells, weights=y) / count
    pure = float(((y - means[cells]) ** 2).sum())
    df_error = len(y) - len(count)
    df_model = fitted.df - df_error
    if df_error < 1 or df_model < 1 or pure <= 0:
        return None
    f = ((fitted.rss - pure) / df_model) / (pure / df_error)
    return LackOfFit(float(f), df_model, df_error, float(f_sf(f, df_model, df_error)))
