"""Floods of objections: how many one person raises at once, how many of them block, and the same flaw twice.

Five a month, and a request, are more than anybody raised in the demonstration (three), and as many as a maintainer with an hour a week can
answer; two that block, because each stops an adoption until it is decided. Whoever decides about objections is not counted: a review of
a whole method is theirs to send. Two texts, whoever wrote them, are asked about from a half of their words in common (Jaccard's index),
or where their titles are one; no two of the demonstration's objections to one method, which are of different flaws, have more than .26
in common (``tests/proposals/test_floods.py``).
"""

from __future__ import annotations

import functools
import re
from collections import Counter
from collections.abc import Collection, Iterable, Iterator

from edgehold.records.canonical import ObjectionThread
from edgehold.records.model.roles import Roles
from edgehold.records.names import Names
from edgehold.records.problem import Problem
from edgehold.records.rules.roles import held
from edgehold.records.threads import is_blocking, state_of
from edgehold.words import Reason

MOST_A_MONTH = 5
MOST_BLOCKING = 2
ALIKE = 0.5
_WORD = re.compile(r"[^\W_]{3,}")


def flood_problems(
    threads: Iterable[ObjectionThread], new: Collection[str], roles: Roles | None, names: Names, month: str
) -> Iterator[tuple[str, Problem]]:
    """What a request's objections are too many of.

    Parameters
    ----------
    threads : of base and request together, with handles as they stand in files.
    new : paths of the objections that the request adds. Those count as of this month, whatever month they bear.
    roles : the base's list.
    names : whose handles are one person's.
    month : the month of the check.
    """
    everything = sorted(threads, key=lambda thread: thread.path)
    raised = Counter(names.person(t.objection.by) for t in everything if t.path not in new and t.objection.month == month)
    together, blocking = 0, 0
    for thread in everything:
        by = names.person(thread.objection.by)
        if thread.path not in new:
            continue
        yield from ((thread.path, problem) for problem in _alike(thread, everything, new, names))
        if roles is not None and held(roles, thread.objection.by, "decide", month) is not None:
            continue
        raised[by] += 1
        together += 1
        blocking += is_blocking(thread)
        if max(raised[by], together) > MOST_A_MONTH:
            code = "identity.too_many" if raised[by] > MOST_A_MONTH else "identity.too_many_at_once"
            message = Reason(code, by=by, count=max(raised[by], together), most=MOST_A_MONTH)
            yield thread.path, Problem("/by", "too-many-objections", message, line=1)
        if is_blocking(thread) and blocking > MOST_BLOCKING:
            message = Reason("identity.too_many_blocking", count=blocking, most=MOST_BLOCKING)
            yield thread.path, Problem("/severity", "too-many-blocking", message, line=1)


def _alike(thread: ObjectionThread, threads: Iterable[ObjectionThread], new: Collection[str], names: Names) -> Iterator[Problem]:
    """An open objection about the same, as its words say, whoever raised it: a flaw has one open thread."""
    if thread.objection.duplicate_of is not None:
        return
    for other in threads:
        earlier = other.path not in new or other.path < thread.path
        if other.path == thread.path or not earlier or other.protocol != thread.protocol:
            continue
        if state_of(other).unsettled and likeness(thread, other) >= ALIKE:
            message = Reason("identity.same_flaw", number=other.number, by=names.person(other.objection.by))
            yield Problem("/title", "similar-open", message, Reason("identity.say_duplicate", number=other.number), line=1)
            return


def likeness(one: ObjectionThread, other: ObjectionThread) -> float:
    """Share of the words of two objections, titles included, that both have (Jaccard 1912); 1 where the titles are one."""
    titles = [_words(thread.objection.title) for thread in (one, other)]
    first, second = (_words(thread.statement) | title for thread, title in zip((one, other), titles, strict=True))
    return 1.0 if titles[0] == titles[1] else len(first & second) / len(first | second)


@functools.lru_cache(maxsize=4096)
def _words(text: str) -> frozenset[str]:
    return frozenset(word.casefold() for word in _WORD.findall(text))
