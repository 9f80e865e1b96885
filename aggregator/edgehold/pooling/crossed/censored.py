"""Crossed model for lives that are known exactly, to an interval, or only to be longer or shorter than a limit.

The symbols are those of ``edgehold.pooling.crossed.crossed``. The missing data are the responses of the one-sided rows, c; the others
are o. With η the sum of the random effects of a row of c, f(yₒ) is normal and η given yₒ is normal, m + Lz with z standard normal; given
η the rows of c are independent and truncated at their limits, with closed moments. What remains is an integral over z, as many
dimensions as L has columns and one set a connected block of rows: none without random effects, one with one grouping factor.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
import scipy.sparse as sp
from numpy.typing import ArrayLike
from scipy.linalg import block_diag
from scipy.sparse.csgraph import connected_components

from edgehold.errors import InputError
from edgehold.numerics.arrays import Array, Bools
from edgehold.numerics.censored_mixed import Block, covariance_slopes, cycles, dimensions, expect, gradient, observed_information, vanished
from edgehold.numerics.distributions import chi2_ppf
from edgehold.numerics.interval import Interval
from edgehold.numerics.root_search import settled_root
from edgehold.numerics.truncated_normal import HERMITE
from edgehold.pooling.inputs import frozen
from edgehold.words import Reason

from .crossed import NOT_ASKED, crossed
from .inputs import RESIDUAL, Rows, Term, checked_rows
from .results import CrossedConvergence, CrossedFit, CrossedFitted, Effects, NothingFitted, OnlyVariancesFitted, degrees_of_freedom_each

MOST_ONE_SIDED = 0.30  # share of lives beyond which no fit is tried
SHEPPARD = 0.43  # residual standard deviation, in widths of the interval, from which the midpoint's variance may be put as width²/12
FLOOR_SHARE = 0.2  # of the residual variance, taken as known: rows without an interval need one too, and a much smaller one costs digits
MOST_ROWS = 1500  # in one connected block: its matrices are dense
MOST_ERROR = 0.01  # of the log-likelihood, between two sets of points
LIMIT, FARTHEST = 1e-5, 1e6  # relative error of a profile limit; how many times the fitted variance one is looked for


@dataclass(frozen=True, eq=False)
class CensoredCrossedFit:
    """A crossed fit of lives with the account of what was known about them.

    Attributes
    ----------
    fit : as by ``crossed``. ``criterion`` is the one really used. With one-sided lives ``covariance`` is the coefficients' part of the
        inverse observed information of all parameters, ``df`` are Satterthwaite's; ``effects`` are expectations given what is known.
    lives, exact, intervals, one_sided : how many rows there are, and of each kind.
    widened : interval rows that got width²/12 beside the residual variance; the others count as exact at their midpoint.
    scheme : how the likelihood was computed, in words.
    integration_error : estimated error of the log-likelihood from the rule of integration; 0 where it is in closed form.
    path : log-likelihood after each cycle of the search; empty without one-sided lives.
    """

    fit: CrossedFit
    lives: int
    exact: int
    intervals: int
    one_sided: int
    widened: int
    scheme: str
    integration_error: float
    path: tuple[float, ...]


def crossed_censored(
    low: ArrayLike,
    high: ArrayLike,
    X: ArrayLike | sp.spmatrix,
    groups: Mapping[str, object],
    *,
    criterion: str = "reml",
    level: float = 0.95,
    profile: bool = True,
    most_one_sided: float = MOST_ONE_SIDED,
) -> CensoredCrossedFit:
    """Fit y ~ N(Xb, Σσ²ₖZₖZₖᵀ + σ²I) to lives y of which only low ≤ y ≤ high is known.

    Parameters
    ----------
    low, high : (n,) limits on the ln scale; equal where the life is exact, ±infinity where open, never both at once.
    X, groups, level : as for ``crossed``.
    criterion : ``"reml"`` or ``"ml"``. With one-sided lives always ``"ml"``; ``fit.reasons["criterion"]`` says so.
    profile : whether to compute the profile intervals of the variances, by far the longest part.
    most_one_sided : share of one-sided lives up to which a fit is tried.

    Returns
    -------
    CensoredCrossedFit
        Without intervals and one-sided lives it is ``crossed``; without groups, Tobin's regression.

    Raises
    ------
    InputError
        If lengths differ, a limit is not a number, low exceeds high, both are open, or as for ``crossed``.

    Notes
    -----
    A finite interval of width h stands as its midpoint; h²/12 (Sheppard 1898, Proc. Lond. Math. Soc. 29:353–380) is added to
    that row's variance where the residual standard deviation is at least 0.43 h. All start with it; those that fail at the fitted value
    lose it for good, until none fails. The midpoint of an interval narrower than that remains an approximation.

    One-sided lives: maximum likelihood by expectation and conditional maximisation (Vaida & Liu 2009, J. Comput. Graph. Statist.
    18:797–817; Meng & Rubin 1993, Biometrika 80:267–278), with only the censored responses as missing data: their mean and
    covariance, then generalised least squares for b, then a scoring step for the variances, halved until the expected
    log-likelihood gains, so that the likelihood never falls. Their paper takes the moments of the truncated multivariate normal;
    here they are the integral described above, by Gauss–Hermite nodes centred and scaled at the mode (Liu & Pierce 1994,
    Biometrika 81:624–629) up to three dimensions, and beyond by 2 × 4096 quasi-random points (Sobol' 1967, USSR Comput. Math. Math.
    Phys. 7:86–112) spread wider about it. Two sets of these must agree to 0.01 in the log-likelihood, or it is not fitted; what they
    differ by is ``integration_error``. The covariance is the inverse of the observed information, by central differences of the
    score, which is that of the complete data at its expectation (Louis 1982, J. R. Statist. Soc. B 44:226–233).

    Examples
    --------
    Tobin's twenty households, thirteen of which bought nothing durable (Tobin 1958, Econometrica 26:24–36). The R package survival has
    15.145 for the constant, −0.129 a year of age, −0.046 a unit of liquidity, and −28.940 for the log-likelihood.

    >>> import numpy as np
    >>> from edgehold.pooling import crossed_censored
    >>> bought = np.array([0, 0.7, 0, 0, 0, 0, 0, 3.7, 0, 3, 10.4, 0, 0, 0, 1.5, 0, 0, 3.5, 6.1, 0])
    >>> age = [57.7, 50.9, 48.5, 41.7, 47.7, 59.8, 44.3, 45.1, 51.7, 50, 46.8, 58, 58.9, 40, 34.1, 39.9, 33.4, 48.1, 46.6, 53.1]
    >>> liquidity = [236, 283, 207, 220, 238, 216, 284, 221, 275, 269, 207, 249, 246, 277, 231, 219, 240, 266, 214, 251]
    >>> low = np.where(bought > 0, bought, -np.inf)
    >>> X = np.column_stack([np.ones(20), age, liquidity])
    >>> found = crossed_censored(low, bought, X, {}, criterion="ml", profile=False, most_one_sided=1.0)
    >>> found.fit.coefficients.round(3).tolist(), round(found.fit.log_likelihood, 3)
    ([15.145, -0.129, -0.046], -28.94)
    """
    low, high = _limits(low, high)
    if not 0 <= most_one_sided <= 1:
        raise InputError(f"most_one_sided must lie between 0 and 1; got {most_one_sided!r}")
    open_row = np.isinf(low) | np.isinf(high)
    y = stand_ins(low, high)
    width = np.where(open_row, 0.0, np.where(open_row, 0.0, high) - np.where(open_row, 0.0, low))
    rows = checked_rows(y, X, groups, None, criterion, level)
    n, m = len(y), int(open_row.sum())
    reason = too_many_one_sided(m, n, most_one_sided)
    account = CensoredCrossedFit(
        fit=NothingFitted(reason),
        lives=n,
        exact=int(((width == 0) & ~open_row).sum()),
        intervals=int((width > 0).sum()),
        one_sided=m,
        widened=0,
        scheme=Reason("crossed.scheme_none"),
        integration_error=0.0,
        path=(),
    )
    if m == 0:
        return _midpoints(account, y, X, groups, width, criterion, level, profile)
    if reason:
        return account
    begin = crossed(y, X, groups, criterion="ml", level=level, profile=False)
    return _one_sided(account, rows, np.isposinf(high), open_row, width, begin, profile)


def stand_ins(low: Array, high: Array) -> Array:
    """(n,) midpoints, and the one limit of an open row."""
    with np.errstate(invalid="ignore"):  # an open row has no midpoint; its finite limit replaces it
        return np.where(np.isinf(low), high, np.where(np.isinf(high), low, low + (high - low) / 2))


def too_many_one_sided(m: int, n: int, most: float) -> str:
    """Why m one-sided lives of n are not fitted; empty where they are no more than the share ``most``."""
    return Reason("crossed.too_many_one_sided", one_sided=m, lives=n) if m > most * n else ""


def _limits(low: ArrayLike, high: ArrayLike) -> tuple[Array, Array]:
    low, high = np.asarray(low, dtype=float), np.asarray(high, dtype=float)
    if low.ndim != 1 or low.shape != high.shape:
        raise InputError(f"low and high must hold one number a life each; got shapes {low.shape} and {high.shape}")
    wrong = ~(low <= high) | (np.isinf(low) & np.isinf(high))
    if wrong.any():
        i = int(np.flatnonzero(wrong)[0])
        raise InputError(f"low must not exceed high and one of them must be finite; got {low[i]!r} and {high[i]!r} in row {i}")
    return low, high


# ---- without one-sided lives: midpoints -------------------------------------------------------------------------------------


def _midpoints(
    account: CensoredCrossedFit,
    y: Array,
    X: ArrayLike | sp.spmatrix,
    groups: Mapping[str, object],
    width: Array,
    criterion: str,
    level: float,
    profile: bool,
) -> CensoredCrossedFit:
    plain = crossed(y, X, groups, criterion=criterion, level=level, profile=profile)
    residual = None if isinstance(plain, NothingFitted) else plain.variances[RESIDUAL]
    keep, scheme = width > 0, Reason("crossed.scheme_closed")
    if not keep.any() or not residual:
        return replace(account, fit=plain, scheme=scheme)
    floor, row = FLOOR_SHARE * residual, np.arange(len(y))
    while keep.any():
        V = floor + np.where(keep, width**2 / 12, 0.0)
        fit = crossed(y, X, {**groups, RESIDUAL: row}, V=V, criterion=criterion, level=level, profile=profile)
        found = None if isinstance(fit, NothingFitted) else fit.variances[RESIDUAL]
        if isinstance(fit, NothingFitted) or found is None:
            break
        fails = keep & (np.sqrt(found + floor) < SHEPPARD * width)
        if not fails.any():
            return replace(account, fit=with_floor(fit, found, floor), widened=int(keep.sum()), scheme=scheme)
        keep = keep & ~fails
    return replace(account, fit=plain, scheme=scheme)


def with_floor(fit: CrossedFitted | OnlyVariancesFitted, residual: float, floor: float) -> CrossedFit:
    """The residual variance with the part that was taken as known; its effects are no effects of anybody."""
    interval = fit.variance_intervals[RESIDUAL]
    if interval is not None:
        interval = Interval(interval.low + floor, interval.high + floor, interval.level, interval.method)
    return replace(
        fit,
        variances=fit.variances | {RESIDUAL: residual + floor},
        variance_intervals=fit.variance_intervals | {RESIDUAL: interval},
        effects={name: value for name, value in fit.effects.items() if name != RESIDUAL},
        reasons={name: reason for name, reason in fit.reasons.items() if name != f"effects.{RESIDUAL}"},
    )


# ---- with one-sided lives: expectation and conditional maximisation ------------------------------------------------------------


def _one_sided(
    account: CensoredCrossedFit, rows: Rows, right: Bools, open_row: Bools, width: Array, begin: CrossedFit, profile: bool
) -> CensoredCrossedFit:
    centre = centre_to_begin_at(_dense(rows.X), open_row, begin)
    if isinstance(centre, str):
        return replace(account, fit=NothingFitted(centre))
    start, keep = _start(centre), width > 0
    while True:
        blocks = _blocks(rows, right, open_row, np.where(keep, width**2 / 12, 0.0))
        if max(len(block.y) for block in blocks) > MOST_ROWS:
            return replace(account, fit=NothingFitted(Reason("crossed.hang_together", most=MOST_ROWS)))
        b, s, path, converged = cycles(blocks, centre.coefficients, start)
        if not converged:
            return replace(account, fit=NothingFitted(_unfinished(s, start, len(path))), path=tuple(path))
        fails = keep & (np.sqrt(s[-1]) < SHEPPARD * width)
        if not fails.any():
            break
        keep = keep & ~fails
    account = replace(account, widened=int(keep.sum()), path=tuple(path))
    most = max(dimensions(block, s) for block in blocks)
    error = abs(sum(expect(block, b, s, 1).log_likelihood for block in blocks) - path[-1]) if most > max(HERMITE) else 0.0
    if not error <= MOST_ERROR:
        reason = Reason("crossed.integral_rough", dimensions=most, error=error)
        return replace(account, fit=NothingFitted(reason))
    fit = _assembled(rows, blocks, b, s, path, profile)
    if error and isinstance(fit, CrossedFitted):
        fit = replace(fit, reasons=fit.reasons | {"integration": Reason("crossed.integral_at_points", error=error)})
    return replace(account, fit=fit, scheme=_scheme(most), integration_error=float(error))


@dataclass(frozen=True, eq=False)
class Centre:
    """Coefficients and variances, all of them known."""

    coefficients: Array
    variances: Mapping[str, float]


def centre_to_begin_at(X: Array, open_row: Bools, begin: CrossedFit) -> Centre | str:
    """Coefficients and variances of the fit to the limits, or why no maximum is to be looked for from there."""
    if isinstance(begin, NothingFitted):
        return begin.reason
    variances = {name: value for name, value in begin.variances.items() if value is not None}
    if not isinstance(begin, CrossedFitted) or len(variances) < len(begin.variances):
        whys = list(dict.fromkeys(reason for name, reason in begin.reasons.items() if not name.startswith("variance_intervals")))
        return whys[0] if len(whys) == 1 else "; ".join(whys)
    if np.linalg.matrix_rank(X[~open_row]) < X.shape[1]:
        return Reason("crossed.no_end_in_sight")
    return Centre(begin.coefficients, variances)


def _unfinished(s: Array, start: Array, cycles: int) -> str:
    if vanished(s, start):
        return Reason("crossed.residual_to_zero")
    return Reason("crossed.no_maximum", cycles=cycles)


def _dense(X: Array | sp.spmatrix) -> Array:
    if sp.issparse(X):
        return np.asarray(sp.csr_matrix(X).toarray(), dtype=float)
    return np.asarray(X, dtype=float)


def _start(centre: Centre) -> Array:
    """Variances of the fit to the limits, none at zero, where a scoring step might rest too early."""
    s = np.array(list(centre.variances.values()), dtype=float)
    variances: Array = np.maximum(s, 0.02 * s.sum())
    return variances


def _blocks(rows: Rows, right: Bools, open_row: Bools, extra: Array) -> list[Block]:
    X, matrices = _dense(rows.X), [term.matrix for term in rows.terms]
    label = np.arange(rows.n)
    if matrices:
        Z = sp.hstack(matrices).tocsr()
        label = connected_components(sp.bmat([[None, Z], [Z.T, None]]), directed=False)[1][: rows.n]
    blocks = []
    for one in np.unique(label):
        i = np.flatnonzero(label == one)
        kernels = np.array([(Z[i] @ Z[i].T).toarray() for Z in matrices] + [np.eye(len(i))])
        c = open_row[i]
        sign = np.where(right[i][c], 1.0, -1.0)
        blocks.append(Block(rows.y[i], X[i], kernels, extra[i], np.flatnonzero(~c), np.flatnonzero(c), sign, i))
    return blocks


def _scheme(most: int) -> str:
    if most == 0:
        return Reason("crossed.scheme_likelihood")
    return Reason("crossed.scheme_quadrature" if most in HERMITE else "crossed.scheme_quasi_random", dimensions=most)


# ---- what is said of the fit -------------------------------------------------------------------------------------------------


def _assembled(rows: Rows, blocks: list[Block], b: Array, s: Array, path: list[float], profile: bool) -> CrossedFitted | NothingFitted:
    free, p = s > 0, len(b)
    names = [term.name for term in rows.terms] + [RESIDUAL]
    info = observed_information(blocks, b, s, free)
    if np.linalg.eigvalsh(info)[0] <= 0:
        return NothingFitted(Reason("crossed.no_curvature"))
    joint, W = np.asarray(np.linalg.inv(info), dtype=float), np.zeros((len(s), len(s)))
    W[np.ix_(free, free)] = joint[p:, p:]
    covariance, slopes = joint[:p, :p], covariance_slopes(blocks, b, s, free)
    df = degrees_of_freedom_each(covariance, slopes, W, rows.n)
    largest = float(np.abs(gradient(blocks, b, s)[p:] * s).max() * 2)
    limits = [_profile(blocks, b, s, k, path[-1], rows.level) if profile else NOT_ASKED for k in range(len(s))]
    return CrossedFitted(
        coefficients=frozen(b),
        standard_errors=frozen(np.sqrt(np.diag(covariance))),
        covariance=frozen(covariance),
        df=frozen(df),
        variances=dict(zip(names, s.tolist(), strict=True)),
        variance_intervals={name: one if isinstance(one, Interval) else None for name, one in zip(names, limits, strict=True)},
        effects={term.name: _effects(term, k, blocks, b, s, covariance) for k, term in enumerate(rows.terms)},
        log_likelihood=float(path[-1]),
        convergence=CrossedConvergence(True, len(path), len(path), largest, Reason("crossed.cycles_ended")),
        adjusted_covariance=None,
        reasons={f"variance_intervals.{name}": one for name, one in zip(names, limits, strict=True) if isinstance(one, str)}
        | {"adjusted_covariance": Reason("crossed.no_correction")}
        | ({"criterion": Reason("crossed.no_restricted")} if rows.restricted else {}),
        variance_covariance=frozen(W),
        covariance_slopes=frozen(slopes),
        rows=rows.n,
        criterion="ml",
        level=rows.level,
        units=rows.n,
    )


def _profile(blocks: list[Block], b: Array, s: Array, k: int, top: float, level: float) -> Interval | str:
    """Limits at which the likelihood, all else refitted, has fallen by half a chi-squared quantile; or why there are none."""
    fall = float(chi2_ppf(level, 1)) / 2

    def beyond(value: float) -> float:
        start = s.copy()
        start[k] = value
        return top - cycles(blocks, b, start, k)[2][-1] - fall

    high, low = max(2 * s[k], 0.1 * s.sum()), 0.5 * s[k]
    while beyond(high) < 0:
        high *= 2
        if high > FARTHEST * s.sum():
            return Reason("crossed.no_fall_upwards")
    high = settled_root(beyond, s[k], high, rtol=LIMIT)
    residual = k == len(s) - 1
    if s[k] == 0 or (not residual and beyond(0.0) <= 0):
        return Interval(0.0, high, level, "profile-ml")
    while residual and beyond(low) < 0:
        low /= 2
        if low < s[k] / FARTHEST:
            return Reason("crossed.no_fall_to_zero")
    return Interval(settled_root(beyond, low if residual else 0.0, s[k], rtol=LIMIT), high, level, "profile-ml")


def _effects(term: Term, k: int, blocks: list[Block], b: Array, s: Array, covariance: Array) -> Effects:
    """Expected effects; their slope in b is −σ²ZᵀΣ⁻¹(I − Var(y)Σ⁻¹)X, as that of E(y) is Var(y)Σ⁻¹X."""
    order = np.concatenate([block.rows for block in blocks])
    moments = [expect(block, b, s) for block in blocks]
    inverse, spread = block_diag(*(one.inverse for one in moments)), block_diag(*(one.covariance for one in moments))
    X = np.vstack([block.X for block in blocks])
    G = s[k] * term.matrix[order].T @ inverse
    values = G @ (np.concatenate([one.mean for one in moments]) - X @ b)
    conditional = s[k] - s[k] * (G @ term.matrix[order].toarray()).diagonal() + ((G @ spread) * G).sum(axis=1)
    J = G @ (X - spread @ inverse @ X)
    whole = conditional + ((J @ covariance) * J).sum(axis=1)
    return Effects(term.levels, *(frozen(one) for one in (values, np.sqrt(np.maximum(whole, 0)), np.sqrt(np.maximum(conditional, 0)))))
