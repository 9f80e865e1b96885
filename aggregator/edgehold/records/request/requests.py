"""What a request may do to the life of a protocol, beyond what the files say once it is merged.

Months are as fine as dates are written, and anybody may write one; so the base decides what came first.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Mapping
from dataclasses import replace

from edgehold.records.canonical import LoadedProtocol, ObjectionThread
from edgehold.records.model.review import Event
from edgehold.records.problem import Problem
from edgehold.records.rules.life import Versions, blocked, blocked_by
from edgehold.records.threads import entry_paths, is_blocking, standing_against
from edgehold.words import Reason


def life_in_request(
    events: Mapping[str, Event],
    threads: Iterable[ObjectionThread],
    protocols: Mapping[tuple[str, str], LoadedProtocol],
    base: Collection[str],
    gone: Collection[str],
) -> Iterator[tuple[str, Problem]]:
    """Adoptions that a request adds, and objections that it dates before one that the base has.

    Parameters
    ----------
    events : every event by its file, base and request together.
    threads, protocols : of base and request together.
    base : the files of the base.
    gone : ids of submissions that were retracted or taken out.
    """
    everything = list(threads)
    for path, event in events.items():
        name = path.split("/")[1]
        versions = {version: loaded for (protocol, version), loaded in protocols.items() if protocol == name}
        own = [thread for thread in everything if thread.protocol == name]
        if event.kind == "adopted" and path not in base:
            yield from ((path, problem) for problem in _added_adoption(event, own, versions, base, gone))
        elif event.kind == "adopted":
            yield from _dated_back(event, own, versions, base)


def _added_adoption(
    event: Event, threads: list[ObjectionThread], versions: Versions, base: Collection[str], gone: Collection[str]
) -> Iterator[Problem]:
    """A request that adopts needs a pilot that counts, and every blocking objection of the base decided there already."""
    if event.pilot is None:
        yield Problem("/pilot", "no-pilot", Reason("requests.no_pilot", version=event.version))
    elif event.pilot in gone:
        yield Problem("/pilot", "wrong-pilot", Reason("requests.pilot_gone", pilot=event.pilot))
    before = [of_base(thread, base) for thread in threads if thread.path in base]
    yield from (blocked_by(thread, event) for thread in standing_against(event.version, before, versions) if is_blocking(thread))


def of_base(thread: ObjectionThread, base: Collection[str]) -> ObjectionThread:
    """A thread as the base has it: without the entries that the request adds."""
    kept = [entry for path, entry in zip(entry_paths(thread), thread.entries, strict=True) if path in base]
    return replace(thread, entries=tuple(kept))


def _dated_back(event: Event, threads: list[ObjectionThread], versions: Versions, base: Collection[str]) -> Iterator[tuple[str, Problem]]:
    """What comes in after an adoption, and would have stood in its way by the month that it bears."""
    before = [of_base(thread, base) for thread in threads if thread.path in base]
    known = {problem.message for problem in blocked(event, before, versions)}
    newly = {problem.message for problem in blocked(event, threads, versions)} - known
    for thread in threads:
        if blocked_by(thread, event).message in newly:
            dated = [(thread.path, thread.objection), *zip(entry_paths(thread), (entry for entry, _ in thread.entries), strict=True)]
            for path, entry in dated:
                if path not in base and entry.month < event.month:
                    message = Reason("requests.adopted_before", version=event.version, month=event.month)
                    yield path, Problem("/month", "month-backwards", message)
