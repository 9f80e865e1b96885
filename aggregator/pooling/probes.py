"""Probes: a named moderator beside the steels in one model of all runs, its estimand kept apart from the headline.

Which probes there are stands in ``probe_register``, the model of runs in ``runs_model``. A probe changes no other result.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np
from scipy.stats import t as student_t

from aggregator.endpoints.rows import MISSING, EndpointRow
from aggregator.records.canonical import PoolKey

from .crossed_results import CrossedFit
from .probe_register import EFFECT, PROBES, Probe
from .random_terms import ASSUMED_VARIANCES, terms_held
from .runs_design import FixedPart, Runs, checked_runs, fixed_part, independent_columns, too_many_levels
from .runs_fit import Difference, coefficient_covariance, difference, fit_groups

ANSWERED, TOO_LITTLE, NOT_APART = "answered", "too little", "not told apart"
EVENING = "evening"  # a random term of its own here: runs of one evening share more than their submission
MOVES_TOGETHER = "it changes together with the steel, or with who sharpened and who tested"
CHANCE = 0.05  # share of probes that find something where there is nothing


@dataclass(frozen=True)
class ProbeAnswer:
    """What one probe finds at one endpoint of one pool.

    Attributes
    ----------
    pool, endpoint, probe : which.
    state : ``answered``, ``too little`` or ``not told apart``.
    reason : why it is not answered; empty otherwise.
    pair : the two steels, for a probe of steels at equal value that is answered; None otherwise.
    result : ln ratio with its interval; None where not answered.
    p : two-sided p value against a ratio of 1, for a probe of an effect; None otherwise.
    runs, submissions : runs among which the moderator varies, and their submissions.
    """

    pool: PoolKey
    endpoint: str
    probe: Probe
    state: str
    reason: str
    pair: tuple[str, str] | None
    result: Difference | None
    p: float | None
    runs: int
    submissions: int


@dataclass(frozen=True, eq=False)
class _Model:
    """The model of the runs whose moderator is known: runs among which it varies, their submissions, and the fit.

    ``names`` are the columns of the fit, the moderator last; ``state`` and ``reason`` say why there is no fit.
    """

    informing: int
    submissions: int
    runs: Runs
    fixed: FixedPart
    names: tuple[str, ...]
    fit: CrossedFit | None
    state: str
    reason: str


def probe_answers(
    rows: Iterable[EndpointRow], asked: frozenset[tuple[PoolKey, str]], probes: Sequence[Probe] = PROBES
) -> dict[tuple[PoolKey, str], tuple[ProbeAnswer, ...]]:
    """Every probe's answer by pool and endpoint.

    Parameters
    ----------
    rows : endpoint rows; runs that two testers shared and those without a value are left out of the fit.
    asked : pools and endpoints to ask. Endpoints made from the same readings ask the same question again, so that not all need be.
    probes : which.
    """
    grouped: dict[tuple[PoolKey, str], list[EndpointRow]] = {}
    for row in rows:
        if (row.pool, row.endpoint) in asked:
            grouped.setdefault((row.pool, row.endpoint), []).append(row)
    return {key: _answers(key, own, probes) for key, own in sorted(grouped.items())}


def found_something(answers: Iterable[ProbeAnswer], level: float = CHANCE) -> tuple[int, int]:
    """How many probes of an effect have p below the level, and how many were answered; level × answered would by chance."""
    told = [answer.p for answer in answers if answer.p is not None]
    return sum(p < level for p in told), len(told)


def _answers(key: tuple[PoolKey, str], rows: list[EndpointRow], probes: Sequence[Probe]) -> tuple[ProbeAnswer, ...]:
    """Probes of one moderator share its model."""
    models: dict[object, _Model] = {}
    found = []
    for probe in probes:
        same = (probe.column, probe.within, probe.replaces, probe.least_runs, probe.least_submissions)
        if same not in models:
            models[same] = _model(rows, probe)
        found.append(_answer(key, probe, models[same]))
    return tuple(found)


def _answer(key: tuple[PoolKey, str], probe: Probe, model: _Model) -> ProbeAnswer:
    counts = (model.informing, model.submissions)
    if model.fit is None:
        return ProbeAnswer(*key, probe, model.state, model.reason, None, None, None, *counts)
    pair = None if probe.measures == EFFECT else _commonest_pair(model.runs)
    if probe.measures == EFFECT:
        c = np.append(np.zeros(len(model.names) - 1), probe.step)
    elif pair is None or model.fixed.steel_contrast(*pair) is None:
        return ProbeAnswer(*key, probe, NOT_APART, "no two steels can be told apart in these runs", None, None, None, *counts)
    else:
        c = np.array([(name == f"steel {pair[0]}") - (name == f"steel {pair[1]}") for name in model.names], dtype=float)
    result = difference(model.fit, c, coefficient_covariance(model.fit))
    p = float(2 * student_t.sf(abs(result.estimate) / result.standard_error, result.df)) if pair is None else None
    return ProbeAnswer(*key, probe, ANSWERED, "", pair, result, p, *counts)


def _model(rows: list[EndpointRow], probe: Probe) -> _Model:
    values = probe.column(rows)
    used = [(row, value) for row, value in zip(rows, values, strict=True) if _usable(row) and value is not None]
    chosen, moderator = [row for row, _ in used], np.array([value for _, value in used], dtype=float)
    informing = _informing(chosen, moderator, probe)
    counts = (int(informing.sum()), len({row.submission for row, there in zip(chosen, informing, strict=True) if there}))
    runs = _runs(chosen)
    fixed = fixed_part(runs) if chosen else None
    state, reason = _too_little(counts, runs, probe)
    if state:
        return _Model(*counts, runs, fixed, (), None, state, reason)
    stands = fixed.kept & np.array([name != probe.replaces for name in fixed.names])
    X = np.column_stack([fixed.full[:, stands], _centred(chosen, moderator, probe)])
    names = (*np.array(fixed.names)[stands].tolist(), probe.id)
    if not _told_beside(X, runs):
        return _Model(
            *counts, runs, fixed, names, None, NOT_APART, "it changes together with the steel, or with who sharpened and who tested"
        )
    fit, why = _fit(runs, _evenings(chosen), X)
    return _Model(*counts, runs, fixed, names, None if why else fit, TOO_LITTLE if why else "", why)


def _too_little(counts: tuple[int, int], runs: Runs, probe: Probe) -> tuple[str, str]:
    """State and reason where a fit need not be tried."""
    if counts[0] == 0:
        return TOO_LITTLE, "it is the same in all runs that could be compared, or not known"
    if counts[0] < probe.least_runs or counts[1] < probe.least_submissions:
        among = f"{counts[0]} {'run' if counts[0] == 1 else 'runs'} of {counts[1]} {'submission' if counts[1] == 1 else 'submissions'}"
        return TOO_LITTLE, f"it varies among {among}; {probe.least_runs} runs of {probe.least_submissions} submissions are wanted"
    reason = too_many_levels(runs)
    return (TOO_LITTLE, reason) if reason else ("", "")


def _usable(row: EndpointRow) -> bool:
    return row.status != MISSING and not row.split_tester


def _labels(rows: list[EndpointRow], probe: Probe) -> np.ndarray:
    """(n,) number of the set of runs that are compared with one another."""
    labels = [None if probe.within is None else probe.within(row) for row in rows]
    numbers = {label: i for i, label in enumerate(dict.fromkeys(labels))}
    return np.array([numbers[label] for label in labels], dtype=int)


def _informing(rows: list[EndpointRow], moderator: np.ndarray, probe: Probe) -> np.ndarray:
    """(n,) which runs stand in a set in which the moderator varies."""
    labels = _labels(rows, probe)
    varies = [label for label in np.unique(labels) if np.ptp(moderator[labels == label]) > 0]
    return np.isin(labels, varies)


def _centred(rows: list[EndpointRow], moderator: np.ndarray, probe: Probe) -> np.ndarray:
    """Less the mean of its set, so that only differences within one count (Neuhaus & Kalbfleisch 1998, Biometrics 54:638–645)."""
    labels = _labels(rows, probe)
    return moderator - (np.bincount(labels, moderator) / np.bincount(labels))[labels]


def _runs(rows: list[EndpointRow]) -> Runs:
    names = ("steel", "blade", "sharpener", "tester", "submission", "batch", "own_sharpening", "sharpening")
    labels = {name: [getattr(row, name) for row in rows] for name in names}
    labels["version"] = [row.version.rpartition(".")[0] for row in rows]
    return checked_runs(np.array([row.low for row in rows]), np.array([row.high for row in rows]), labels)


def _evenings(rows: list[EndpointRow]) -> np.ndarray:
    return np.array([f"{row.submission} evening {row.evening}" for row in rows], dtype=str)


def _told_beside(X: np.ndarray, runs: Runs) -> bool:
    """Whether the last column can be told beside the others with the people as fixed too."""
    people = [(who == level).astype(float) for who in (runs.sharpener, runs.tester) for level in np.unique(who)]
    return bool(independent_columns(np.column_stack([X[:, :-1], *people, X[:, -1]]))[-1])


def _commonest_pair(runs: Runs) -> tuple[str, str] | None:
    """The two known steels that most submissions hold both of; the first by name of several, None where no submission does."""
    holding = {steel: set(runs.submission[runs.steel == steel].tolist()) for steel in runs.steels}
    shared = {pair: len(holding[pair[0]] & holding[pair[1]]) for pair in combinations(runs.steels, 2)}
    best = max(shared, key=shared.get, default=None)
    return best if best and shared[best] else None


def _fit(runs: Runs, evenings: np.ndarray, X: np.ndarray) -> tuple[CrossedFit, str]:
    """The model of all runs, and why there are no figures; empty where there are."""
    groups = {EVENING: evenings} | runs.groups()
    held = terms_held(groups, X=X, variances={EVENING: ASSUMED_VARIANCES["submission"]}).held
    fit = fit_groups(runs, X, {name: groups[name] for name in held}).fit
    if fit.coefficients is None or not fit.convergence.converged:
        return fit, fit.reasons.get("coefficients") or fit.reasons["convergence"]
    return fit, "" if fit.covariance is not None else fit.reasons.get("covariance", "its standard errors could not be had")
