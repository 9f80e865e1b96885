"""Crossed model for lives that are known exactly, to an interval, or only to be longer or shorter than a limit.

The symbols are those of ``aggregator.pooling.crossed``. The missing data are the responses of the one-sided rows, c; the others
are o. With η the sum of the random effects of a row of c, f(yₒ) is normal and η given yₒ is normal, m + Lz with z standard normal; given
η the rows of c are independent and truncated at their limits, with closed moments. What remains is an integral over z, as many
dimensions as L has columns and one set a connected block of rows: none without random effects, one with one grouping factor.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import lru_cache
from itertools import product

import numpy as np
import scipy.sparse as sp
from numpy.typing import ArrayLike
from scipy.linalg import block_diag
from scipy.optimize import brentq
from scipy.sparse.csgraph import connected_components
from scipy.special import erfcx, log_ndtr, ndtri
from scipy.stats import chi2, qmc

from aggregator.errors import InputError
from aggregator.numerics.interval import Interval

from .crossed import crossed
from .crossed_input import RESIDUAL, Term, checked_rows
from .crossed_results import CrossedConvergence, CrossedFit, Effects, degrees_of_freedom

MOST_ONE_SIDED = 0.30  # share of lives beyond which no fit is tried
SHEPPARD = 0.43  # residual standard deviation, in widths of the interval, from which the midpoint's variance may be put as width²/12
FLOOR_SHARE = 1e-3  # of the residual variance, taken as known so that the rows without an interval have a known variance too
HERMITE = {0: 1, 1: 41, 2: 25, 3: 15}  # nodes a dimension of the product rule, by dimensions
POINTS = 4096  # of the quasi-random rule in more dimensions; each is used with its mirror image
WIDER = 0.5  # share of the limits' part of the curvature that scales them: tails must not be missed; of 1 to 0.35 about the best in trials
MOST_ROWS = 1500  # in one connected block: its matrices are dense
MOST_ERROR = 0.01  # of the log-likelihood, between two sets of points
# where the cycles end, in residual standard deviations and shares of the variance: quadrature, quasi-random points, and profiles, of
# which only the likelihood is wanted, which is off by the square
STEP, ROUGH_STEP, HELD_STEP = 1e-9, 1e-8, 1e-5
VANISHED = 1e-9  # share of the whole variance at which a residual on its way to zero is given up
ROUNDING = 1e-13  # of a log-likelihood, relative: a fall smaller than this is none
LIMIT, FARTHEST = 1e-5, 1e6  # relative error of a profile limit; how many times the fitted variance one is looked for
MOST_CYCLES, MOST_HALVINGS = 500, 40
FLAT = 1e-12  # share of the latent variance below which a direction is no dimension of the integral
DEEP = -100.0  # standard deviations: beyond it a difference of large numbers is replaced by its expansion
LOG_SQRT_2PI = 0.5 * np.log(2 * np.pi)
TURN = "look at the levels at which an edge counts as spent and at the window of work in the protocol"


@dataclass(frozen=True, eq=False)
class CensoredCrossedFit:
    """A crossed fit of lives with the account of what was known about them.

    Attributes
    ----------
    fit : as by ``crossed``; everything None, with the reason, where it was not fitted. ``criterion`` is the one really used. With
        one-sided lives ``covariance`` is the coefficients' part of the inverse observed information of all parameters,
        ``df`` are Satterthwaite's; ``effects`` are expectations given what is known.
    lives, exact, intervals, one_sided : how many rows there are, and of each kind.
    widened : interval rows that got width²/12 beside the residual variance; the others count as exact at their midpoint.
    scheme : how the likelihood was had, in words.
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
    """
    low, high = _limits(low, high)
    if not 0 <= most_one_sided <= 1:
        raise InputError(f"most_one_sided must lie between 0 and 1; got {most_one_sided!r}")
    open_row = np.isinf(low) | np.isinf(high)
    with np.errstate(invalid="ignore"):  # an open row has no midpoint; its finite limit replaces it
        y = np.where(np.isinf(low), high, np.where(np.isinf(high), low, low + (high - low) / 2))
    width = np.where(open_row, 0.0, np.where(open_row, 0.0, high) - np.where(open_row, 0.0, low))
    rows = checked_rows(y, X, groups, None, criterion, level)
    n, m = len(y), int(open_row.sum())
    account = CensoredCrossedFit(
        fit=_refused(rows, f"not fitted: {m} of {n} lives censored; {TURN}"),
        lives=n,
        exact=int(((width == 0) & ~open_row).sum()),
        intervals=int((width > 0).sum()),
        one_sided=m,
        widened=0,
        scheme="none",
        integration_error=0.0,
        path=(),
    )
    if m == 0:
        return _midpoints(account, y, X, groups, width, criterion, level, profile)
    if m > most_one_sided * n:
        return account
    begin = crossed(y, X, groups, criterion="ml", level=level, profile=False)
    return _one_sided(account, rows, np.isposinf(high), open_row, width, begin, profile)


def _limits(low, high) -> tuple[np.ndarray, np.ndarray]:
    low, high = np.asarray(low, dtype=float), np.asarray(high, dtype=float)
    if low.ndim != 1 or low.shape != high.shape:
        raise InputError(f"low and high must hold one number a life each; got shapes {low.shape} and {high.shape}")
    wrong = ~(low <= high) | (np.isinf(low) & np.isinf(high))
    if wrong.any():
        i = int(np.flatnonzero(wrong)[0])
        raise InputError(f"low must not exceed high and one of them must be finite; got {low[i]!r} and {high[i]!r} in row {i}")
    return low, high


# ---- without one-sided lives: midpoints -------------------------------------------------------------------------------------


def _midpoints(account, y, X, groups, width, criterion, level, profile) -> CensoredCrossedFit:
    plain = crossed(y, X, groups, criterion=criterion, level=level, profile=profile)
    residual = plain.variances.get(RESIDUAL)
    keep, scheme = width > 0, "closed form"
    if not keep.any() or not residual:
        return replace(account, fit=plain, scheme=scheme)
    floor, row = FLOOR_SHARE * residual, np.arange(len(y))
    while keep.any():
        V = floor + np.where(keep, width**2 / 12, 0.0)
        fit = crossed(y, X, {**groups, RESIDUAL: row}, V=V, criterion=criterion, level=level, profile=profile)
        found = fit.variances.get(RESIDUAL)
        fails = keep & (True if found is None else np.sqrt(found + floor) < SHEPPARD * width)
        if not fails.any():
            return replace(account, fit=_with_floor(fit, floor), widened=int(keep.sum()), scheme=scheme)
        keep = keep & ~fails
    return replace(account, fit=plain, scheme=scheme)


def _with_floor(fit: CrossedFit, floor: float) -> CrossedFit:
    """The residual variance with the part that was taken as known; its effects are no effects of anybody."""
    interval = fit.variance_intervals[RESIDUAL]
    if interval is not None:
        interval = Interval(interval.low + floor, interval.high + floor, interval.level, interval.method)
    return replace(
        fit,
        variances=fit.variances | {RESIDUAL: fit.variances[RESIDUAL] + floor},
        variance_intervals=fit.variance_intervals | {RESIDUAL: interval},
        effects={name: value for name, value in fit.effects.items() if name != RESIDUAL},
        reasons={name: reason for name, reason in fit.reasons.items() if name != f"effects.{RESIDUAL}"},
    )


# ---- with one-sided lives: expectation and conditional maximisation ------------------------------------------------------------


@dataclass(frozen=True, eq=False)
class _Block:
    """Rows joined by shared levels. ``sign`` is +1 where the life is longer than its limit, −1 where shorter, for the rows of c."""

    y: np.ndarray
    X: np.ndarray
    kernels: np.ndarray  # (m, n, n) ZₖZₖᵀ of each term and, last, the identity
    extra: np.ndarray  # (n,) known part of the variance
    o: np.ndarray
    c: np.ndarray
    sign: np.ndarray
    rows: np.ndarray


@dataclass(frozen=True, eq=False)
class _Moments:
    """E step of one block: Σ and its inverse, mean and covariance of y given what is known, and the log-likelihood."""

    inverse: np.ndarray
    log_det: float
    mean: np.ndarray
    covariance: np.ndarray
    log_likelihood: float


def _one_sided(account, rows, right, open_row, width, begin: CrossedFit, profile: bool) -> CensoredCrossedFit:
    reason = _cannot(rows, open_row, begin)
    if reason:
        return replace(account, fit=_refused(rows, reason))
    keep = width > 0
    while True:
        blocks = _blocks(rows, right, open_row, np.where(keep, width**2 / 12, 0.0))
        if max(len(block.y) for block in blocks) > MOST_ROWS:
            return replace(
                account, fit=_refused(rows, f"more than {MOST_ROWS} lives hang together by shared levels, with censored ones among them")
            )
        b, s, path, converged = _cycles(blocks, begin.coefficients, _start(begin))
        if not converged:
            return replace(account, fit=_refused(rows, _unfinished(s, len(path))), path=tuple(path))
        fails = keep & (np.sqrt(s[-1]) < SHEPPARD * width)
        if not fails.any():
            break
        keep = keep & ~fails
    account = replace(account, widened=int(keep.sum()), path=tuple(path))
    dimensions = max(_dimensions(block, s) for block in blocks)
    error = abs(sum(_expect(block, b, s, 1).log_likelihood for block in blocks) - path[-1]) if dimensions > max(HERMITE) else 0.0
    if not error <= MOST_ERROR:
        reason = f"{dimensions} censored lives hang together and the likelihood's integral is known only to {error:.2g}"
        return replace(account, fit=_refused(rows, reason))
    fit = _assembled(rows, blocks, b, s, path, profile)
    if error:
        fit = replace(fit, reasons=fit.reasons | {"integration": f"the log-likelihood is had by quasi-random points, to about {error:.1g}"})
    return replace(account, fit=fit, scheme=_scheme(dimensions), integration_error=float(error))


def _cannot(rows, open_row, begin: CrossedFit) -> str:
    """Why no maximum is to be looked for, from the fit to the limits; empty when nothing speaks against it."""
    if begin.coefficients is None or any(value is None for value in begin.variances.values()):
        return "; ".join(dict.fromkeys(reason for name, reason in begin.reasons.items() if not name.startswith("variance_intervals")))
    X = _dense(rows.X)
    if np.linalg.matrix_rank(X[~open_row]) < X.shape[1]:
        return "every life that tells one of the coefficients is censored, so it has no end in sight"
    return ""


def _unfinished(s: np.ndarray, cycles: int) -> str:
    if s[-1] < VANISHED * s.sum():
        return "the residual variance runs to zero, as when the levels of the random terms reproduce every exact life"
    return f"the search found no maximum of the censored likelihood in {cycles} cycles"


def _dense(X) -> np.ndarray:
    return X.toarray() if sp.issparse(X) else np.asarray(X)


def _start(begin: CrossedFit) -> np.ndarray:
    """Variances of the fit to the limits, none at zero, where a scoring step might rest too early."""
    s = np.array(list(begin.variances.values()))
    return np.maximum(s, 0.02 * s.sum())


def _blocks(rows, right, open_row, extra) -> list[_Block]:
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
        blocks.append(_Block(rows.y[i], X[i], kernels, extra[i], np.flatnonzero(~c), np.flatnonzero(c), sign, i))
    return blocks


def _latent(block: _Block, s: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Σ of the rows o, the weights that predict η from their residuals, and L with Var(η | yₒ) = LLᵀ."""
    K = np.tensordot(s[:-1], block.kernels[:-1], 1) if len(s) > 1 else np.zeros((len(block.y),) * 2)
    o, c = block.o, block.c
    So = K[np.ix_(o, o)] + np.diag(s[-1] + block.extra[o])
    weights = np.linalg.solve(So, K[np.ix_(o, c)]).T
    C = K[np.ix_(c, c)] - weights @ K[np.ix_(o, c)]
    values, vectors = np.linalg.eigh((C + C.T) / 2)
    there = values > FLAT * (s.sum() + np.trace(C))
    L = vectors[:, there] * np.sqrt(values[there])
    if L.shape[1] in HERMITE:
        return So, weights, L
    return So, weights, L @ vectors[:, there].T  # the symmetric root, which moves smoothly with the variances, as the points do not


