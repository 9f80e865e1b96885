"""The runs that a probe asks, and the random terms that it lets them share."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from itertools import combinations

import numpy as np
import numpy.typing as npt

from edgehold.endpoints.rows import EndpointRow
from edgehold.errors import InputError
from edgehold.numerics.arrays import Array, Ints, Labels, Texts
from edgehold.pooling.crossed.crossed import Near
from edgehold.pooling.crossed.results import CrossedFitted, NothingFitted, settled
from edgehold.pooling.crossed.runs_design import FixedPart, Runs, checked_runs, fixed_part, independent_columns, too_many_levels
from edgehold.pooling.crossed.runs_fit import FittedRuns, fit_groups
from edgehold.pooling.crossed.working_values import WorkingValues, centre_of, fit_working, working_values
from edgehold.pooling.random_terms import ASSUMED_VARIANCES, TermsHeld, terms_held
from edgehold.words import Reason

from .register import Probe

TOO_LITTLE, NOT_APART, NOT_FITTED = "too little", "not told apart", "not fitted"
NO_VALUES = Reason("crossed.one_sided_not_worked_out")
ROUNDS = 2  # in which what one-sided runs say is made anew about the model with the moderator; further ones move no third digit
EVENING, LOT = "evening", "lot"  # random terms of probes alone: runs of one evening, or on one lot, share more than their submission


@dataclass(frozen=True, eq=False)
class Ready:
    """The runs of one endpoint of one pool made ready for every probe.

    Attributes
    ----------
    rows : those with a value, cut by one tester.
    everything : all of them; a tester's place in an evening counts runs without a value too.
    at : where each of ``rows`` stands in ``everything``.
    runs : the same for the model.
    """

    rows: list[EndpointRow]
    everything: Sequence[EndpointRow]
    at: list[int]
    runs: Runs
    _fixed: dict[bytes, FixedPart] = field(default_factory=dict, repr=False)

    def fixed(self, at: Ints) -> FixedPart:
        """The headline's fixed part of some of the runs; most probes ask the same ones."""
        same = at.tobytes()
        if same not in self._fixed:
            self._fixed[same] = fixed_part(self.runs.chosen(at))
        return self._fixed[same]

    @cached_property
    def known(self) -> WorkingValues | str:
        """A value a row, or why there are none.

        Runs known to an interval or to one side become values with known variances about the headline's fixed part, once for
        all probes (``working_values``); every probe then costs what it costs for exact values.
        """
        if np.array_equal(self.runs.low, self.runs.high):
            return WorkingValues(self.runs.low, None, None)
        if self._beside is None:
            return too_many_levels(self.runs)
        fit = self._beside.fit
        return self._beside.values or (NO_VALUES if isinstance(fit, CrossedFitted) else fit.reason)

    @property
    def reason(self) -> str:
        """Why there are no values; empty where there are."""
        return self.known if isinstance(self.known, str) else ""

    @property
    def near(self) -> Near:
        """Variances near which those beside a moderator lie; None where they are not known."""
        if self._beside is None or isinstance(self._beside.fit, NothingFitted):
            return None
        return self._beside.fit.variances if self._beside.fit.convergence.converged else None

    @cached_property
    def _beside(self) -> FittedRuns | None:
        """The fit beside the headline's fixed part, without any moderator; None where the runs have too many levels for one."""
        if too_many_levels(self.runs):
            return None
        X, groups = self.fixed(np.arange(len(self.rows))).X, shared_terms(self.rows, self.runs)
        return fit_groups(self.runs, X, {name: groups[name] for name in held_terms(groups, X).held})


@dataclass(frozen=True, eq=False)
class Chosen:
    """Runs that a probe can use.

    Attributes
    ----------
    rows : n rows whose columns are all known.
    moderator : (n,) the column; text for a spread.
    beside : (n, k) further columns.
    runs : the same for the model.
    asked, at : all runs, and where these stand among them.
    """

    rows: list[EndpointRow]
    moderator: npt.NDArray[np.generic]
    beside: Array
    runs: Runs
    asked: Ready
    at: Ints

    @property
    def fixed(self) -> FixedPart:
        """The headline's fixed part."""
        return self.asked.fixed(self.at)

    @property
    def values(self) -> WorkingValues:
        """A value a run; only where ``Ready.reason`` is empty."""
        values = self.asked.known
        if isinstance(values, str):
            raise InputError(f"runs with values are needed; got none: {values}")
        return WorkingValues(values.y[self.at], None if values.extra is None else values.extra[self.at], values.residual)


def ready(everything: Sequence[EndpointRow]) -> Ready:
    """Make the runs of one endpoint ready."""
    at = [i for i, row in enumerate(everything) if row.usable]
    rows = [everything[i] for i in at]
    return Ready(rows, everything, at, _runs(rows))


