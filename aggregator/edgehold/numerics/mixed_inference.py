"""What follows from a fitted mixed model: covariance of the coefficients, how it moves with each variance, its small-sample
correction, degrees of freedom, and the errors of predicted effects.

With G_k = ZₖᵀΣ⁻¹XΦ, Φ = (XᵀΣ⁻¹X)⁻¹, everything is taken from columns of the inverse of the mixed-model equations,
G_k = −(C⁻¹)ₖᵦ/√γₖ, so that nothing of size n × n is formed.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.linalg import solve_triangular

from .arrays import Array, Bools, Ints
from .elimination import half_solve, last_columns
from .mixed import System
from .variance_search import Point, Problem, average, expected, traces_of, unit_scale

LARGEST_CORRECTION = 400_000  # numbers (unknowns × terms × coefficients) up to which the Kenward–Roger correction is computed
NOT_TOLD_APART = 1e-6  # smallest eigenvalue of the information with unit diagonal below which terms are the same to the data
MEMBER = 0.1  # loading in such an eigenvector from which a term is one of those that are the same
NO_INFORMATION = 1e-9  # share of a term's information that the design leaves it, below which it leaves none
LARGEST_EXPECTED = 20_000  # unknowns above which average information stands for its own expected value


@dataclass(frozen=True, eq=False)
class CoefficientInference:
    """Inference about the coefficients, in the units and columns of the data that were kept.

    Attributes
    ----------
    coefficients : (p,).
    covariance : (p, p) Φ.
    slopes : (m, p, p) ∂Φ/∂σ²ⱼ for each of the m variances.
    adjusted : (p, p) Φ with the Kenward–Roger correction, or None where it is not computed.
    """

    coefficients: Array
    covariance: Array
    slopes: Array
    adjusted: Array | None


def information(problem: Problem, point: Point) -> Array:
    """Expected REML information about the variances, ½tr(PGᵢPGⱼ), zero components kept, in the system's unit.

    Above 20,000 unknowns the average information takes its place: its expected value is the same and its own spread then is
    below one part in a hundred.
    """
    large = problem.system.q + problem.system.p > LARGEST_EXPECTED
    return (average(problem, point) if large else expected(problem, point)) / 2


def split_by_term(system: System, values: Array) -> list[Array]:
    """The (q, ...) values of all effects, term by term."""
    ends = np.cumsum(system.sizes)
    return [values[end - size : end] for size, end in zip(system.sizes, ends, strict=True)]


def variance_covariance(info: Array) -> Array:
    """W, the inverse of the information; a pseudo-inverse where terms are the same to the data."""
    scale = unit_scale(np.diag(info))
    values, vectors = np.linalg.eigh(info * np.outer(scale, scale))
    kept = values > NOT_TOLD_APART
    scaled = (vectors[:, kept] / values[kept]) @ vectors[:, kept].T
    W: Array = scaled * np.outer(scale, scale)
    return W


def not_told_apart(info: Array) -> list[Ints]:
    """Sets of variances (as index arrays) whose terms are the same to the data."""
    scale = unit_scale(np.diag(info))
    values, vectors = np.linalg.eigh(info * np.outer(scale, scale))
    sets = [set(np.flatnonzero(np.abs(vector) > MEMBER).tolist()) for vector in vectors[:, values < NOT_TOLD_APART].T]
    merged: list[set[int]] = []
    for one in sets:
        touching = [other for other in merged if other & one]
        merged = [other for other in merged if not other & one] + [one.union(*touching)]
    return [np.array(sorted(one)) for one in merged]


def without_information(problem: Problem, point: Point) -> Bools:
    """(K,) terms whose effects the design explains wholly, so that nothing is left to tell their variance from."""
    system, traces = problem.system, traces_of(problem, point, True)
    shares = (1 - traces * point.evaluation.ratios.used / system.sizes, traces / (system.information * system.sizes))
    return (shares[1] < NO_INFORMATION) & (shares[0] > 0.5)


def coefficient_inference(problem: Problem, point: Point, W: Array) -> tuple[CoefficientInference, Array]:
    """Inference about the coefficients, and the (q + p, p) columns of C⁻¹ it rests on.

    ``W`` is the covariance of the variances in the system's unit. The correction is Kenward & Roger (1997, Biometrics
    53:983–997, equation 4 with R = 0, as Σ is linear in the variances); the residual's part follows from Σσ²ⱼ∂Φ/∂σ²ⱼ = Φ and
    Σσ²ⱼGᵢPGⱼΣ⁻¹X = 0.
    """
    system, part = problem.system, point.evaluation
    columns = last_columns(part.factor)
    e = 1.0 if problem.known else float(point.variances[-1])
    phi = e * columns[system.q :]
    by_term = split_by_term(system, -columns[: system.q] / part.ratios.root[: system.q, None])
    slopes = np.zeros((system.terms, system.p, system.p))
    for k, g in enumerate(by_term):
        slopes[k] = g.T @ g
    if not problem.known:
        rest = (phi - np.einsum("k,kij->ij", point.variances[:-1], slopes)) / e
        slopes = np.concatenate([slopes, rest[None]])
    adjusted = None
    if (system.q + system.p) * max(system.terms, 1) * system.p <= LARGEST_CORRECTION:
        adjusted = phi + 2 * _correction(problem, point, by_term, slopes, W)
    unit2 = system.unit**2

    def back(matrix: Array) -> Array:
        moved = system.back @ matrix @ system.back.T
        return (moved + np.swapaxes(moved, -1, -2)) / 2

    inference = CoefficientInference(
        coefficients=system.origin + system.unit * (system.back @ part.coefficients),
        covariance=unit2 * back(phi),
        slopes=back(slopes),
        adjusted=None if adjusted is None else unit2 * back(adjusted),
    )
    return inference, columns


def _correction(problem: Problem, point: Point, by_term: list[Array], slopes: Array, W: Array) -> Array:
    """Σᵢⱼ Wᵢⱼ GᵢᵀZᵢᵀPZⱼGⱼ over all variances; ``slopes`` are GⱼᵀGⱼ."""
    system, part = problem.system, point.evaluation
    e = 1.0 if problem.known else float(point.variances[-1])
    K, p = system.terms, system.p
    if not K * p:
        return np.zeros((p, p))
    apart = np.zeros((system.q + p, K, p))  # the columns of each term on its own effects alone
    inner = np.zeros((K, p, K, p))
    starts = np.concatenate([[0], np.cumsum(system.sizes)])
    for j, (one, start, end) in enumerate(zip(by_term, starts[:-1], starts[1:], strict=True)):
        apart[start:end, j] = one
        inner[j, :, j] = slopes[j]
    half = half_solve(part.factor, apart.reshape(len(apart), K * p))
    inner = np.swapaxes(inner - (half.T @ half).reshape(inner.shape), 1, 2)
    inner /= (e * np.sqrt(np.outer(part.ratios.used, part.ratios.used)))[:, :, None, None]
    total: Array = np.tensordot(W[:K, :K], inner, 2)
    if not problem.known:
        shares = -point.variances[:K] / e
        with_residual = np.tensordot(shares, inner, (0, 1))
        corner = np.einsum("i,iab->ab", shares, with_residual)
        crossing = np.einsum("i,iab->ab", W[:K, K], with_residual)
        total = total + crossing + crossing.T + W[K, K] * corner
    return (total + total.T) / 2


def satterthwaite(c: Array, covariance: Array, slopes: Array, W: Array) -> float:
    """ν = 2(cᵀΦc)²/(gᵀWg), g the slopes of cᵀΦc (Satterthwaite 1946; Giesbrecht & Burns 1985, Biometrics 41:477–486).

    With W from expected information it is the Kenward–Roger (1997) degrees of freedom of a single contrast.
    """
    gradient = np.einsum("i,kij,j->k", c, slopes, c)
    spread = float(gradient @ W @ gradient)
    return 2 * float(c @ covariance @ c) ** 2 / spread if spread > 0 else np.inf


def satterthwaite_each(covariance: Array, slopes: Array, W: Array) -> Array:
    """(p,) the same for each coefficient."""
    gradients = np.einsum("kii->ik", slopes)
    spreads = ((gradients @ W) * gradients).sum(axis=1)
    squares = 2 * np.diag(covariance) ** 2
    return np.where(spreads > 0, squares / np.where(spreads > 0, spreads, 1.0), np.inf)


def effects(problem: Problem, point: Point, columns: Array) -> tuple[Array, Array, Array]:
    """Predicted effects û, the standard errors of û − u, and those with the coefficients taken as known; (q,) each.

    ``columns`` are the last p columns of C⁻¹. Henderson (1975, section 3). Zero where the variance is zero.
    """
    system, part = problem.system, point.evaluation
    e = 1.0 if problem.known else float(point.variances[-1])
    root = np.sqrt(part.ratios.gamma)[system.owner]
    top, bottom = columns[: system.q], columns[system.q :]
    through_coefficients = (solve_triangular(np.linalg.cholesky(bottom), top.T, lower=True) ** 2).sum(axis=0) if system.p else 0.0
    full = part.spread[: system.q] if problem.restricted else part.spread[: system.q] + through_coefficients
    conditional = np.maximum(full - through_coefficients, 0.0)
    scale = system.unit * np.sqrt(e) * root
    return system.unit * root * part.scaled, scale * np.sqrt(full), scale * np.sqrt(conditional)