def _dimensions(block: _Block, s: np.ndarray) -> int:
    return _latent(block, s)[2].shape[1] if len(block.c) else 0


def _expect(block: _Block, b: np.ndarray, s: np.ndarray, seed: int = 0) -> _Moments:
    """Mean and covariance of the responses given the exact ones and the limits, and the log-likelihood."""
    S = np.tensordot(s, block.kernels, 1) + np.diag(block.extra)
    inverse, log_det = np.linalg.inv(S), np.linalg.slogdet(S)[1]
    mean, covariance, fitted = block.y.copy(), np.zeros_like(S), block.X @ b
    o, c = block.o, block.c
    So, weights, L = _latent(block, s)
    r = block.y[o] - fitted[o]
    log_likelihood = -0.5 * (np.linalg.slogdet(So)[1] + r @ np.linalg.solve(So, r)) - len(o) * LOG_SQRT_2PI
    if len(c):
        z = fitted[c] + weights @ r
        log_p, mean[c], covariance[np.ix_(c, c)] = _truncated(z, L, block.y[c], block.sign, np.sqrt(s[-1]), seed)
        log_likelihood += log_p
    return _Moments(inverse, log_det, mean, covariance, float(log_likelihood))


def _truncated(m, L, limit, sign, sd, seed) -> tuple[float, np.ndarray, np.ndarray]:
    """ln P(every y beyond its limit), E(y) and Var(y) given that, for y = m + Lz + e with e independent of standard deviation ``sd``."""
    z, root, log_det = _mode(m, L, limit, sign, sd)
    x, log_w = _nodes(L.shape[1], seed)
    at = z + x @ root.T
    eta = m + at @ L.T
    d = sign * (eta - limit) / sd
    tail = log_ndtr(d)
    terms = log_w + 0.5 * (x**2).sum(axis=1) - 0.5 * (at**2).sum(axis=1) + tail.sum(axis=1)
    top = terms.max()
    share = np.exp(terms - top)
    log_p = top + np.log(share.sum()) + log_det
    share /= share.sum()
    mills, bend = _mills(d)
    given = eta + sign * sd * mills
    mean = share @ given
    off = given - mean
    return float(log_p), mean, (off * share[:, None]).T @ off + np.diag(share @ (sd**2 * (1 - bend)))


