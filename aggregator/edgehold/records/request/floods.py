"""Floods of objections: how many one person raises at once, how many of them block, and the same flaw twice.

Five a month are more than anybody raised in the demonstration (three), and as many as a maintainer with an hour a week can answer; two
that block, because each stops an adoption until it is decided. Whoever decides about objections is not counted: a review of a whole
method is theirs to send. Two texts of one person are asked about from a half of their words in common (Jaccard's index); the threads
PLACE/proposals/test_floods.py``).
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Collection, Iterable, Iterator

from edgehold.records.canonical import ObjectionThread
from edgehold.records.model.roles import Roles
from edgehold.records.problem import Problem
from edgehold.records.rules.roles import held
from edgehold.records.threads import is_blocking, state_of
from edgehold.words import Reason

MOST_A_MONTH = 5
MOST_BLOCKING = 2
ALIKE = 0.5
_WORD = re.compile(r"[^\W_]{3,}")


def flood_problems(
    threads: Iterable[ObjectionThread], new: Collection[str], roles: Roles | None, month: str
) -> Iterator[tuple[str, Problem]]:
    """What a request's objections are too many of.

    Parameters
    ----------
    threads : of base and request together.
    new : paths of the objections that the request adds. Those count as of this month, whatever month they bear.
    roles : the base's list.
    month : the month of the check.
    """
    everything = sorted(threads, key=lambda thread: thread.path)
    raised = Counter(t.objection.by for t in everything if t.path not in new and t.objection.month == month)
    blocking = 0
    for thread in everything:
        by = thread.objection.by
        if thread.path not in new:
            continue
        yield from ((thread.path, problem) for problem in _alike(thread, everything, new))
        if roles is not None and held(roles, by, "decide", month) is not None:
            continue
        raised[by] += 1
        blocking += is_blocking(thread)
        if raised[by] > MOST_A_MONTH:
            message = Reason("identity.too_many", by=by, count=raised[by], most=MOST_A_MONTH)
            yield thread.path, Problem("/by", "too-many-objections", message, line=1)
        if is_blocking(thread) and blocking > MOST_BLOCKING:
            message = Reason("identity.too_many_blocking", count=blocking, most=MOST_BLOCKING)
            yield thread.path, Problem("/severity", "too-many-blocking", message, line=1)


def _alike(thread: ObjectionThread, threads: Iterable[ObjectionThread], new: Collection[str]) -> Iterator[Problem]:
    """An open objection of the same person about the same, as its words say."""
    if thread.objection.duplicate_of is not None:
        return
    for other in threads:
        earlier = other.path not in new or other.path < thread.path
        if other.path == thread.path or not earlier or other.protocol != thread.protocol or other.objection.by != thread.objection.by:
            continue
        if state_of(other).unsettled and likeness(thread, other) >= ALIKE:
            message = Reason("identity.same_flaw", number=other.number, by=thread.objection.by)
            yield Problem("/title", "similar-open", message, Reason("identity.say_duplicate", number=other.number), line=1)
            return


def likeness(one: ObjectionThread, other: ObjectionThread) -> float:
    """Share of the words of two objections, titles included, that both have (Jaccard 1912); 1 where the titles are one."""
    titles = [_words(thread.objection.title) for thread in (one, other)]
    first, second = (_words(thread.statement) | title for thread, title in zip((one, other), titles, strict=True))
    return 1.0 if titles[0] == titles[1] else len(first & second) / len(first | second)


def _words(text: str) -> set[str]:
    return {word.casefold() for word in _WORD.findall(text)}
