"""Probes: questions to all runs beside the headline, each with an estimand of its own.

Which probes there are stands in ``probe_register``. A probe changes no other result.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from edgehold.endpoints.rows import EndpointRow
from edgehold.engine.tasks import each
from edgehold.numerics.attempt import attempt
from edgehold.records.canonical import PoolKey

from .agreement import agreement
from .effects import Answered, Found, Model, Unanswered, found_in, model, same_model
from .register import AGREEMENT, SPREAD, Probe
from .runs import NOT_FITTED, Ready, ready
from .spread import spread

CHANCE = 0.05  # share of probes that find something where there is nothing
BY_THEMSELVES = {SPREAD: spread, AGREEMENT: agreement}


@dataclass(frozen=True)
class ProbeAnswer:
    """What one probe finds at one endpoint of one pool.

    Attributes
    ----------
    pool, endpoint, probe : which.
    found : the answer, or why there is none.
    remark : something to add that needs no model; empty where there is nothing to say.
    """

    pool: PoolKey
    endpoint: str
    probe: Probe
    found: Found
    remark: str = ""


def probe_answers(
    rows: Iterable[EndpointRow], asked: Mapping[tuple[PoolKey, str], Sequence[Probe]]
) -> dict[tuple[PoolKey, str], tuple[ProbeAnswer, ...]]:
    """Every probe's answer by pool and endpoint.

    Parameters
    ----------
    rows : endpoint rows; runs that two testers shared and those without a value are left out of the fit.
    asked : what to ask of each endpoint of each pool.
    """
    grouped: dict[tuple[PoolKey, str], list[EndpointRow]] = {}
    for row in rows:
        if asked.get((row.pool, row.endpoint)):
            grouped.setdefault((row.pool, row.endpoint), []).append(row)
    jobs = [(key, own, asked[key]) for key, own in sorted(grouped.items())]
    found = each(_answers, jobs, [len(own) * len(probes) for _, own, probes in jobs])
    return {key: answers for (key, *_), answers in zip(jobs, found, strict=True)}


def found_something(answers: Iterable[ProbeAnswer], level: float = CHANCE) -> tuple[int, int]:
    """How many probes with a p value have it below the level, and how many were answered; level × answered would by chance.

    A probe whose effect is there by what the words mean (``Probe.tautology``) counts for neither.
    """
    found = [answer.found for answer in answers if not answer.probe.tautology]
    told = [one.p for one in found if isinstance(one, Answered) and one.p is not None]
    return sum(p < level for p in told), len(told)


def _answers(key: tuple[PoolKey, str], rows: list[EndpointRow], probes: Sequence[Probe]) -> tuple[ProbeAnswer, ...]:
    """Probes of one moderator share its model."""
    asked = ready(rows)
    models: dict[object, Model | Unanswered] = {}
    return tuple(_answer(key, asked, probe, models) for probe in probes)


def _answer(key: tuple[PoolKey, str], asked: Ready, probe: Probe, models: dict[object, Model | Unanswered]) -> ProbeAnswer:
    found = attempt(
        lambda: _by_itself(asked, probe) if probe.measures in BY_THEMSELVES else _modelled(asked, probe, models),
        lambda why: Unanswered(NOT_FITTED, why, 0, 0),
        lambda found: () if isinstance(found, Unanswered) else (found.result.estimate, found.p),
    )
    remark = probe.remark(asked.everything) if probe.remark else ""
    return ProbeAnswer(*key, probe, found, remark)


def _by_itself(asked: Ready, probe: Probe) -> Found:
    return BY_THEMSELVES[probe.measures](asked, probe)


def _modelled(asked: Ready, probe: Probe, models: dict[object, Model | Unanswered]) -> Found:
    same = same_model(probe)
    if same not in models:
        models[same] = model(asked, probe)
    return found_in(models[same], probe)
