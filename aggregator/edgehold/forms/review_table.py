"""The rules of objections, responses and outcomes as a table of `records.rules.table`: which texts, words and months fit where.

What a thread allows is not written a second time: entries that might be added are held against the program's own rules
(``edgehold.records.rules``), and what those say of them becomes the table.
"""

from __future__ import annotations

import datetime
import functools
from collections.abc import Callable, Iterable
from dataclasses import replace
from typing import Literal, get_args

from edgehold.records.canonical import LoadedProtocol, ObjectionThread, Repository
from edgehold.records.layout import ANALYSIS
from edgehold.records.model.review import OBJECTION_FORMAT, Event, Outcome, Response
from edgehold.records.probe_names import PROBE_NAMES
from edgehold.records.problem import Problem
from edgehold.records.rules.objections import ADDRESS, Surroundings
from edgehold.records.rules.outcomes import thread_problems
from edgehold.records.rules.protocol_form import steps_of
from edgehold.records.rules.table import Entry, entry_of
from edgehold.records.threads import state_of
from edgehold.results.model.objections import State
from edgehold.results.publish.fields import one_of
from edgehold.results.publish.objections import STRUCK, threads_of, versions_of

FORMATS: tuple[Literal["objection/1.0.0", "objection/0.1.0"], ...] = ("objection/1.0.0", "objection/0.1.0")
FORMAT = one_of(OBJECTION_FORMAT, FORMATS)
NOBODY = "nobody-that-we-know"
LAST_MONTH, LAST_DAY = "9999-12", datetime.date(9999, 12, 31)
TEXT = {"names-a-person": ADDRESS.pattern}
"""What is looked for in a body, by the code of the finding."""


def shared_table(repository: Repository, places: Iterable[str], evidence: bool) -> list[Entry]:
    """What holds wherever the file goes; ``places`` are those of free texts in the front matter."""
    found = [
        entry_of("not after", "/month", "month-in-future", months=0),
        *(entry_of("matches", place, code, pattern=pattern) for place in places for code, pattern in TEXT.items()),
    ]
    if evidence:
        found += [
            entry_of("needed", "/interest", "interest-unstated"),
            entry_of("one kind", "/evidence/*", "evidence-form", names=["probe", "submission", "citation"]),
            entry_of("only", "/evidence/*/probe", "unknown-probe", words=sorted(PROBE_NAMES)),
            entry_of("only", "/evidence/*/submission", "unknown-reference", words=sorted(repository.submission_ids)),
            entry_of("never", "/evidence/*/submission", "cites-gone", words=sorted(repository.gone)),
        ]
    return found


def target_table(repository: Repository, protocol: str) -> list[Entry]:
    """What holds for every objection to one protocol, or to the analysis."""
    threads = threads_of(repository, protocol)
    repeating = [number for number, thread in threads.items() if thread.objection.duplicate_of is not None]
    found = [
        entry_of(
            "only", "/against/version", "unknown-version", words=[] if protocol == ANALYSIS else list(versions_of(repository, protocol))
        ),
        *(
            entry_of("told", f"/against/{name}", "unknown-version", when={"at": "/against/version", "is": None})
            for name in ("step", "endpoint")
        ),
        entry_of("only", "/duplicate_of", "unknown-reference", words=sorted(threads)),
        entry_of("never", "/duplicate_of", "duplicate-form", words=repeating),
    ]
    for number, thread in threads.items():
        state = state_of(thread)
        if state.state == STRUCK and state.by is not None:
            late = {"at": "/month", "after": state.by.month}
            found.append(entry_of("never", "/duplicate_of", "duplicate-form", words=[number], when=late))
    return found


def version_table(loaded: LoadedProtocol, released: Event | None) -> list[Entry]:
    """What holds for objections to one version."""
    found = [
        entry_of("only", "/against/step", "unknown-step", words=steps_of(loaded.body)),
        entry_of("only", "/against/endpoint", "unknown-reference", words=[rule.id for rule in loaded.record.endpoints]),
    ]
    return found if released is None else [*found, entry_of("since", "/month", "month-backwards", month=released.month)]


