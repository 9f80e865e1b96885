"""Gaussian regression where a response may be known only to lie between two limits.

The likelihood is written in γ = θ/σ and φ = 1/σ, in which it is concave whatever is censored (Burridge 1981, J. R.
Statist. Soc. B 43:41–45, extending Olsen 1978, Econometrica 46:1211–1215), so that Newton's method finds the one
maximum from any start. Where an arm has no end in sight its coefficient runs off to infinity while the likelihood
settles: the fit then returns the supremum.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from scipy.special import log_ndtr

from edgehold.numerics.arrays import Array, Bools

LOG_SQRT_2PI = 0.5 * np.log(2 * np.pi)
MOST_STEPS = 200
DECREMENT = 1e-12  # of the log-likelihood still to gain, by the quadratic model, at which Newton's method stops
SAFE = 1e-9  # gain up to which a whole step needs no watching
ARMIJO = 1e-4  # share of the gain promised by the slope that a step must bring
RIDGE = 1e-12  # keeps the step finite in directions in which the likelihood is flat


@dataclass(frozen=True, eq=False)
class CensoredFit:
    """The maximum of the (penalised) likelihood.

    Attributes
    ----------
    theta : (p,) coefficients.
    sigma : standard deviation.
    objective : penalised log-likelihood at the maximum; equal to ``log_likelihood`` without a prior.
    log_likelihood : without the penalty. Exact rows count their density on the scale of the responses.
    covariance : (p, p) of ``theta``, inverse of the observed information of all parameters.
    covariance_log_sigma : (p + 1, p + 1) of ``theta`` and ln σ.
    converged, steps : the record of Newton's method.
    """

    theta: Array
    sigma: float
    objective: float
    log_likelihood: float
    covariance: Array
    covariance_log_sigma: Array
    converged: bool
    steps: int


def fit_censored(
    low: Array,
    high: Array,
    x: Array,
    prior_df: float = 0.0,
    prior_s2: float = 1.0,
    start: Array | None = None,
    last_steps: int = 1,
) -> CensoredFit:
    """Maximise Σ ln(term) − d₀(ln σ + s₀²/2σ²).

    The terms are the density where ``low == high``, Φ(b) − Φ(a) otherwise, with a and b the standardised limits. With
    every row exact the maximum is the least-squares fit and σ̂² = (RSS + d₀s₀²)/(n + d₀).

    Parameters
    ----------
    low, high : (n,) limits of the responses; minus and plus infinity where open, never both at once.
    x : (n, p) design of full column rank.
    prior_df, prior_s2 : d₀ and s₀² of the penalty; 0 for none.
    start : (p + 1,) γ and φ to start from; least squares on midpoints and finite limits when None.
    last_steps : whole Newton steps after nothing more can be gained. Where the likelihood is nearly flat, as inside wide
        intervals, a gain too small to be seen can still be a long way: some more steps pin the coefficients down.
    """
    low, high, x = (np.asarray(values, dtype=float) for values in (low, high, x))
    problem = problem_of(low, high, x, prior_df, prior_s2)
    eta = _start(low, high, x, prior_df, prior_s2) if start is None else start
    value, gradient, hessian = evaluate(problem, eta)
    converged, step = False, 0
    while not converged and step < MOST_STEPS:
        direction = np.asarray(np.linalg.solve(stiffened(hessian), gradient), dtype=float)
        converged = bool(gradient @ direction / 2 < DECREMENT)
        if not converged:
            eta, value, gradient, hessian, moved = _advance(problem, eta, value, gradient, hessian, direction)
            converged = not moved
        step += 1
    for _ in range(last_steps):
        direction = np.asarray(np.linalg.solve(stiffened(hessian), gradient), dtype=float)
        if gradient @ direction / 2 < SAFE and eta[-1] + direction[-1] > 0:
            eta = eta + direction
            value, gradient, hessian = evaluate(problem, eta)
    return _result(problem, eta, value, hessian, converged, step)


def largest_along(low: Array, high: Array, x: Array, prior_df: float, prior_s2: float, shifts: Array, start: Array) -> Array:
    """The maximum of the objective with every limit moved, for many moves at once.

    Parameters
    ----------
    low, high, x, prior_df, prior_s2, start : as for ``fit_censored``.
    shifts : (m, n) what is taken from the limits.

    Returns
    -------
    (m,) what ``fit_censored`` gives as ``objective``.
    """
    problem = problem_of(low, high, x, prior_df, prior_s2)
    lows, highs = np.where(problem.open_low, 0.0, problem.low - shifts), np.where(problem.open_high, 0.0, problem.high - shifts)
    eta = np.tile(start, (len(shifts), 1))
    value, gradient, hessian = _evaluated(problem, lows, highs, eta)
    going = np.arange(len(shifts))
    for _ in range(MOST_STEPS):
        direction = np.linalg.solve(stiffened(hessian[going]), gradient[going, :, None])[..., 0]
        slope = (gradient[going] * direction).sum(axis=1)
        far = slope / 2 >= DECREMENT
        going, direction, slope = going[far], direction[far], slope[far]
        left, size = np.arange(len(going)), 1.0
        while len(left) and size > 1e-12:
            trial = eta[going[left]] + size * direction[left]
            left_in, trial = left[trial[:, -1] > 0], trial[trial[:, -1] > 0]
            at = going[left_in]
            new = _evaluated(problem, lows[at], highs[at], trial)
            enough = np.isfinite(new[0]) & (new[0] >= value[at] + ARMIJO * size * slope[left_in])
            at = at[enough]
            eta[at], value[at], gradient[at], hessian[at] = trial[enough], new[0][enough], new[1][enough], new[2][enough]
            left, size = np.setdiff1d(left, left_in[enough], assume_unique=True), size / 2
        going = np.delete(going, left)
        if not len(going):
            break
    direction = np.linalg.solve(stiffened(hessian), gradient[..., None])[..., 0]
    safe = ((gradient * direction).sum(axis=1) / 2 < SAFE) & (eta[:, -1] + direction[:, -1] > 0)
    value[safe] = _evaluated(problem, lows[safe], highs[safe], eta[safe] + direction[safe])[0]
    return value


@dataclass(frozen=True, eq=False)
class Problem:
    """Everything that does not change between evaluations; open limits stand as 0 beside their marks."""

    exact: Bools
    low: Array
    high: Array
    open_low: Bools
    open_high: Bools
    x: Array
    prior_df: float
    prior_s2: float

    @cached_property
    def rows_low(self) -> Array:
        """(n, p + 1) slopes of the lower limits, standardised, in (γ, φ)."""
        return np.column_stack([-self.x, self.low])

    @cached_property
    def rows_high(self) -> Array:
        """The same of the upper ones."""
        return np.column_stack([-self.x, self.high])


def problem_of(low: Array, high: Array, x: Array, prior_df: float, prior_s2: float) -> Problem:
    open_low, open_high = np.isneginf(low), np.isposinf(high)
    return Problem(
        exact=low == high,
        low=np.where(open_low, 0.0, low),
        high=np.where(open_high, 0.0, high),
        open_low=open_low,
        open_high=open_high,
        x=x,
        prior_df=prior_df,
        prior_s2=prior_s2,
    )


def _start(low: Array, high: Array, x: Array, prior_df: float, prior_s2: float) -> Array:
    """Least squares on midpoints and finite limits."""
    y = np.where(np.isneginf(low), high, np.where(np.isposinf(high), low, (low + high) / 2))
    theta, *_ = np.linalg.lstsq(x, y, rcond=None)
    rss = float(((y - x @ theta) ** 2).sum())
    widths = (high - low)[np.isfinite(high - low)]
    floor = float(np.mean(widths**2)) / 12 if len(widths) else 0.0
    s2 = (rss + len(y) * floor + prior_df * prior_s2) / (len(y) + prior_df)
    sigma = float(np.sqrt(s2)) if s2 > 0 else 1.0
    started: Array = np.append(theta, 1.0) / sigma
    return started


def evaluate(problem: Problem, eta: Array) -> tuple[float, Array, Array]:
    """Value, gradient and Hessian of the objective at (γ, φ)."""
    x, exact, phi = problem.x, problem.exact, eta[-1]
    shift = x @ eta[:-1]
    a = np.where(problem.open_low, -np.inf, phi * problem.low - shift)
    b = np.where(problem.open_high, np.inf, phi * problem.high - shift)
    terms, d_a, d_b, d_aa, d_bb, d_ab = _terms(a, b, exact)
    rows_a, rows_b = problem.rows_low, problem.rows_high
    gradient = rows_a.T @ d_a + rows_b.T @ d_b
    cross = (rows_a * d_ab[:, None]).T @ rows_b
    hessian = (rows_a * d_aa[:, None]).T @ rows_a + (rows_b * d_bb[:, None]).T @ rows_b + cross + cross.T
    n_exact, d0, s02 = exact.sum(), problem.prior_df, problem.prior_s2
    gradient[-1] += (n_exact + d0) / phi - d0 * s02 * phi
    hessian[-1, -1] -= (n_exact + d0) / phi**2 + d0 * s02
    return terms.sum() + (n_exact + d0) * np.log(phi) - d0 * s02 * phi**2 / 2, gradient, hessian


def _evaluated(problem: Problem, low: Array, high: Array, eta: Array) -> tuple[Array, Array, Array]:
    """``evaluate`` for many limits (m, n) and parameters (m, p + 1) at once."""
    x, exact, phi = problem.x, problem.exact, eta[:, -1:]
    shift, p = eta[:, :-1] @ x.T, x.shape[1]
    a = np.where(problem.open_low, -np.inf, phi * low - shift)
    b = np.where(problem.open_high, np.inf, phi * high - shift)
    terms, d_a, d_b, d_aa, d_bb, d_ab = _terms(a, b, np.broadcast_to(exact, a.shape))
    in_low, in_high, phi = d_aa * low + d_ab * high, d_bb * high + d_ab * low, phi[:, 0]
    gradient, hessian = np.empty((len(eta), p + 1)), np.empty((len(eta), p + 1, p + 1))
    gradient[:, :p] = -(d_a + d_b) @ x
    hessian[:, :p, :p] = np.matmul(x.T * (d_aa + d_bb + 2 * d_ab)[:, None, :], x)
    hessian[:, p, :p] = hessian[:, :p, p] = -(in_low + in_high) @ x
    n_exact, d0, s02 = exact.sum(), problem.prior_df, problem.prior_s2
    gradient[:, p] = (d_a * low + d_b * high).sum(axis=1) + (n_exact + d0) / phi - d0 * s02 * phi
    hessian[:, p, p] = (in_low * low + in_high * high).sum(axis=1) - (n_exact + d0) / phi**2 - d0 * s02
    return terms.sum(axis=1) + (n_exact + d0) * np.log(phi) - d0 * s02 * phi**2 / 2, gradient, hessian


def _terms(a: Array, b: Array, exact: Bools) -> tuple[Array, Array, Array, Array, Array, Array]:
    """ln of each term (without ln φ) and its derivatives in a and b."""
    flip = a > 0
    lower, upper = np.where(flip, -b, a), np.where(flip, -a, b)
    log_upper = log_ndtr(upper)
    with np.errstate(divide="ignore"):  # an exact row has no interval; its term is replaced
        log_p = np.where(exact, 0.0, log_upper + np.log1p(-np.exp(np.where(exact, 0.0, log_ndtr(lower) - log_upper))))
        mills_a = np.where(exact | np.isinf(a), 0.0, np.exp(-(a**2) / 2 - LOG_SQRT_2PI - log_p))
        mills_b = np.where(exact | np.isinf(b), 0.0, np.exp(-(b**2) / 2 - LOG_SQRT_2PI - log_p))
    safe_a, safe_b = np.where(np.isinf(a), 0.0, a), np.where(np.isinf(b), 0.0, b)
    terms = np.where(exact, -(safe_b**2) / 2 - LOG_SQRT_2PI, log_p)
    d_a, d_b = -mills_a, np.where(exact, -safe_b, mills_b)
    d_aa = safe_a * mills_a - mills_a**2
    d_bb = np.where(exact, -1.0, -safe_b * mills_b - mills_b**2)
    return terms, d_a, d_b, d_aa, d_bb, mills_a * mills_b


def stiffened(hessian: Array) -> Array:
    """−H with its diagonal a trace larger, so that it can be solved where the likelihood is flat."""
    diagonal, stiff = np.abs(np.diagonal(hessian, axis1=-2, axis2=-1)), -hessian
    at = np.arange(hessian.shape[-1])
    stiff[..., at, at] += RIDGE * (diagonal + RIDGE * diagonal.max(axis=-1, keepdims=True))
    return stiff


def _advance(
    problem: Problem, eta: Array, value: float, gradient: Array, hessian: Array, direction: Array
) -> tuple[Array, float, Array, Array, bool]:
    """Go along the step, halved until φ > 0 and it gains enough; unmoved when rounding leaves nothing to gain."""
    size, slope = 1.0, gradient @ direction
    while size > 1e-12:
        trial = eta + size * direction
        if trial[-1] > 0:
            new = evaluate(problem, trial)
            if np.isfinite(new[0]) and new[0] >= value + ARMIJO * size * slope:
                return trial, *new, True
        size /= 2
    return eta, value, gradient, hessian, False


def _result(problem: Problem, eta: Array, value: float, hessian: Array, converged: bool, steps: int) -> CensoredFit:
    """Back to θ and σ."""
    phi, d0, s02 = eta[-1], problem.prior_df, problem.prior_s2
    theta, p = eta[:-1] / phi, len(eta) - 1
    inverse = np.linalg.inv(stiffened(hessian))
    jacobian = np.zeros((p + 1, p + 1))
    jacobian[:p, :p] = np.eye(p) / phi
    jacobian[:p, p] = -theta / phi
    jacobian[p, p] = -1 / phi
    covariance = jacobian @ inverse @ jacobian.T
    return CensoredFit(
        theta=theta,
        sigma=float(1 / phi),
        objective=float(value),
        log_likelihood=float(value - d0 * (np.log(phi) - s02 * phi**2 / 2)),
        covariance=covariance[:p, :p],
        covariance_log_sigma=covariance,
        converged=bool(converged),
        steps=steps,
    )
