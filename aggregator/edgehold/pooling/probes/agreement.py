"""Probes of agreement: do two endpoints made from the same runs give the same ratio of two arms?"""

from __future__ import annotations

import numpy as np

from edgehold.pooling.crossed.runs_design import FixedPart, independent_columns, too_many_levels
from edgehold.pooling.crossed.runs_fit import Difference, coefficient_covariance, difference
from edgehold.pooling.crossed.working_values import WorkingValues
from edgehold.words import Reason, code_of

from .effects import NO_PAIR, Answered, Found, Unanswered, p_value, steels
from .register import Probe
from .runs import NOT_APART, TOO_LITTLE, Chosen, Ready, chosen, commonest_pair, fit_shared, submissions, too_few

PRACTISED = (Reason("probes.edge_of_practised"), Reason("probes.edge_of_novice"))


def agreement(asked: Ready, probe: Probe) -> Found:
    """The ratio of two arms in one endpoint over that in the other, from each run's own ratio of the two.

    The arms are the two steels that most submissions hold; where no submission holds two, practised and novice sharpeners.
    """
    taken = chosen(asked, probe)
    counts = (len(taken.rows), submissions(taken.rows))
    reason = too_few(taken, *counts, probe, "probes.few_known") or too_many_levels(taken.runs)
    if reason:
        return Unanswered(TOO_LITTLE, reason, *counts)
    fixed, pair = taken.fixed, commonest_pair(taken.runs)
    found = _steels(taken, fixed, pair) if pair and fixed.steel_contrast(*pair) is not None else _practice(taken, fixed)
    if isinstance(found, str):
        return Unanswered(NOT_APART if code_of(found) == NO_PAIR.code else TOO_LITTLE, found, *counts)
    return Answered(pair or PRACTISED, found, p_value(found), *counts)


def _steels(taken: Chosen, fixed: FixedPart, pair: tuple[str, str]) -> Difference | str:
    fit = fit_shared(taken, _ratios(taken), fixed.X)
    return fit if isinstance(fit, str) else steels(fit, np.array(fixed.names)[fixed.kept].tolist(), pair)


def _practice(taken: Chosen, fixed: FixedPart) -> Difference | str:
    """Practised less novice; a run whose sharpener's practice is not known counts for neither."""
    practised, known = (np.array([one == side for one in taken.runs.practised], dtype=float) for side in (True, None))
    X = np.column_stack([fixed.X, *([known] if known.any() else []), practised])
    kept = independent_columns(X)
    if not kept[-1]:
        return NO_PAIR
    fit = fit_shared(taken, _ratios(taken), X[:, kept])
    return fit if isinstance(fit, str) else difference(fit, np.append(np.zeros(int(kept.sum()) - 1), 1.0), coefficient_covariance(fit))


def _ratios(taken: Chosen) -> WorkingValues:
    """Each run's own ln ratio of the two endpoints."""
    return WorkingValues(taken.moderator.astype(float), None, None)