class Thread:
    """One thread and all it may refer to, so that entries can be held against the rules before they are written."""

    def __init__(self, repository: Repository, thread: ObjectionThread) -> None:
        protocol = thread.protocol
        self.thread = thread
        self.versions = versions_of(repository, protocol)
        self.events = repository.events.get(protocol, ())
        beside, known, gone = threads_of(repository, protocol), repository.submission_ids, repository.gone
        self.around = Surroundings(self.versions, self.events, beside, known, gone, repository.names)

    @property
    def last(self) -> str:
        """Month of the last entry."""
        return max([self.thread.objection.month, *(entry.month for entry, _ in self.thread.entries)])

    @property
    def handles(self) -> list[str]:
        """Everybody who took part, or released a version."""
        return sorted({self.thread.objection.by, *(e.by for e, _ in self.thread.entries), *(event.by for event in self.events)})

    def said_of(self, entry: Response | Outcome) -> list[Problem]:
        """What the rules say of one more entry."""
        longer = replace(self.thread, entries=(*self.thread.entries, (entry, "A text.")))
        paths = [str(number) for number in range(len(longer.entries) + 1)]
        return [problem for path, problem in thread_problems(longer, paths, self.around, LAST_DAY) if path == paths[-1]]


def response_table(of: Thread) -> list[Entry]:
    """What holds for the next response in a thread."""

    def codes(at: str, version: str) -> set[str]:
        revision = Response(format=FORMAT, kind="response", response="revision", revised_in=version, by=NOBODY, month=LAST_MONTH)
        return {problem.code for problem in of.said_of(revision) if problem.pointer == at}

    revision = {"at": "/response", "is": "revision"}
    missing = [version for version in of.versions if "revision-misses" in codes("/revised_in", version)]
    found = [
        entry_of("since", "/month", "month-backwards", month=of.last),
        entry_of("filled", "/evidence", "no-evidence", when={"at": "/response", "is": "rebuttal"}),
        entry_of("needed", "/revised_in", "unknown-version", when=revision),
        entry_of("never", "/revised_in", "revision-misses", words=missing, when=revision),
    ]
    if of.thread.protocol != ANALYSIS:
        found.append(entry_of("only", "/revised_in", "unknown-version", words=list(of.versions), when=revision))
    return found


def outcome_table(of: Thread) -> list[Entry]:
    """What holds for the next outcome in a thread: for every word what it needs, and who may say it."""
    found = [entry_of("since", "/month", "month-backwards", month=of.last)]
    words: tuple[State, ...] = get_args(Outcome.model_fields["outcome"].annotation)
    for word in words:
        found += _word(of, word)
    return found


def _word(of: Thread, word: State) -> list[Entry]:
    @functools.cache
    def codes(at: str, by: str = NOBODY, month: str = LAST_MONTH) -> set[str]:
        outcome = Outcome(format=FORMAT, kind="outcome", outcome=word, by=by, month=month)
        return {problem.code for problem in of.said_of(outcome) if problem.pointer == at}

    def fits(code: str, month: str) -> bool:
        return code not in codes("/outcome", month=month)

    said = {"at": "/outcome", "is": word}
    always = codes("/outcome")
    found = [entry_of("told", "/outcome", code, when=said) for code in sorted(always)]
    for code in sorted(codes("/outcome", month=of.last) - always):
        first = _first_month(of, functools.partial(fits, code))
        found.append(entry_of("told", "/outcome", code, when=[said, {"at": "/month", "before": first}]))
    strangers = codes("/by")
    for code in sorted(strangers):
        may = [handle for handle in of.handles if code not in codes("/by", handle)]
        found.append(entry_of("only", "/by", code, words=may, when=said))
    for code in sorted(set().union(*(codes("/by", handle) for handle in of.handles)) - strangers):
        found.append(entry_of("never", "/by", code, words=[h for h in of.handles if code in codes("/by", h)], when=said))
    return found


def _first_month(of: Thread, fits: Callable[[str], bool]) -> str:
    """The first month of an event from which on an outcome fits."""
    return next((month for month in sorted({event.month for event in of.events}) if fits(month)), LAST_MONTH)
