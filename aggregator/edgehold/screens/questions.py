"""Every screen over the new submissions of a request."""

from __future__ import annotations

import math
from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from edgehold.counted import counted
from edgehold.records.canonical import PoolKey
from edgehold.words import Reason

from . import circumstances, copies, digits, spreads
from .readings import Array, ReadFile

LEVELS = {"copies": 2e-3, "repeats": 1e-3, "course": 1e-3, "digits": 2e-3}
"""Chances below which a screen asks. Copies are judged over all pairs of runs that were compared."""
MANY_HANDLES, MANY_SENDERS = 12, 4


@dataclass(frozen=True)
class Asked:
    """One question about one submission; ``submission`` is empty for a question about the request as a whole."""

    submission: str
    screen: str
    question: Reason


@dataclass(frozen=True)
class Pool:
    """What the files of a pool come to, for each of them: (G, 2) variances and degrees of freedom, (G,) mean ln of fresh references."""

    files: tuple[ReadFile, ...]
    runs: copies.Table
    repeats: Array
    course: Array
    references: Array

    def without(self, name: str) -> Pool:
        """The pool without one file, but for the table of runs."""
        kept = np.array([file.id != name for file in self.files], dtype=bool)
        files = tuple(file for file in self.files if file.id != name)
        return Pool(files, self.runs, self.repeats[kept], self.course[kept], self.references[kept])

    @property
    def spread(self) -> float:
        """SD of the repeats of one reading, ln scale: of the middle file."""
        usable = self.repeats[self.repeats[:, 1] >= spreads.LEAST_DF, 0]
        return math.sqrt(float(np.median(usable))) if len(usable) else 0.0


def pooled(files: Sequence[ReadFile]) -> dict[PoolKey, Pool]:
    """Files by pool, with what each screen compares."""
    found: dict[PoolKey, list[ReadFile]] = {}
    for file in files:
        found.setdefault(file.pool, []).append(file)
    return {key: _pool(tuple(some)) for key, some in found.items()}


def _pool(files: tuple[ReadFile, ...]) -> Pool:
    repeats, course = (np.array([of(file) for file in files], dtype=float).reshape(-1, 2) for of in (spreads.of_repeats, spreads.of_course))
    references = np.array([file.references.mean() if len(file.references) else math.nan for file in files])
    return Pool(files, copies.table((file.id, run) for file in files for run in file.runs), repeats, course, references)


def questions(files: Sequence[ReadFile], new: Collection[str], done: Mapping[tuple[str, str], int]) -> tuple[Asked, ...]:
    """What to ask about the new submissions, file by file.

    Parameters
    ----------
    files : of the pools of the new ones, these among them.
    new : ids of the new ones.
    done : how many runs each tester made in each month, in every pool.
    """
    pools = pooled(files)
    return tuple(asked for file in files if file.id in new for asked in about(file, pools[file.pool], done))


def about(file: ReadFile, pool: Pool, done: Mapping[tuple[str, str], int]) -> Iterator[Asked]:
    """What to ask about one file of a pool; ``done`` as in `questions`."""
    others = pool.without(file.id)
    for screen, question in (*_copied(file, others), *_even(file, others), *_circumstances(file, others, done)):
        yield Asked(file.id, screen, question)


def _copied(file: ReadFile, others: Pool) -> Iterator[tuple[str, Reason]]:
    table = others.runs
    own = [row for row, whose in enumerate(table.whose) if whose == file.id]
    elsewhere, found = np.array([whose != file.id for whose in table.whose]), []
    for row in own:
        against = elsewhere.copy()
        against[[later for later in own if later > row]] = True
        if (copy := copies.likeliest(table, row, against, others.spread)) is not None:
            found.append(copy)
    for copy in sorted(found, key=lambda one: one.p)[:1]:
        if copy.p * len(own) < LEVELS["copies"]:
            place = "copies_within" if copy.whose == file.id else "copies"
            how = Reason(f"screens.copies_{copy.kind}")
            yield (
                "copies",
                Reason(f"screens.{place}", run=copy.run, other=copy.other, whose=copy.whose, agree=copy.agree, of=copy.of, how=how),
            )


def _even(file: ReadFile, others: Pool) -> Iterator[tuple[str, Reason]]:
    rounded = spreads.rounding(file)
    repeats, course = spreads.of_repeats(file), spreads.of_course(file)
    if spreads.evenness(repeats, others.repeats, rounded) < LEVELS["repeats"]:
        yield "repeats", Reason("screens.repeats", own=_percent(repeats[0]), pool=_percent(others.spread**2))
    if spreads.evenness(course, others.course, rounded) < LEVELS["course"]:
        usable = others.course[others.course[:, 1] >= spreads.LEAST_DF, 0]
        yield "course", Reason("screens.course", own=_percent(course[0]), pool=_percent(float(np.median(usable))))
    chance, count = digits.evenness(file, others.spread)
    if chance < LEVELS["digits"]:
        yield "digits", Reason("screens.digits", count=count)


def _percent(variance: float) -> str:
    return f"{100 * math.sqrt(variance):.2g}"


def _circumstances(file: ReadFile, others: Pool, done: Mapping[tuple[str, str], int]) -> Iterator[tuple[str, Reason]]:
    if (evening := circumstances.fullest_evening(file)) is not None:
        tester, runs, hours = evening
        yield "evenings", Reason("screens.evening", tester=tester, runs=counted(runs, "run"), hours=f"{hours:.0f}")
    elif (month := circumstances.fullest_month(file, done)) is not None:
        tester, runs, hours = month
        yield "evenings", Reason("screens.month", tester=tester, runs=counted(runs, "run"), hours=f"{hours:.0f}", month=file.month)
    if (finer := circumstances.finer_than_the_instrument(file)) is not None:
        yield "resolution", Reason("screens.resolution", off=finer[0], of=finer[1])
    known = others.references[~np.isnan(others.references)]
    if (distance := circumstances.reference_distance(file, known)) is not None:
        yield "references", Reason("screens.references", distance=f"{distance:.0f}")


def of_request(people: Mapping[str, Sequence[str]], senders: Mapping[str, str], known: frozenset[str]) -> Iterator[Asked]:
    """What to ask about a request as a whole: many handles that nobody has met.

    Parameters
    ----------
    people, senders : by new submission, the handles in it and who submits it.
    known : handles that the repository has already.
    """
    handles = {handle for some in people.values() for handle in some} - known
    fresh = set(senders.values()) - known
    if len(handles) >= MANY_HANDLES or len(fresh) >= MANY_SENDERS:
        yield Asked("", "handles", Reason("screens.handles", handles=len(handles), senders=len(fresh)))