def chosen(asked: Ready, probe: Probe) -> Chosen:
    """The runs that have all that a probe needs."""
    columns = [probe.column(asked.everything), *(column(asked.everything) for _, column in probe.beside)]
    kept = [i for i, at in enumerate(asked.at) if all(column[at] is not None for column in columns)]
    values = [np.array([column[asked.at[i]] for i in kept]) for column in columns]
    beside = np.column_stack(values[1:]) if values[1:] else np.zeros((len(kept), 0))
    at = np.array(kept, dtype=int)
    return Chosen([asked.rows[i] for i in kept], values[0], beside, asked.runs.chosen(at), asked, at)


def _runs(rows: list[EndpointRow]) -> Runs:
    names = ("steel", "blade", "sharpener", "tester", "submission", "batch", "own_sharpening", "sharpening")
    labels: dict[str, list[object]] = {name: [getattr(row, name) for row in rows] for name in names}
    labels["version"] = [row.version.rpartition(".")[0] for row in rows]
    return checked_runs(np.array([row.low for row in rows]), np.array([row.high for row in rows]), labels)


def submissions(rows: Sequence[EndpointRow]) -> int:
    """How many submissions the rows come from."""
    return len({row.submission for row in rows})


def too_few(taken: Chosen, runs: int, of_submissions: int, probe: Probe, few: str = "probes.few_varying") -> str:
    """Why there are too few runs for a probe; empty where there are enough. ``few`` is the code of what these runs show of it."""
    if not taken.rows:
        return Reason("probes.known_of_none")
    if runs == 0:
        return Reason("probes.same_in_all")
    if runs >= probe.least_runs and of_submissions >= probe.least_submissions:
        return ""
    return Reason(
        few,
        runs=Reason("probes.runs", runs=runs),
        submissions=Reason("probes.submissions", submissions=of_submissions),
        least_runs=probe.least_runs,
        least_submissions=probe.least_submissions,
    )


def shared_terms(rows: Sequence[EndpointRow], runs: Runs) -> dict[str, Texts]:
    """Labels of every random term that a probe's model might hold."""
    evenings = np.array([f"{row.submission} evening {row.evening}" for row in rows], dtype=str)
    return {EVENING: evenings} | runs.groups()


def fit_shared(taken: Chosen, values: WorkingValues, X: Array) -> CrossedFitted | str:
    """Values of the runs with what these share as random terms, or why there are no figures.

    What a one-sided run says depends on what the model foretells of it, and a moderator may foretell much: the values are made
    anew about the fit with the moderator, and the fit from them, a few times over.
    """
    groups = shared_terms(taken.rows, taken.runs)
    groups = {name: groups[name] for name in held_terms(groups, X).held}
    if values.extra is not None:
        quick, near = _about_centre(taken.runs, values, X, groups, taken.asked.near)
        sooner = None if quick is None else settled(fit_working(quick, X, groups, near=near))
        if isinstance(sooner, CrossedFitted) and None not in sooner.variances.values():
            return sooner
    fit = settled(fit_working(values, X, groups, near=taken.asked.near))
    for _ in range(0 if values.extra is None else ROUNDS):
        if isinstance(fit, str) or None in fit.variances.values():
            break
        values = working_values(taken.runs, X, groups, fit) or values
        fit = settled(fit_working(values, X, groups, near=fit.variances))
    return fit


def _about_centre(
    runs: Runs, values: WorkingValues, X: Array, groups: Mapping[str, Texts], near: Near
) -> tuple[WorkingValues | None, Near]:
    """The values after all rounds where each of them goes smoothly, and the last variances; rounds need only the centre of a fit."""
    for _ in range(ROUNDS):
        centre = centre_of(values, X, groups, near)
        if centre is None:
            return None, near
        values, near = working_values(runs, X, groups, centre) or values, centre.variances
    return values, near


def held_terms(groups: Mapping[str, Labels], X: Array) -> TermsHeld:
    """Which of them the runs can hold beside a fixed part."""
    assumed = {name: ASSUMED_VARIANCES["submission"] for name in (EVENING, LOT) if name in groups}
    return terms_held(groups, X=X, variances=assumed)


def told_beside_people(X: Array, runs: Runs) -> bool:
    """Whether the last column can be told beside the others with the people as fixed too."""
    people = [(who == level).astype(float) for who in (runs.sharpener, runs.tester) for level in np.unique(who)]
    return bool(independent_columns(np.column_stack([X[:, :-1], *people, X[:, -1]]))[-1])


def commonest_pair(runs: Runs) -> tuple[str, str] | None:
    """The two known steels that most submissions hold both of; the first by name of several, None where no submission does."""
    holding = {steel: set(runs.submission[runs.steel == steel].tolist()) for steel in runs.steels}
    shared = {pair: len(holding[pair[0]] & holding[pair[1]]) for pair in combinations(runs.steels, 2)}
    best = max(shared, key=shared.__getitem__, default=None)
    return best if best and shared[best] else None
