"""Minutes a sharpening and cuts a week, turned into whether it is worth learning. Plain arithmetic, shown."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from edgehold.counted import counted
from edgehold.endpoints import EndpointRow
from edgehold.endpoints.rows import EXACT, INTERVAL
from edgehold.records.model.protocol import Protocol
from edgehold.records.model.submission import Submission
from edgehold.records.units import plural
from edgehold.results.words.sentences import amount

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
        return (
            None
            if weekly is None
            else Worth((), weekly, ("Whether learning pays is asked of people who sharpen; here blades are compared.",))
        )
    stated: dict[str, list[float | None]] = {p.sharpener: [] for p in record.preparations}
    for preparation in record.preparations:
        stated[preparation.sharpener].append(preparation.minutes)
    wanted = [stated.get(arm, [None]) for arm in (lead.first, lead.second)]
    known = [[minutes for minutes in each if minutes is not None] for each in wanted]
    if known != wanted:
        told = "How many minutes each sharpening took is not stated for all of them, so what it costs in time cannot be said."
        return None if weekly is None else Worth((), weekly, (told,))
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
) -> Iterator[str]:
    unit = plural(protocol.work.unit)
    yield "Minutes a sharpening, as stated: " + ", ".join(f"{side.arm} {amount(side.minutes)}" for side in sides) + "."
    if weekly is None:
        yield f"With --cuts-a-week N ({unit}) they become minutes a week."
        return
    lasting = [
        _Lasting(side.arm, side.minutes, side.life, side.runs, side.weekly_minutes)
        for side in sides
        if side.life is not None and side.weekly_minutes is not None
    ]
    if life is None or len(lasting) < len(sides):
        names = " and of ".join(side.arm for side in sides if side.life is None)
        yield f"Not every life of {names} is known to end (some only on one side), so {unit} a week cannot be turned into sharpenings."
        return
    for side in lasting:
        often = f"{amount(weekly)} / {amount(side.life)} = {counted(amount(weekly / side.life), 'sharpening')} a week"
        yield (
            f"{side.arm}: an edge lasts {amount(side.life)} {unit} (geometric mean of {side.runs}); {often} × {amount(side.minutes)} "
            f"minutes = {amount(side.weekly_minutes)} minutes a week."
        )
    yield from _difference(lasting, life, weekly, novices)


def _difference(sides: Sequence[_Lasting], life: Figure, weekly: float, novices: frozenset[str]) -> Iterator[str]:
    less, more = sorted(sides, key=lambda side: side.weekly_minutes)
    saved = more.weekly_minutes - less.weekly_minutes
    if amount(less.weekly_minutes) == amount(more.weekly_minutes):
        yield "Both come to the same minutes a week."
        return
    yield f"Sharpening as {less.arm} does takes {amount(saved)} minutes a week less than as {more.arm} does."
    if less.arm in novices and more.arm not in novices:
        yield "In minutes alone, learning would not pay."
    elif LEARNING_HOURS * 60 / saved < MOST_WEEKS:
        weeks = amount(LEARNING_HOURS * 60 / saved)
        yield f"If learning it took {LEARNING_HOURS} hours, say: {LEARNING_HOURS} × 60 / {amount(saved)} = {weeks} weeks pay them back."
    if life.low is None or life.high is None:
        yield "The ratio of lives has no interval closed on both sides: take this as a guess."
        return
    first, second = sides
    ends = [weekly / (second.life * ratio) * first.minutes - second.weekly_minutes for ratio in (life.low, life.high)]
    if ends[0] * ends[1] < 0:
        yield (
            f"The interval of the lives' ratio leaves open which of the two takes less: from {amount(abs(ends[1]))} minutes a week less to "
            f"{amount(abs(ends[0]))} more for {first.arm}, with {second.arm}'s edges lasting as measured."
        )
    else:
        low, high = sorted(map(abs, ends))
        span = f"{amount(low)} to {amount(high)} minutes a week"
        yield f"By the interval of the lives' ratio it is {span}, {second.arm}'s edges lasting as measured."
