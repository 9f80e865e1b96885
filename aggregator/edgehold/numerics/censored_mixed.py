"""Maximum likelihood for a mixed model some of whose responses are only known to lie beyond a limit: expectation, then maximisation.

The missing data are the responses of the one-sided rows, c; the others are o. With η the sum of the random effects of a row of c,
f(yₒ) is normal and η given yₒ is normal, so that ``truncated_normal`` gives the moments of yc. Dense, one block of rows joined by shared
levels at a time. Throughout ``b`` (p,) are the coefficients and ``s`` (m,) the variances, the residual last.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from .arrays import Array, Bools, Ints
from .truncated_normal import HERMITE, truncated

# where the cycles end, in residual standard deviations and shares of the variance: quadrature, quasi-random points, and profiles, of
# which only the likelihood is wanted, which is off by the square
STEP, ROUGH_STEP, HELD_STEP = 1e-9, 1e-8, 1e-5
VANISHED = 1e-9  # share of the whole variance at which a residual on its way to zero is given up
ROUNDING = 1e-13  # of a log-likelihood, relative: a fall smaller than this is none
MOST_CYCLES, MOST_HALVINGS = 500, 40
FLAT = 1e-12  # share of the latent variance below which a direction is no dimension of the integral
LOG_SQRT_2PI = 0.5 * np.log(2 * np.pi)


@dataclass(frozen=True, eq=False)
class Block:
    """Rows joined by shared levels. ``sign`` is +1 where the life is longer than its limit, −1 where shorter, for the rows of c."""

    y: Array
    X: Array
    kernels: Array  # (m, n, n) ZₖZₖᵀ of each term and, last, the identity
    extra: Array  # (n,) known part of the variance
    o: Ints
    c: Ints
    sign: Array
    rows: Ints


@dataclass(frozen=True, eq=False)
class Moments:
    """E step of one block: Σ and its inverse, mean and covariance of y given what is known, and the log-likelihood."""

    inverse: Array
    log_det: float
    mean: Array
    covariance: Array
    log_likelihood: float


def _latent(block: Block, s: Array) -> tuple[Array, Array, Array]:
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


def dimensions(block: Block, s: Array) -> int:
    """Of the integral that the E step of a block needs; 0 where it is in closed form."""
    return _latent(block, s)[2].shape[1] if len(block.c) else 0


def expect(block: Block, b: Array, s: Array, seed: int = 0) -> Moments:
    """Mean and covariance of the responses given the exact ones and the limits, and the log-likelihood."""
    S = np.tensordot(s, block.kernels, 1) + np.diag(block.extra)
    inverse, log_det = np.asarray(np.linalg.inv(S), dtype=float), np.linalg.slogdet(S)[1]
    mean, covariance, fitted = block.y.copy(), np.zeros_like(S), block.X @ b
    o, c = block.o, block.c
    So, weights, L = _latent(block, s)
    r = block.y[o] - fitted[o]
    log_likelihood = -0.5 * (np.linalg.slogdet(So)[1] + r @ np.linalg.solve(So, r)) - len(o) * LOG_SQRT_2PI
    if len(c):
        z = fitted[c] + weights @ r
        log_p, mean[c], covariance[np.ix_(c, c)] = truncated(z, L, block.y[c], block.sign, np.sqrt(s[-1]), seed)
        log_likelihood += log_p
    return Moments(inverse, log_det, mean, covariance, float(log_likelihood))


def vanished(s: Array, start: Array) -> bool:
    """Whether the residual variance is on its way to zero: nothing beside the whole variance, now or where the search began."""
    return bool(s[-1] < VANISHED * max(s.sum(), start.sum()))


def cycles(blocks: Sequence[Block], b: Array, s: Array, held: int | None = None) -> tuple[Array, Array, list[float], bool]:
    """Cycles of expectation, least squares and scoring until nothing moves; the variance ``held`` stays as it is.

    Expectation and conditional maximisation (Vaida & Liu 2009, J. Comput. Graph. Statist. 18:797–817; Meng & Rubin 1993, Biometrika
    80:267–278): the log-likelihood never falls. Returns b, s, the log-likelihood after each cycle, and whether the end was reached.
    """
    path: list[float] = []
    converged, start = False, s
    while True:
        moments = [expect(block, b, s) for block in blocks]
        path.append(sum(one.log_likelihood for one in moments))
        if converged or len(path) > MOST_CYCLES or vanished(s, start):
            return b, s, path, converged
        before = b, s
        b = _least_squares(blocks, moments)
        s = _scored(blocks, moments, b, s, held)
        fitted = max(np.abs(block.X @ (b - before[0])).max() for block in blocks)
        moved = max(fitted / np.sqrt(s[-1]), np.abs(s - before[1]).max() / s.sum())
        smooth = max(dimensions(block, s) for block in blocks) in HERMITE
        converged = moved < (HELD_STEP if held is not None else STEP if smooth else ROUGH_STEP)


def _least_squares(blocks: Sequence[Block], moments: Sequence[Moments]) -> Array:
    A = sum(block.X.T @ one.inverse @ block.X for block, one in zip(blocks, moments, strict=True))
    rhs = sum(block.X.T @ one.inverse @ one.mean for block, one in zip(blocks, moments, strict=True))
    return np.asarray(np.linalg.solve(A, rhs), dtype=float)


def _score(blocks: Sequence[Block], moments: Sequence[Moments], b: Array) -> tuple[Array, Array]:
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


def _scored(blocks: Sequence[Block], moments: Sequence[Moments], b: Array, s: Array, held: int | None = None) -> Array:
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


def _expected(blocks: Sequence[Block], moments: Sequence[Moments], b: Array, s: Array) -> float:
    """Expected complete-data log-likelihood, without constants."""
    total = 0.0
    for block, one in zip(blocks, moments, strict=True):
        S, r = np.tensordot(s, block.kernels, 1) + np.diag(block.extra), one.mean - block.X @ b
        total -= 0.5 * (np.linalg.slogdet(S)[1] + np.trace(np.linalg.solve(S, one.covariance + np.outer(r, r))))
    return total


def gradient(blocks: Sequence[Block], b: Array, s: Array) -> Array:
    """Score of the observed data in (b, variances): that of the complete data at its expectation."""
    moments = [expect(block, b, s) for block in blocks]
    in_b = sum(block.X.T @ one.inverse @ (one.mean - block.X @ b) for block, one in zip(blocks, moments, strict=True))
    return np.concatenate([in_b, _score(blocks, moments, b)[0]])


def observed_information(blocks: Sequence[Block], b: Array, s: Array, free: Bools) -> Array:
    """Observed information of b and the variances above zero, by central differences of the score."""
    p, theta = len(b), np.concatenate([b, s])
    which = np.concatenate([np.arange(p), p + np.flatnonzero(free)])
    steps = 1e-5 * np.concatenate([np.full(p, np.sqrt(s.sum())), s])
    columns = []
    for j in which:
        e = np.zeros_like(theta)
        e[j] = steps[j]
        up, down = theta + e, theta - e
        columns.append((gradient(blocks, up[:p], up[p:]) - gradient(blocks, down[:p], down[p:]))[which] / (2 * steps[j]))
    info: Array = -np.array(columns)
    return (info + info.T) / 2


def _coefficient_covariance(blocks: Sequence[Block], b: Array, s: Array) -> Array:
    """Inverse of the coefficients' information with the variances taken as known, XᵀΣ⁻¹X − XᵀΣ⁻¹Var(y)Σ⁻¹X."""
    total = np.zeros((len(b), len(b)))
    for block in blocks:
        one = expect(block, b, s)
        G = one.inverse @ block.X
        total = total + block.X.T @ G - G.T @ one.covariance @ G
    return np.asarray(np.linalg.inv(total), dtype=float)


def covariance_slopes(blocks: Sequence[Block], b: Array, s: Array, free: Bools) -> Array:
    """(m, p, p) slopes of the coefficients' covariance in the variances above zero, by central differences."""
    out = np.zeros((len(s), len(b), len(b)))
    for k in np.flatnonzero(free):
        e = np.zeros_like(s)
        e[k] = 1e-4 * s[k]
        out[k] = (_coefficient_covariance(blocks, b, s + e) - _coefficient_covariance(blocks, b, s - e)) / (2 * e[k])
    return out
