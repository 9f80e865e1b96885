"""Whether one steel's advantage over another depends on who sharpens: practised sharpeners against novices."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations

import numpy as np

from edgehold.numerics.arrays import Bools
from edgehold.words import Reason

from .results import CrossedFitted, settled
from .runs_design import FixedPart, Runs, fixed_part, independent_columns
from .runs_fit import Difference, coefficient_covariance, difference
from .runs_model import RunsModel, RunsModelFitted, SteelsNotEstimated
from .working_values import WorkingValues, fit_working

LEAST_SHARPENERS = 2  # of each class on each steel: one of a class stands for himself
PRACTICE = "practised"

Met = dict[str, dict[bool, int]]
"""By steel, how many practised (True) and how many novice (False) sharpeners prepared it."""


@dataclass(frozen=True)
class PracticeBySteel:
    """One pair of steels in the hands of practised sharpeners and of novices.

    Attributes
    ----------
    first, second : differences are first minus second.
    practised, novice : the steels' difference in either hands; None where there is no figure.
    interaction : practised less novice; None where there is no figure.
    reason : why there is none; empty otherwise.
    """

    first: str
    second: str
    practised: Difference | None
    novice: Difference | None
    interaction: Difference | None
    reason: str


def practice_by_steel(runs: Runs, model: RunsModel) -> tuple[PracticeBySteel, ...]:
    """Fit practice and its combinations with steels beside the model's fixed part.

    Parameters
    ----------
    runs : what the model was fitted to; runs of sharpeners whose practice is not known are left out here.
    model : a fitted model; its random terms stay, steel × sharpener among them, so that sharpeners of one class may differ.

    Returns
    -------
    One for every pair of steels that both practised and novice sharpeners prepared.
    """
    if not isinstance(model, RunsModelFitted):
        return ()
    rows = np.array([known is not None for known in runs.practised], dtype=bool)
    met = {one: _sharpeners(runs, rows, one) for one in runs.steels}
    pairs = [pair for pair in combinations(runs.steels, 2) if all(met[one][k] for one in pair for k in (True, False))]
    if not pairs:
        return ()
    found = _fitted(runs, rows, model, model.fit.level)
    return tuple(_pair(pair, met, model, found) for pair in pairs)


def _sharpeners(runs: Runs, rows: Bools, steel: str) -> dict[bool, int]:
    """How many practised and how many novice sharpeners prepared a steel."""
    mine = rows & (runs.steel == steel)
    return {k: len(set(runs.sharpener[mine & (runs.practised == k)].tolist())) for k in (True, False)}


def _fitted(runs: Runs, rows: Bools, model: RunsModelFitted, level: float) -> tuple[CrossedFitted, FixedPart] | None:
    """The fit with practice in it, and its fixed part; None where it is not available."""
    groups = {name: labels for name, labels in runs.groups().items() if name in model.terms}
    values = model.values
    if values is None:
        return None
    chosen = WorkingValues(values.y[rows], None if values.extra is None else values.extra[rows], values.residual)
    part = _with_practice(runs.chosen(rows))
    fit = settled(fit_working(chosen, part.X, {name: labels[rows] for name, labels in groups.items()}, level=level))
    return None if isinstance(fit, str) else (fit, part)


def _with_practice(runs: Runs) -> FixedPart:
    """The fixed part with a column for practice and one for its combination with every steel but the first."""
    fixed, practised = fixed_part(runs), np.array(runs.practised, dtype=float)
    steels = [name for name in fixed.names if name.startswith("steel ")]
    columns = [fixed.full[:, fixed.names.index(name)] * practised for name in steels]
    full = np.column_stack([fixed.full, practised, *columns])
    names = (*fixed.names, PRACTICE, *(f"{PRACTICE} {name}" for name in steels))
    kept = independent_columns(full)
    return FixedPart(full[:, kept], full, names, kept, fixed.effects, fixed.not_held)


def _pair(pair: tuple[str, str], met: Met, model: RunsModelFitted, found: tuple[CrossedFitted, FixedPart] | None) -> PracticeBySteel:
    first, second = pair
    reason = _reason(pair, met, model)
    if reason or found is None:
        return PracticeBySteel(first, second, None, None, None, reason or Reason("crossed.practice_no_fit"))
    fit, part = found
    plain = {f"steel {first}": 1.0, f"steel {second}": -1.0}
    extra = {f"{PRACTICE} {name}": weight for name, weight in plain.items()}
    practised, novice, interaction = part.contrast(plain | extra), part.contrast(plain), part.contrast(extra)
    if practised is None or novice is None or interaction is None:
        return PracticeBySteel(first, second, None, None, None, Reason("crossed.practice_not_apart"))
    covariance = coefficient_covariance(fit)
    return PracticeBySteel(
        first,
        second,
        practised=difference(fit, practised, covariance),
        novice=difference(fit, novice, covariance),
        interaction=difference(fit, interaction, covariance),
        reason="",
    )


def _reason(pair: tuple[str, str], met: Met, model: RunsModelFitted) -> str:
    """Why there is to be no figure; empty where nothing speaks against one."""
    told = next(one for one in model.steels if (one.first, one.second) == pair)
    if isinstance(told, SteelsNotEstimated):
        return told.reason
    fewest = min(met[one][k] for one in pair for k in (True, False))
    if fewest < LEAST_SHARPENERS:
        return Reason("crossed.practice_few", fewest=fewest, needed=LEAST_SHARPENERS)
    return ""
