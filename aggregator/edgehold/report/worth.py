"""Minutes a sharpening and cuts a week, turned into whether it is worth learning. Plain arithmetic, shown."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from edgehold.endpoints import EndpointRow
from edgehold.endpoints.rows import EXACT, INTERVAL
from edgehold.records.model.protocol import Protocol
from edgehold.records.model.submission import Submission
from edgehold.records.sharpeners import edge_by
from edgehold.records.units import plural
from edgehold.results.words.sentences import amount
from edgehold.words import Reason

from .comparison import Figure, Leading

LEARNING_HOURS = 10  # an example to divide by, and said to be one
MOST_WEEKS = 5200  # a hundred years: nobody waits for longer


@dataclass(frozen=True)
class SideEffort:
    """One side's effort.

    Attributes
    ----------
    arm : which.
    minutes : mean of those stated, a sharpening.
    life : geometric mean of its lives, in the protocol's unit of work.
    runs : lives behind that.
    weekly_minutes : cuts a week / life × minutes; None without cuts a week.
    """

    arm: str
    minutes: float
    life: float | None
    runs: int
    weekly_minutes: float | None


@dataclass(frozen=True)
class _Lasting:
    """A side whose lives are all known, so that minutes a week can be told; fields as in `SideEffort`."""

    arm: str
    minutes: float
    life: float
    runs: int
    weekly_minutes: float


@dataclass(frozen=True)
class Worth:
    """Whether learning pays: the sides, and the arithmetic in words."""

    sides: tuple[SideEffort, ...]
    weekly: float | None
    sentences: tuple[str, ...]


def worth(record: Submission, rows: Sequence[EndpointRow], lead: Leading, protocol: Protocol, weekly: float | None = None) -> Worth | None:
    """Minutes a week on each side.

    Parameters
    ----------
    record, rows, lead, protocol : of the submission.
    weekly : work a week, in the protocol's unit; None where not asked.

    Returns
    -------
    None where no preparation states its minutes and nobody asked.
    """
    if lead.factor != "sharpener":
        return None if weekly is None else Worth((), weekly, (Reason("report.worth_of_blades"),))
    stated: dict[str, list[float | None]] = {edge_by(p): [] for p in record.preparations}
    for preparation in record.preparations:
        stated[edge_by(preparation)].append(preparation.minutes)
    wanted = [stated.get(arm, [None]) for arm in (lead.first, lead.second)]
    known = [[minutes for minutes in each if minutes is not None] for each in wanted]
    if known != wanted:
        return None if weekly is None else Worth((), weekly, (Reason("report.worth_unstated"),))
    life = next((figure for figure in lead.figures if figure.kind == "life"), None)
    sides = tuple(_side(arm, minutes, rows, life, weekly) for arm, minutes in zip((lead.first, lead.second), known, strict=True))
    novices = frozenset(person.handle for person in record.people if person.sharpening == "novice")
    return Worth(sides, weekly, tuple(_sentences(sides, life, weekly, protocol, novices)))


def _side(arm: str, minutes: list[float], rows: Sequence[EndpointRow], life: Figure | None, weekly: float | None) -> SideEffort:
    mean = sum(minutes) / len(minutes)
    own = [row for row in rows if life is not None and row.endpoint == life.endpoint and row.sharpener == arm]
    told = [row for row in own if row.status in (EXACT, INTERVAL)]
    if not own or len(told) < len(own):
        return SideEffort(arm, mean, None, len(told), None)
    lasts = math.exp(sum((row.low + row.high) / 2 for row in told) / len(told))
    return SideEffort(arm, mean, lasts, len(told), None if weekly is None else weekly / lasts * mean)


def _sentences(
    sides: tuple[SideEffort, ...], life: Figure | None, weekly: float | None, protocol: Protocol, novices: frozenset[str]
) -> Iterator[Reason]:
    units = plural(protocol.work.unit)
    yield Reason("report.worth_minutes", minutes=", ".join(f"{side.arm} {amount(side.minutes)}" for side in sides))
    if weekly is None:
        yield Reason("report.worth_weekly", units=units)
        return
    lasting = [
        _Lasting(side.arm, side.minutes, side.life, side.runs, side.weekly_minutes)
        for side in sides
        if side.life is not None and side.weekly_minutes is not None
    ]
    if life is None or len(lasting) < len(sides):
        yield Reason("report.worth_open_lives", names=" and of ".join(side.arm for side in sides if side.life is None), units=units)
        return
    for side in lasting:
        often = amount(weekly / side.life)
        yield Reason(
            "report.worth_side",
            arm=side.arm,
            life=amount(side.life),
            units=units,
            runs=side.runs,
            weekly=amount(weekly),
            sharpenings=1 if often == "1" else often,
            minutes=amount(side.minutes),
            total=amount(side.weekly_minutes),
        )
    yield from _difference(lasting, life, weekly, novices)


def _difference(sides: Sequence[_Lasting], life: Figure, weekly: float, novices: frozenset[str]) -> Iterator[Reason]:
    less, more = sorted(sides, key=lambda side: side.weekly_minutes)
    saved = more.weekly_minutes - less.weekly_minutes
    if amount(less.weekly_minutes) == amount(more.weekly_minutes):
        yield Reason("report.worth_same")
        return
    yield Reason("report.worth_less", less=less.arm, saved=amount(saved), more=more.arm)
    if less.arm in novices and more.arm not in novices:
        yield Reason("report.worth_no_learning")
    elif LEARNING_HOURS * 60 / saved < MOST_WEEKS:
        yield Reason("report.worth_learning", hours=LEARNING_HOURS, saved=amount(saved), weeks=amount(LEARNING_HOURS * 60 / saved))
    if life.low is None or life.high is None:
        yield Reason("report.worth_guess")
        return
    first, second = sides
    ends = [weekly / (second.life * ratio) * first.minutes - second.weekly_minutes for ratio in (life.low, life.high)]
    if ends[0] * ends[1] < 0:
        least, most = amount(abs(ends[1])), amount(abs(ends[0]))
        yield Reason("report.worth_open", less=least, more=most, first=first.arm, second=second.arm)
    else:
        low, high = sorted(map(abs, ends))
        yield Reason("report.worth_interval", low=amount(low), high=amount(high), second=second.arm)
