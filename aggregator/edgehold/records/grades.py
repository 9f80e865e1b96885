"""Five grades of evidence: how much would have to be invented, by how many people and how long beforehand, if a submission were made up.

A grade is of evidence and never of a person, looks at no reading's value, and moves no weight. What a kind of evidence shows, and no more:

==============  ====================================================================================================================
references      readings of the same cheap edge frame every evening, and would have to fit the others and everybody else's
guesses         all edges were coded, and the tester's belief was written down for every one of them
films           a film that is shown later can be told to be the one that was meant; nobody has seen what is on it
sealed          order and codes were fixed by a hash that others could see, no later than in the month of the last run
travelled       somebody who has no part in this file has read one of its blades by the same method, and sent that in
==============  ====================================================================================================================

Whether two values agree plays no part in ``travelled``: a grade that asked for agreement would pay for it.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Final, Literal

from edgehold.words import Reason, listed, small

from .canonical import LoadedSubmission, PoolKey, Repository, pool_key

Kind = Literal["references", "guesses", "films", "sealed", "travelled"]
KINDS: Final[tuple[Kind, ...]] = ("references", "guesses", "films", "sealed", "travelled")
CHECKS: Final[frozenset[Kind]] = frozenset({"references", "guesses", "films"})
"""What one tester alone can put beside the readings."""
SEALED: Final[frozenset[Kind]] = frozenset({"sealed"})
TRAVELLED: Final[frozenset[Kind]] = frozenset({"travelled"})
RULES: Final[tuple[tuple[int, tuple[frozenset[Kind], ...]], ...]] = (
    (5, (CHECKS, SEALED, TRAVELLED)),
    (4, (TRAVELLED,)),
    (3, (SEALED,)),
    (2, (CHECKS,)),
    (1, ()),
)
"""A grade, and what it takes: one kind at least of every set. The first that fits counts."""
DIFFERS = frozenset({"plan-differs", "order-differs"})
"""Findings by which an opened plan is not the one that was followed."""
WITH_STRANGERS = 4
"""The grade that another person's reading gives: the only kind of evidence that can still come after a file was sent in."""
MOST_NAMED = 3


@dataclass(frozen=True)
class Graded:
    """The grade of one submission's evidence.

    Attributes
    ----------
    grade : 1 to 5.
    kinds : the kinds of evidence that it has, in the order of ``KINDS``.
    read_in : ids of submissions in which strangers have read one of its blades, at most three of them.
    why : a sentence on each kind, or that there is none.
    raised_by : what would raise it by one, all of it together, and what can still raise it when that cannot; empty at the highest.
    """

    grade: int
    kinds: tuple[Kind, ...]
    read_in: tuple[str, ...]
    why: tuple[Reason, ...]
    raised_by: tuple[Reason, ...]


def graded(repository: Repository) -> dict[str, Graded]:
    """The grade of every submission that counts, by id."""
    strangers = _strangers(repository.submissions)
    accounts = {repository.names.person(handle): account for handle, account in repository.accounts.items()}
    senders = {s.record.id: accounts.get(s.record.submitted_by) for s in repository.submissions}
    strays = frozenset(finding.file for finding in repository.findings if finding.code in DIFFERS)
    months = {seal.id: seal.month for seal in repository.seals}
    return {s.record.id: _graded(s, s.path not in strays, months, strangers[s.record.id], senders) for s in repository.submissions}


def grade_of(kinds: Iterable[Kind]) -> tuple[int, tuple[frozenset[Kind], ...]]:
    """The grade that some kinds of evidence give, and what the next one lacks: one kind of each set.

    Examples
    --------
    >>> grade_of(["guesses", "sealed"])
    (3, (frozenset({'travelled'}),))
    >>> grade_of(["travelled", "sealed", "films"])
    (5, ())
    """
    held = frozenset(kinds)
    needed = dict(RULES)
    grade = next(grade for grade, needs in RULES if all(held & need for need in needs))
    return grade, tuple(need for need in needed.get(grade + 1, ()) if not held & need)


def _graded(
    submission: LoadedSubmission, followed: bool, months: Mapping[str, str], met: tuple[str, ...], senders: Mapping[str, str | None]
) -> Graded:
    record = submission.record
    known = met if record.origin == "simulated" else _of_two_accounts(record.id, met, senders)  # invented people have no accounts
    has: dict[Kind, bool] = {
        "references": _framed(submission),
        "guesses": _guessed(submission),
        "films": all(run.film is not None for run in record.runs),
        "sealed": submission.seal_held is True and followed,
        "travelled": bool(known),
    }
    kinds = tuple(kind for kind in KINDS if has[kind])
    grade, lacks = grade_of(kinds)
    month = record.month if record.plan is None else months.get(record.plan.id, record.month)
    why = tuple(_held(kind, month) for kind in kinds) or (Reason("grades.has_none"),)
    raised_by = tuple(_lacking(need, () if known else met) for need in lacks)
    if grade < WITH_STRANGERS - 1:
        raised_by += (Reason("grades.even_now", grade=WITH_STRANGERS, wants=small(_lacking(TRAVELLED, met))),)
    return Graded(grade, kinds, known[:MOST_NAMED], why, raised_by)


def _of_two_accounts(own: str, met: tuple[str, ...], senders: Mapping[str, str | None]) -> tuple[str, ...]:
    """Those of some files whose sender is known to be another person than this one's: both handles are bound, to two accounts."""
    if senders[own] is None:
        return ()
    return tuple(other for other in met if senders[other] not in (None, senders[own]))


def _held(kind: Kind, month: str) -> Reason:
    return Reason("grades.has_sealed", month=month) if kind == "sealed" else Reason(f"grades.has_{kind}")


def _lacking(need: frozenset[Kind], unbound: tuple[str, ...]) -> Reason:
    """What one set of kinds asks for; ``unbound`` are files that lack nothing but accounts."""
    if need == TRAVELLED and unbound:
        return Reason("grades.wants_accounts", submissions=listed(unbound[:MOST_NAMED]))
    return Reason("grades.wants_sealed" if need == SEALED else "grades.wants_travelled" if need == TRAVELLED else "grades.wants_check")


def _framed(submission: LoadedSubmission) -> bool:
    """Whether a reference edge was read at the start and at the end of every evening with a run."""
    read = {(reference.evening or 1, reference.when) for reference in submission.references if reference.readings}
    return all((run.evening or 1, when) in read for run in submission.runs for when in ("start", "end"))


def _guessed(submission: LoadedSubmission) -> bool:
    """Whether every run was coded, and has a guess."""
    return all(
        run.blinding in ("helper coded", "sealed")
        and run.tester_guess is not None
        and any((run.tester_guess.sharpener, run.tester_guess.blade, run.tester_guess.level))
        for run in submission.record.runs
    )


def _strangers(submissions: Iterable[LoadedSubmission]) -> dict[str, tuple[str, ...]]:
    """By id: other submissions of the same pool that read one of its blades and share no sender and no tester with it."""
    every = sorted(submissions, key=lambda s: s.record.id)
    people = {s.record.id: frozenset({s.record.submitted_by, *(run.tester for run in s.runs)}) for s in every}
    readers: dict[tuple[PoolKey, str], list[str]] = defaultdict(list)
    for s in every:
        for blade in {run.blade for run in s.runs if run.readings}:
            readers[pool_key(s), blade].append(s.record.id)
    found: dict[str, set[str]] = {s.record.id: set() for s in every}
    for together in readers.values():
        for name in together:
            found[name].update(other for other in together if not people[name] & people[other])
    return {name: tuple(sorted(others)) for name, others in found.items()}
