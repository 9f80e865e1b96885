"""How far the largest of several t statistics goes by chance."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from edgehold.numerics.arrays import Array
from edgehold.numerics.distributions import chi2_sf
from edgehold.numerics.root_search import settled_root

DRAWS = 20_000
CLASSES = 400  # quantiles of the drawn maxima by which they are replaced
SEED = 20240311


def max_t_quantile(correlation: ArrayLike, df: float, level: float = 0.95) -> float:
    """Quantile of max|tⱼ| for a multivariate t with the given correlation and common degrees of freedom.

    Parameters
    ----------
    correlation : (m, m), which may be singular, as that of all differences of several means is.
    df : degrees of freedom, positive; infinity for a multivariate normal.
    level : between 0 and 1.

    Notes
    -----
    The single-step max-t procedure for general linear functions (Hothorn, Bretz & Westfall 2008, Biometrical Journal
    50:346–363). Normal vectors are drawn with a fixed seed; for each the chance that its largest coordinate, divided by
    √(χ²/ν), stays below q is known exactly, and q is where their mean is ``level``. For all differences of equally exact,
    independent means it is Tukey's studentised range over √2.

    Examples
    --------
    Three equally exact means and ten degrees of freedom: Tukey's table of the studentised range has 3.88, which is √2 times the quantile of
    their differences. The draws leave an error below 1 %.

    >>> from edgehold.pooling import max_t_quantile
    >>> differences = [[1, 0.5, -0.5], [0.5, 1, 0.5], [-0.5, 0.5, 1]]
    >>> round(2**0.5 * max_t_quantile(differences, 10), 1)
    3.9
    """
    maxima = _maxima(np.asarray(correlation, dtype=float))
    if np.isinf(df):
        return float(np.quantile(maxima, level))

    def short(q: float) -> float:
        return float(chi2_sf(df * (maxima / q) ** 2, df).mean()) - level

    high = 2.0 * maxima.max()
    while short(high) < 0:
        high *= 2
    return settled_root(short, 1e-3, high, xtol=1e-6)


def _maxima(correlation: Array) -> Array:
    """Quantiles of the largest absolute coordinate of a normal vector."""
    values, vectors = np.linalg.eigh(correlation)
    kept = values > 1e-10 * values.max()
    root = vectors[:, kept] * np.sqrt(values[kept])
    drawn = np.random.default_rng(SEED).standard_normal((DRAWS, root.shape[1]))
    quantiles: Array = np.quantile(np.abs(drawn @ root.T).max(axis=1), (np.arange(CLASSES) + 0.5) / CLASSES)
    return quantiles
