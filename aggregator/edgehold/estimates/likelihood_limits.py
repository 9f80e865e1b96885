"""Where the likelihood of censored runs has fallen by a given amount, as one system of equations."""

from __future__ import annotations

import numpy as np

from edgehold.numerics.arrays import Array

from .censored import Problem, evaluate, stiffened

MOST_STEPS = 15  # of Newton's method; where it needs more, the limit is looked for along the profile
SMALLEST_STEP = 1e-12  # of a limit, in units of itself or of its standard error: the next step would be its square
SETTLED = 1e-10  # of the objective, by which it may miss its value or its maximum before the last step: beside an open arm δ alone may rest
SHRINK = 0.2  # share of φ that a step leaves at least


def limit_of(problem: Problem, eta: Array, vector: Array, drop: float, side: int) -> float | None:
    """δ = vᵀθ on one side of the maximum at which the objective, all else fitted again, has fallen by ``drop``.

    Parameters
    ----------
    problem : the runs.
    eta : (p + 1,) γ and φ at the maximum.
    vector : (p,) v, not zero.
    drop : positive.
    side : +1 for the upper limit, −1 for the lower one.

    Returns
    -------
    None where Newton's method does not arrive in a few steps, as where there is no such δ.

    Notes
    -----
    The end of the profile interval is where ∇f = λw with wᵀη = 0, w = (v, −δ), and f is what it may fall to; Newton's method finds
    all of η, δ and λ at once (Venzon & Moolgavkar 1988, Applied Statistics 37:87–94). f is concave in η and δ keeps its order along
    any line, so that on each side there is one solution at most.
    """
    p, middle = len(vector), float(vector @ eta[:-1] / eta[-1])
    top, _, hessian = evaluate(problem, eta)
    ahead = np.linalg.solve(stiffened(hessian), np.append(vector, -middle))
    curvature = float(ahead[:-1] @ vector - middle * ahead[-1])
    if not curvature > 0:
        return None
    length = np.sqrt(2 * drop / curvature)
    unit, multiplier = np.sqrt(curvature) / eta[-1], -side * length
    eta = eta + _kept_positive(eta, side * length * ahead) * side * length * ahead
    delta = float(vector @ eta[:-1] / eta[-1])
    jacobian = np.zeros((p + 3, p + 3))
    for _ in range(MOST_STEPS):
        with np.errstate(over="ignore", invalid="ignore"):  # where a step went too far the likelihood is no number
            value, gradient, hessian = evaluate(problem, eta)
        if not (np.isfinite(value) and np.isfinite(hessian).all()):
            return None
        w = np.append(vector, -delta)
        jacobian[: p + 1, : p + 1], jacobian[p, p + 1], jacobian[: p + 1, p + 2] = hessian, multiplier, -w
        jacobian[p + 1, : p + 1], jacobian[p + 1, p + 1] = w, -eta[-1]
        jacobian[p + 2, : p + 1] = gradient
        left = np.concatenate([gradient - multiplier * w, [w @ eta, value - top + drop]])
        try:
            step = np.linalg.solve(jacobian, -left)
        except np.linalg.LinAlgError:
            return None
        size = _kept_positive(eta, step[: p + 1])
        eta, delta, multiplier = eta + size * step[: p + 1], delta + size * float(step[p + 1]), multiplier + size * float(step[p + 2])
        if size == 1 and abs(step[p + 1]) <= SMALLEST_STEP * max(abs(delta), unit):
            there = abs(left[-1]) <= SETTLED and abs(left[: p + 1] @ np.linalg.solve(stiffened(hessian), left[: p + 1])) <= SETTLED
            return delta if there and side * (delta - middle) > 0 > side * multiplier else None
    return None


def _kept_positive(eta: Array, step: Array) -> float:
    """How much of a step leaves φ well above zero."""
    return 1.0 if eta[-1] + step[-1] > SHRINK * eta[-1] else float((SHRINK - 1) * eta[-1] / step[-1])
