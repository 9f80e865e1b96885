"""One model of all readings of a pool: every run's curve at once, from which levels, windows, losses and bands are read off.

Keenness is linear in u = ln(w + w₁) between the protocol's checkpoints, w₁ the first positive one. Every fixed effect of a run (steel,
practice, version …) has a value of its own at every checkpoint. Every random term moves whole curves by a level and by a trend along u;
so does the single run, and a reading lies about its run's line::

    keenness(run, w) = Σ_c a_c(w) x(run)ᵀb_c + Σ_k (level_k + place(w) trend_k) + reading

with a(w) the weights that interpolate between checkpoints and place(w) from −1 at the first to 1 at the last. A quantity Σ_c a_c of a
curve, such as the level at one amount of work, has the coefficients Σ_c a_c b_c, and by the same sum the variance of every term: the
posterior of all such quantities is one posterior, and they cannot contradict one another. A run that was stopped because it had become
dull is stopped because of readings that are there (Rubin 1976, Biometrika 63:581–592): these tell, through its level and its trend, what
it would have read later, where a mean over the runs that are left would flatter the steel that loses its worst.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
import scipy.sparse as sp
from numpy.typing import ArrayLike
from scipy.special import ndtri

from edgehold.numerics.arrays import Array, Bools, Ints
from edgehold.numerics.estimability import Design, estimable, prepare
from edgehold.numerics.half_t import HalfT, from_score
from edgehold.pooling.crossed.inputs import RESIDUAL
from edgehold.pooling.crossed.runs_design import Runs, independent_columns
from edgehold.pooling.headline import ModelOfRuns, Questions, model_of_runs
from edgehold.pooling.hierarchical import HierarchicalFit, NoPosterior, Posterior, hierarchical
from edgehold.pooling.inputs import frozen
from edgehold.pooling.partitions import together

from .references import APART, Augmented, OfRuns, References, augmented

TREND = 0.5  # scale of a trend's prior in that of the level's, from the middle of the work to its end: the authors' assumption
ABOUT = 0.5  # scale of the prior of a reading about its run's line, in that of the run's own
RUN = "run"
SAMPLED = 1000  # readings up to which the spreads are sampled; above, their posterior is taken as normal about its mode
NOTHING = 1e-12  # what rounding leaves of a sum that is 0
GRID = 64  # places of each spread, for what is thought of their sum before the data


@dataclass(frozen=True, eq=False)
class Readings:
    """Readings of one pool, one row each.

    Attributes
    ----------
    run : (n,) number of the run.
    work : (n,) amount of work, between the first and the last checkpoint.
    low, high : (n,) keenness lies between them; equal where it was on the scale.
    """

    run: Ints
    work: Array
    low: Array
    high: Array


@dataclass(frozen=True, eq=False)
class Quantity:
    """Something that is read off a curve.

    Attributes
    ----------
    weights : (c,) of the curve's values at the checkpoints.
    level, trend : what a term's level and trend count in it.
    """

    weights: Array
    level: float
    trend: float

    @property
    def reading(self) -> float:
        """What the spread of readings about their line counts."""
        return float(np.sqrt((self.weights**2).sum()))


@dataclass(frozen=True, eq=False)
class JointModel:
    """The model before it is fitted.

    Attributes
    ----------
    parts : fixed part and terms, by run.
    checkpoints, place : (c,) amounts of work, and where they lie along u.
    columns : (n, P) fixed columns of the readings, coefficients of the first column first.
    kept : (P,) which are no combination of those before them.
    met : (P,) which are not all zero.
    design : those, prepared for the question what they can tell.
    groups, priors : random terms of the readings.
    readings : behind it.
    level : of intervals.
    beside : rows, terms and columns with reference edges and known weights below the readings; None where there are none.
    """

    parts: ModelOfRuns
    checkpoints: Array
    place: Array
    columns: Array
    kept: Bools
    met: Bools
    design: Design
    groups: Mapping[str, sp.csr_matrix]
    priors: Mapping[str, HalfT]
    readings: Readings
    level: float
    beside: Augmented | None = None

    def quantity(self, weights: ArrayLike) -> Quantity:
        """What is read off with these weights of the checkpoints."""
        weights = np.asarray(weights, dtype=float)
        return Quantity(frozen(weights), float(weights.sum()), float(weights @ self.place))

    def estimable(self, c: Array, quantity: Quantity) -> bool:
        """Whether the readings tell a contrast of coefficients of that quantity."""
        wanted = self._spread_out(c, quantity)
        return not wanted[~self.met].any() and estimable(self.design, wanted[self.met])

    def coefficients(self, c: Array, quantity: Quantity) -> Array:
        """A contrast of coefficients of the quantity as one of the joint model's."""
        return self._spread_out(c, quantity)[self.kept]

    def _spread_out(self, c: Array, quantity: Quantity) -> Array:
        """(P,) the weights of ``c`` at every checkpoint."""
        return (c[:, None] * quantity.weights).ravel()

    def fitted(
        self, asked: Sequence[tuple[Questions, Quantity]], also: Array | None = None, priors: Mapping[str, HalfT] | None = None
    ) -> HierarchicalFit:
        """The joint posterior, with limits of everything asked for good to the usual error.

        What reference edges add to the coefficients is left out of the result; what is asked of it comes as the last targets, a mean each
        of what ``beside`` names.

        Parameters
        ----------
        asked : what is asked, of which quantity.
        also : (C, coefficients) further contrasts.
        priors : in place of the model's own.
        """
        contrasts = [*(self.coefficients(c, quantity) for one, quantity in asked for c in one.contrasts), *([] if also is None else also)]
        targets = [self._target(target, quantity) for one, quantity in asked for target in one.targets]
        columns = self.columns[:, self.kept]
        wanted = np.array(contrasts) if contrasts else np.zeros((0, columns.shape[1]))
        if self.beside is not None:
            return self._fitted_beside(self.beside, wanted, targets, priors)
        return hierarchical(
            self.readings.low,
            columns,
            dict(self.groups),
            priors or self.priors,
            high=self.readings.high,
            level=self.level,
            contrasts=wanted,
            targets=np.array(targets) if targets else None,
            normal=len(columns) > SAMPLED,
        )

    def _fitted_beside(
        self, beside: Augmented, contrasts: Array, targets: list[Array], priors: Mapping[str, HalfT] | None
    ) -> HierarchicalFit:
        """The posterior beside reference edges, its coefficients those of the runs."""
        p, more = contrasts.shape[1], len(beside.names)
        effects = sum(Z.shape[1] for Z in beside.groups.values())
        of_runs = sum(Z.shape[1] for Z in self.groups.values())
        own = np.hstack([np.zeros((more, effects + p)), np.eye(more)])
        wanted = [np.concatenate([one[:of_runs], np.zeros(effects - of_runs), one[of_runs:], np.zeros(more)]) for one in targets]
        fit = hierarchical(
            beside.low,
            beside.X,
            dict(beside.groups),
            priors or beside.priors,
            high=beside.high,
            level=self.level,
            contrasts=np.hstack([contrasts, np.zeros((len(contrasts), more))]),
            targets=np.array([*wanted, *own]) if wanted or more else None,
            normal=len(beside.low) > SAMPLED,
        )
        if isinstance(fit, NoPosterior):
            return fit
        return replace(fit, coefficients=frozen(fit.coefficients[:, :p]), covariances=frozen(fit.covariances[:, :p, :p]))

    def _target(self, target: Array, quantity: Quantity) -> Array:
        """A sum of effects and coefficients of the quantity as one of the joint model's."""
        found, begin = [], 0
        for name, term in self.parts.terms.items():
            mine = target[begin : begin + term.levels]
            begin += term.levels
            found.append(quantity.level * mine)
            if trend_of(name) in self.groups:
                found.append(quantity.trend * mine)
        runs = [self.groups[name].shape[1] for name in (RUN, trend_of(RUN)) if name in self.groups]
        return np.concatenate([*found, np.zeros(sum(runs)), self.coefficients(target[begin:], quantity)])

    def view(self, fit: Posterior, quantity: Quantity, targets: slice = slice(0)) -> Posterior:
        """The posterior of one quantity: that of a model of runs of which each has one value of it.

        Parameters
        ----------
        fit : joint.
        targets : which of its targets are about this quantity.
        """
        terms, own = self.parts.terms, self.parts.residual
        spreads = {name: self._spread(fit, name, quantity) for name in terms}
        run = self._spread(fit, RUN, quantity)
        last = fit.variance(RESIDUAL) * quantity.reading**2
        p = len(self.kept) // len(self.checkpoints)
        A = np.kron(np.eye(p), quantity.weights)[:, self.kept]
        priors = {name: self._prior(term.prior, quantity) for name, term in terms.items()}
        reading = own.times(ABOUT * quantity.reading)
        return replace(
            fit,
            names=(*terms, RESIDUAL),
            priors=priors | {RESIDUAL: together([self._prior(own, quantity), reading])},
            prior_log_sds={name: self._prior_log_sd(term.prior, quantity) for name, term in terms.items()}
            | {RESIDUAL: _log_sd_of_sum([*self._of(own, quantity), reading])},
            sds=frozen(np.sqrt(np.column_stack([*spreads.values(), run + last]))),
            coefficients=frozen(fit.coefficients @ A.T),
            covariances=frozen(A @ fit.covariances @ A.T),
            target_means=fit.target_means[:, targets],
            target_variances=fit.target_variances[:, targets],
            rows=len(self.readings.run),
            mode=None,
        )

    def _spread(self, fit: Posterior, name: str, quantity: Quantity) -> Array:
        """(S,) variance of the quantity between levels of a term."""
        return fit.variance(name) * quantity.level**2 + fit.variance(trend_of(name)) * quantity.trend**2

    def _prior(self, prior: HalfT, quantity: Quantity) -> HalfT:
        return together(self._of(prior, quantity))

    def _prior_log_sd(self, prior: HalfT, quantity: Quantity) -> float:
        return _log_sd_of_sum(self._of(prior, quantity))

    def _of(self, prior: HalfT, quantity: Quantity) -> list[HalfT]:
        """Priors of a term's level and trend in the quantity."""
        return [prior.times(abs(x)) for x in (quantity.level, TREND * quantity.trend) if abs(x) > NOTHING]