def _mills(d: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """φ(d)/Φ(d) = λ and λ(λ + d), the latter by its expansion 1 − 1/d² + 6/d⁴ where λ and d cancel."""
    mills = np.sqrt(2 / np.pi) / erfcx(-d / np.sqrt(2))
    far = np.minimum(d, DEEP)
    return mills, np.where(d < DEEP, 1 - 1 / far**2 + 6 / far**4, mills * (mills + d))


def _mode(m, L, limit, sign, sd) -> tuple[np.ndarray, np.ndarray, float]:
    """Mode of the integrand, a root R of the inverse curvature there by which nodes are scaled, and ln|R|, by damped Newton steps."""
    z, r = np.zeros(L.shape[1]), L.shape[1]

    def height(z):
        return -0.5 * z @ z + log_ndtr(sign * (m + L @ z - limit) / sd).sum()

    for _ in range(100):
        d = sign * (m + L @ z - limit) / sd
        mills, bend = _mills(d)
        curvature = np.eye(r) + (L * (bend / sd**2)[:, None]).T @ L
        step = np.linalg.solve(curvature, L.T @ (sign * mills) / sd - z)
        size = 1.0
        while size > 1e-6 and height(z + size * step) < height(z):
            size /= 2
        if size <= 1e-6 or np.abs(step).max(initial=0.0) < 1e-10:
            break
        z = z + size * step
    if r not in HERMITE:
        curvature = np.eye(r) + WIDER * (curvature - np.eye(r))
    root = np.linalg.inv(np.linalg.cholesky(curvature)).T
    return z, root, float(np.log(np.diag(root)).sum())


@lru_cache(maxsize=64)
def _nodes(r: int, seed: int) -> tuple[np.ndarray, np.ndarray]:
    """Nodes (M, r) and log weights for the mean over a standard normal."""
    if r in HERMITE:
        x, w = np.polynomial.hermite_e.hermegauss(HERMITE[r])
        grid = np.array(list(product(x, repeat=r))).reshape(HERMITE[r] ** r, r)
        weights = np.array([np.prod(one) for one in product(w / w.sum(), repeat=r)])
        return grid, np.log(weights)
    half = ndtri(qmc.Sobol(r, seed=np.random.default_rng(seed)).random(POINTS))
    return np.vstack([half, -half]), np.full(2 * POINTS, -np.log(2 * POINTS))


def _scheme(dimensions: int) -> str:
    if dimensions == 0:
        return "maximum likelihood, closed form"
    rule = "Gauss-Hermite quadrature" if dimensions in HERMITE else "quasi-random points"
    return f"maximum likelihood, {rule} in up to {dimensions} dimensions"


def _cycles(blocks, b, s, held: int | None = None) -> tuple[np.ndarray, np.ndarray, list[float], bool]:
    """Cycles of expectation, least squares and scoring until nothing moves; the variance ``held`` stays as it is."""
    path, converged = [], False
    while True:
        moments = [_expect(block, b, s) for block in blocks]
        path.append(sum(one.log_likelihood for one in moments))
        if converged or len(path) > MOST_CYCLES or s[-1] < VANISHED * s.sum():
            return b, s, path, converged
        before = b, s
        b = _least_squares(blocks, moments)
        s = _scored(blocks, moments, b, s, held)
        fitted = max(np.abs(block.X @ (b - before[0])).max() for block in blocks)
        moved = max(fitted / np.sqrt(s[-1]), np.abs(s - before[1]).max() / s.sum())
        smooth = max(_dimensions(block, s) for block in blocks) in HERMITE
        converged = moved < (HELD_STEP if held is not None else STEP if smooth else ROUGH_STEP)


def _least_squares(blocks, moments) -> np.ndarray:
    A = sum(block.X.T @ one.inverse @ block.X for block, one in zip(blocks, moments, strict=True))
    return np.linalg.solve(A, sum(block.X.T @ one.inverse @ one.mean for block, one in zip(blocks, moments, strict=True)))


def _score(blocks, moments, b) -> tuple[np.ndarray, np.ndarray]:
    """Slopes of the expected complete-data log-likelihood in the variances, and their expected information."""
    m = len(blocks[0].kernels)
    slope, info = np.zeros(m), np.zeros((m, m))
    for block, one in zip(blocks, moments, strict=True):
        r = one.mean - block.X @ b
        T = one.inverse @ block.kernels
        middle = one.inverse @ (one.covariance + np.outer(r, r))
        slope += 0.5 * (np.einsum("kij,ji->k", T, middle) - np.trace(T, axis1=1, axis2=2))
        info += 0.5 * np.einsum("kij,lji->kl", T, T, optimize=True)
    return slope, info


def _scored(blocks, moments, b, s, held: int | None = None) -> np.ndarray:
    """One scoring step for the variances, zero kept as a bound, halved until the expected log-likelihood does not fall."""
    slope, info = _score(blocks, moments, b)
    free = ((s > 0) | (slope > 0)) & (np.arange(len(s)) != held)
    step = np.zeros_like(s)
    for _ in range(len(s)):  # what the step drives below zero stops there, and the others step without it
        step[:] = 0.0
        step[free] = np.linalg.solve(info[np.ix_(free, free)], slope[free])
        stops = free & (s + step <= 0) & (s == 0)
        if not stops.any():
            break
        free &= ~stops
    here, size = _expected(blocks, moments, b, s), 1.0
    for _ in range(MOST_HALVINGS):
        trial = np.maximum(s + size * step, 0.0)
        trial[-1] = max(trial[-1], 1e-3 * s[-1])  # the residual never reaches zero
        if _expected(blocks, moments, b, trial) >= here - ROUNDING * abs(here):
            return trial
        size /= 2
    return s


def _expected(blocks, moments, b, s) -> float:
    """Expected complete-data log-likelihood, without constants."""
    total = 0.0
    for block, one in zip(blocks, moments, strict=True):
        S, r = np.tensordot(s, block.kernels, 1) + np.diag(block.extra), one.mean - block.X @ b
        total -= 0.5 * (np.linalg.slogdet(S)[1] + np.trace(np.linalg.solve(S, one.covariance + np.outer(r, r))))
    return total


# ---- what is said of the fit -------------------------------------------------------------------------------------------------


def _gradient(blocks, b, s) -> np.ndarray:
    """Score of the observed data in (b, variances): that of the complete data at its expectation."""
    moments = [_expect(block, b, s) for block in blocks]
    in_b = sum(block.X.T @ one.inverse @ (one.mean - block.X @ b) for block, one in zip(blocks, moments, strict=True))
    return np.concatenate([in_b, _score(blocks, moments, b)[0]])


def _observed(blocks, b, s, free) -> np.ndarray:
    """Observed information of b and the variances above zero, by central differences of the score."""
    p, theta = len(b), np.concatenate([b, s])
    which = np.concatenate([np.arange(p), p + np.flatnonzero(free)])
    steps = 1e-5 * np.concatenate([np.full(p, np.sqrt(s.sum())), s])
    columns = []
    for j in which:
        e = np.zeros_like(theta)
        e[j] = steps[j]
        up, down = theta + e, theta - e
        columns.append((_gradient(blocks, up[:p], up[p:]) - _gradient(blocks, down[:p], down[p:]))[which] / (2 * steps[j]))
    info = -np.array(columns)
    return (info + info.T) / 2


def _coefficient_covariance(blocks, b, s) -> np.ndarray:
    """Inverse of the coefficients' information with the variances taken as known, XᵀΣ⁻¹X − XᵀΣ⁻¹Var(y)Σ⁻¹X."""
    total = 0.0
    for block in blocks:
        one = _expect(block, b, s)
        G = one.inverse @ block.X
        total = total + block.X.T @ G - G.T @ one.covariance @ G
    return np.linalg.inv(total)


def _slopes(blocks, b, s, free) -> np.ndarray:
    out = np.zeros((len(s), len(b), len(b)))
    for k in np.flatnonzero(free):
        e = np.zeros_like(s)
        e[k] = 1e-4 * s[k]
        out[k] = (_coefficient_covariance(blocks, b, s + e) - _coefficient_covariance(blocks, b, s - e)) / (2 * e[k])
    return out


def _assembled(rows, blocks, b, s, path, profile: bool) -> CrossedFit:
    free, p = s > 0, len(b)
    names = [term.name for term in rows.terms] + [RESIDUAL]
    info = _observed(blocks, b, s, free)
    if np.linalg.eigvalsh(info)[0] <= 0:
        return _refused(rows, "the search ended where the censored likelihood has no curvature of a maximum")
    joint, W = np.linalg.inv(info), np.zeros((len(s), len(s)))
    W[np.ix_(free, free)] = joint[p:, p:]
    covariance, slopes = joint[:p, :p], _slopes(blocks, b, s, free)
    df = [degrees_of_freedom(c, covariance, slopes, W, rows.n) for c in np.eye(p)]
    largest = float(np.abs(_gradient(blocks, b, s)[p:] * s).max() * 2)
    limits = [_profile(blocks, b, s, k, path[-1], rows.level) if profile else "not asked for" for k in range(len(s))]
    return CrossedFit(
        coefficients=_frozen(b),
        standard_errors=_frozen(np.sqrt(np.diag(covariance))),
        covariance=_frozen(covariance),
        df=_frozen(df),
        variances=dict(zip(names, s.tolist(), strict=True)),
        variance_intervals={name: one if isinstance(one, Interval) else None for name, one in zip(names, limits, strict=True)},
        effects={term.name: _effects(term, k, blocks, b, s, covariance) for k, term in enumerate(rows.terms)},
        log_likelihood=float(path[-1]),
        convergence=CrossedConvergence(True, len(path), len(path), largest, "the cycles move no more"),
        adjusted_covariance=None,
        reasons={f"variance_intervals.{name}": one for name, one in zip(names, limits, strict=True) if isinstance(one, str)}
        | {"adjusted_covariance": "no correction is known for a likelihood with one-sided lives"}
        | ({"criterion": "one-sided lives have no restricted likelihood; fitted by maximum likelihood"} if rows.restricted else {}),
        variance_covariance=_frozen(W),
        covariance_slopes=_frozen(slopes),
        rows=rows.n,
        criterion="ml",
        level=rows.level,
    )


def _profile(blocks, b, s, k: int, top: float, level: float) -> Interval | str:
    """Limits at which the likelihood, all else refitted, has fallen by half a chi-squared quantile; or why there are none."""
    fall = float(chi2.ppf(level, 1)) / 2

    def beyond(value: float) -> float:
        start = s.copy()
        start[k] = value
        return top - _cycles(blocks, b, start, k)[2][-1] - fall

    high, low = max(2 * s[k], 0.1 * s.sum()), 0.5 * s[k]
    while beyond(high) < 0:
        high *= 2
        if high > FARTHEST * s.sum():
            return "the likelihood does not fall enough towards large values"
    high = brentq(beyond, s[k], high, rtol=LIMIT)
    residual = k == len(s) - 1
    if s[k] == 0 or (not residual and beyond(0.0) <= 0):
        return Interval(0.0, high, level, "profile-ml")
    while residual and beyond(low) < 0:
        low /= 2
        if low < s[k] / FARTHEST:
            return "the likelihood does not fall enough towards zero"
    return Interval(brentq(beyond, low if residual else 0.0, s[k], rtol=LIMIT), high, level, "profile-ml")


def _effects(term: Term, k: int, blocks, b, s, covariance) -> Effects:
    """Expected effects; their slope in b is −σ²ZᵀΣ⁻¹(I − Var(y)Σ⁻¹)X, as that of E(y) is Var(y)Σ⁻¹X."""
    order = np.concatenate([block.rows for block in blocks])
    moments = [_expect(block, b, s) for block in blocks]
    inverse, spread = block_diag(*(one.inverse for one in moments)), block_diag(*(one.covariance for one in moments))
    X = np.vstack([block.X for block in blocks])
    G = s[k] * term.matrix[order].T @ inverse
    values = G @ (np.concatenate([one.mean for one in moments]) - X @ b)
    conditional = s[k] - s[k] * (G @ term.matrix[order].toarray()).diagonal() + ((G @ spread) * G).sum(axis=1)
    J = G @ (X - spread @ inverse @ X)
    whole = conditional + ((J @ covariance) * J).sum(axis=1)
    return Effects(term.levels, *(_frozen(one) for one in (values, np.sqrt(np.maximum(whole, 0)), np.sqrt(np.maximum(conditional, 0)))))


def _refused(rows, reason: str) -> CrossedFit:
    terms = [term.name for term in rows.terms]
    nothing = dict.fromkeys([*terms, RESIDUAL])
    return CrossedFit(
        coefficients=None,
        standard_errors=None,
        covariance=None,
        df=None,
        variances=nothing,
        variance_intervals=dict(nothing),
        effects=dict.fromkeys(terms),
        log_likelihood=None,
        convergence=CrossedConvergence(False, 0, 0, 0.0, reason),
        adjusted_covariance=None,
        reasons={"coefficients": reason, "variances": reason, "convergence": reason},
        variance_covariance=None,
        covariance_slopes=None,
        rows=rows.n,
        criterion=rows.criterion,
        level=rows.level,
    )


def _frozen(values) -> np.ndarray:
    values = np.array(values)
    values.flags.writeable = False
    return values
