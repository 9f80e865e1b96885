"""Mean curves of two steels where some runs end early or miss a reading.

A run that is stopped because it has become dull is stopped because of readings that are there, so that what it would have read
later is missing at random in the sense of Rubin (1976, Biometrika 63:581–592): the likelihood of what was read tells the mean of
all, whereas a mean over the runs that are left flatters the steel that loses its worst ones.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike

from aggregator.errors import InputError
from aggregator.numerics.estimability import Design, in_basis, prepare

from .curve_contrast import MeanCurves, mean_curves_of_runs, run_design
from .inputs import frozen

MOST_CYCLES, SETTLED = 2000, 1e-9  # change of a mean, in standard deviations of a run, at which the search has settled
NO_SPREAD = 1e-7  # smallest singular value of the runs' scaled residuals over the largest: below it S has no inverse to speak of


def mean_curves_of_incomplete_runs(keenness: ArrayLike, arm: Sequence, block: Sequence, *, first: str, second: str) -> MeanCurves | str:
    """Mean curves of two arms at the average block, from runs of which some have readings missing.

    Parameters
    ----------
    keenness : (n, c) one row a run, one column a checkpoint; nan where there is no reading.
    arm, block : (n,) labels, as for ``mean_curves_of_runs``.
    first, second : the two arms; no other may stand among them.

    Returns
    -------
    MeanCurves, or the reason why there are none. With no reading missing it is ``mean_curves_of_runs``.

    Raises
    ------
    InputError
        If shapes do not fit, another arm stands among the runs, or a value is infinite.

    Notes
    -----
    y ~ N(XB, S) a run, S unstructured. B and S maximise the likelihood of what was read, by expectation and conditional
    maximisation (Dempster, Laird & Rubin 1977, J. R. Statist. Soc. B 39:1–38; Jennrich & Schluchter 1986, Biometrics 42:805–820). S is
    then scaled by n over n − rank, and the covariance of the means is the inverse information of B at that S. Degrees of freedom are
    those of the checkpoint that fewest runs reach.
    """
    y, arms, blocks = np.asarray(keenness, dtype=float), [str(label) for label in arm], [str(label) for label in block]
    if y.ndim != 2 or not len(y) == len(arms) == len(blocks) or set(arms) != {first, second} or np.isinf(y).any():
        got = f"{y.shape}, {len(arms)}, {len(blocks)} and {sorted(set(arms))}"
        raise InputError(f"keenness must be (runs, checkpoints), finite or nan, with arms {first}, {second} and a block a run; got {got}")
    if not np.isnan(y).any():
        return mean_curves_of_runs(y, arms, first=first, second=second, block=blocks)
    x, means = run_design(np.array(arms), np.unique(blocks, return_inverse=True)[1], first, second)
    design = prepare(x)
    reason = why_too_few(y, design)
    if reason:
        return reason
    found = _maximised(y, design)
    if found is None:
        return f"the search for the mean curves did not settle within {MOST_CYCLES} steps"
    theta, S = found
    S = S * len(y) / (len(y) - design.rank)
    at = np.kron(in_basis(design, means), np.eye(y.shape[1]))
    covariance = at @ np.linalg.inv(_information(y, design.basis, S)[0]) @ at.T
    both = (at @ theta.ravel()).reshape(2, -1)
    df = float((~np.isnan(y)).sum(axis=0).min() - design.rank)
    counts = [arms.count(label) for label in (first, second)]
    return MeanCurves(frozen(both[0]), frozen(both[1]), frozen((covariance + covariance.T) / 2), df, *counts)


def why_too_few(y: np.ndarray, design: Design) -> str:
    """Why these runs cannot hold means and covariance of all checkpoints; empty where they can."""
    whole = ~np.isnan(y).any(axis=1)
    if whole.sum() - design.rank < y.shape[1]:
        return f"{whole.sum()} whole runs are too few for {design.rank} means at {y.shape[1]} checkpoints"
    if any(np.linalg.matrix_rank(design.basis[~np.isnan(column)]) < design.rank for column in y.T):
        return "at some checkpoint no run is left of one side or of one tester"
    if not _spread_everywhere(y[whole], design.basis[whole]):
        return (
            f"the {whole.sum()} whole runs differ in fewer ways than there are checkpoints, as copies of one run do: "
            "how readings go together is not estimable"
        )
    return ""


def _spread_everywhere(y: np.ndarray, basis: np.ndarray) -> bool:
    """Whether the residuals of whole runs span all checkpoints, so that their covariance S has an inverse."""
    residual = y - basis @ np.linalg.lstsq(basis, y, rcond=None)[0]
    length = np.linalg.norm(residual, axis=0)
    if (length <= NO_SPREAD * np.linalg.norm(y, axis=0)).any():
        return False
    sizes = np.linalg.svd(residual / length, compute_uv=False)
    return bool(sizes[-1] > NO_SPREAD * sizes[0])


def _maximised(y: np.ndarray, design: Design) -> tuple[np.ndarray, np.ndarray] | None:
    """(r, c) coordinates of B in the design's basis, and S; None where the search does not settle."""
    basis, whole = design.basis, ~np.isnan(y).any(axis=1)
    own = np.linalg.lstsq(basis[whole], y[whole], rcond=None)[0]
    residual = y[whole] - basis[whole] @ own
    S, theta = residual.T @ residual / whole.sum(), own
    for _ in range(MOST_CYCLES):
        information, right = _information(y, basis, S)
        fresh = np.linalg.solve(information, right).reshape(theta.shape)
        S = _expected_squares(y - basis @ fresh, S) / len(y)
        change, theta = np.abs(basis @ (fresh - theta)) / np.sqrt(np.diag(S)), fresh
        if change.max() < SETTLED:
            return theta, S
    return None


def _patterns(y: np.ndarray):
    """Which checkpoints are there, and in which runs."""
    there = ~np.isnan(y)
    kinds, member = np.unique(there, axis=0, return_inverse=True)
    return [(kind, member.ravel() == i) for i, kind in enumerate(kinds) if kind.any()]


def _information(y: np.ndarray, basis: np.ndarray, S: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Information of the coordinates (run over basis, then checkpoint), and the right side of their equations."""
    r, c = basis.shape[1], y.shape[1]
    information, right = np.zeros((r * c, r * c)), np.zeros((r, c))
    for kind, runs in _patterns(y):
        weight = np.zeros((c, c))
        weight[np.ix_(kind, kind)] = np.linalg.inv(S[np.ix_(kind, kind)])
        information += np.kron(basis[runs].T @ basis[runs], weight)
        right += basis[runs].T @ np.where(kind, y[runs], 0.0) @ weight
    return information, right.ravel()


def _expected_squares(residual: np.ndarray, S: np.ndarray) -> np.ndarray:
    """Σ E(rrᵀ) over runs, given what was read."""
    total = np.zeros_like(S)
    for kind, runs in _patterns(residual):
        slope = S[:, kind] @ np.linalg.inv(S[np.ix_(kind, kind)])
        full = residual[np.ix_(runs, kind)] @ slope.T
        total += full.T @ full + runs.sum() * (S - slope @ S[kind])
    nothing = np.isnan(residual).all(axis=1).sum()
    return total + nothing * S