def joint_model(
    runs: Runs,
    readings: Readings,
    checkpoints: Sequence[float],
    priors: Mapping[str, HalfT],
    *,
    references: References | None = None,
    level: float = 0.95,
) -> JointModel:
    """Make the model of all readings of a pool.

    Parameters
    ----------
    runs : every run that has a reading.
    readings : of them.
    checkpoints : amounts of work between which curves are straight lines along u; the first may be 0.
    priors : of the spreads of a level, by term.
    references : edges and weights that were read beside the runs.
    level : of intervals.
    """
    works = np.array(sorted(checkpoints), dtype=float)
    u = axis(works, works)
    place = 2 * (u - u[0]) / (u[-1] - u[0]) - 1 if len(works) > 1 else np.zeros(1)
    parts = model_of_runs(runs, priors, APART if references is not None and len(references.low) else ())
    between = interpolation(works, readings.work)
    X = parts.fixed.X[readings.run]
    columns = (X[:, :, None] * between[:, None, :]).reshape(len(X), -1)
    kept = independent_columns(columns)
    groups, of_spreads = _groups(parts, readings.run, between @ place)
    met = np.abs(columns).sum(axis=0) > 0
    beside = None
    if references is not None:
        parts = replace(parts, joined=references.joined)
        trends = {name: trend_of(name) for name in parts.terms if trend_of(name) in groups}
        of_runs = OfRuns(readings.run, readings.low, readings.high, columns[:, kept], groups, of_spreads, parts.terms, trends)
        beside = augmented(of_runs, references, interpolation(works, references.work) @ place, priors)
    return JointModel(
        parts=parts,
        checkpoints=works,
        place=place,
        columns=columns,
        kept=kept,
        met=met,
        design=prepare(columns[:, met]),
        groups=groups,
        priors=of_spreads,
        readings=readings,
        level=level,
        beside=beside,
    )


def axis(checkpoints: Array, work: Array) -> Array:
    """u = ln(w + w₁), w₁ the first positive checkpoint: a change of the unit of work only shifts it."""
    u: Array = np.log(work + min((w for w in checkpoints if w > 0), default=1.0))
    return u


def interpolation(checkpoints: Array, work: ArrayLike) -> Array:
    """(n, c) weights of the checkpoints in a curve's value at amounts of work, straight along u.

    Parameters
    ----------
    checkpoints : (c,) rising.
    work : (n,) between the first and the last.
    """
    u, at = axis(checkpoints, checkpoints), axis(checkpoints, np.asarray(work, dtype=float))
    return np.column_stack([np.interp(at, u, unit) for unit in np.eye(len(u))])


def window(checkpoints: Array, start: float, end: float) -> Array:
    """(c,) weights of the checkpoints in the mean of a curve from ``start`` to ``end``, along u."""
    inside = checkpoints[(checkpoints > start) & (checkpoints < end)]
    nodes = np.concatenate([[start], inside, [end]])
    values, u = interpolation(checkpoints, nodes), axis(checkpoints, nodes)
    weights: Array = ((values[1:] + values[:-1]) / 2 * np.diff(u)[:, None]).sum(axis=0) / (u[-1] - u[0])
    return weights


def trend_of(name: str) -> str:
    """Name of the trend of a term."""
    return f"{name}, trend"


def _groups(parts: ModelOfRuns, run: Ints, place: Array) -> tuple[dict[str, sp.csr_matrix], dict[str, HalfT]]:
    """Matrices and priors of every term's level and trend, the run's last."""
    codes: dict[str, tuple[Ints, int, HalfT]] = {
        name: (np.searchsorted(term.names, term.labels).astype(np.int64)[run], term.levels, term.prior)
        for name, term in parts.terms.items()
    }
    codes[RUN] = (run, int(run.max()) + 1, parts.residual)
    groups, priors = {}, {RESIDUAL: parts.residual.times(ABOUT)}
    for name, (code, levels, prior) in codes.items():
        groups[name], priors[name] = _matrix(code, np.ones(len(code)), levels), prior
        if np.ptp(place) > 0:
            lasting = np.where(place == 0, NOTHING, place)  # a column must not be empty
            groups[trend_of(name)], priors[trend_of(name)] = _matrix(code, lasting, levels), prior.times(TREND)
    return groups, priors


def _matrix(code: Ints, weights: Array, levels: int) -> sp.csr_matrix:
    return sp.csr_matrix((weights, code, np.arange(len(code) + 1)), shape=(len(code), levels))


def _log_sd_of_sum(priors: Sequence[HalfT]) -> float:
    """Standard deviation of the logarithm of the root of a sum of squares before the data, on a grid of equal shares of each prior."""
    shares = ndtri((np.arange(GRID) + 0.5) / GRID)
    squares = np.zeros(1)
    for prior in priors:
        own = from_score(prior, shares) ** 2
        squares = (squares[:, None] + own).ravel()
    return float(np.std(np.log(squares)) / 2)
