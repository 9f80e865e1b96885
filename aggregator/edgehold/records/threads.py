"""What became of an objection: its state now or in an earlier month, and the versions it stands against.

Nothing here says whether a thread keeps the rules; ``rules.objections`` does. Where it does not, the last outcome counts all the same.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from .canonical import LoadedProtocol, ObjectionThread
from .model.protocol import version_order
from .model.review import Outcome

OPEN = "open"
UNSETTLED = frozenset({OPEN, "upheld and unresolved"})
"""States in which the flaw is neither shown not to hold nor cured."""
DROPPED = frozenset({"withdrawn", "struck"})
"""What may be said of a thread that repeats another one; all else is decided there."""


@dataclass(frozen=True)
class ThreadState:
    """The state of one objection.

    Attributes
    ----------
    state : an outcome's word; ``"open"`` where nothing was decided.
    by : the outcome that says so, None where nothing was decided.
    reason : the outcome's text.
    revised_in : where the state is ``"revised"``: the version that cures the flaw, as the last revision before the outcome names it.
    """

    state: str
    by: Outcome | None = None
    reason: str = ""
    revised_in: str | None = None

    @property
    def unsettled(self) -> bool:
        """Whether the flaw is neither shown not to hold nor cured, withdrawn or struck."""
        return self.state in UNSETTLED


def state_of(thread: ObjectionThread, threads: Mapping[int, ObjectionThread] | None = None, month: str | None = None) -> ThreadState:
    """The state of an objection.

    Parameters
    ----------
    thread : the objection.
    threads : all objections of the same folder by number. One that repeats another has that one's state, unless it was itself
        withdrawn or struck; without ``threads``, or where there is no such other, its own.
    month : the state at the end of that month; None: now.
    """
    own = _own_state(thread, month)
    repeated = (threads or {}).get(thread.objection.duplicate_of or thread.number, thread)
    return own if repeated.number == thread.number or own.state in DROPPED else _own_state(repeated, month)


def _own_state(thread: ObjectionThread, month: str | None) -> ThreadState:
    state, revised_in = ThreadState(OPEN), None
    for entry, text in thread.entries:
        if month is not None and entry.month > month:
            continue
        if isinstance(entry, Outcome):
            state = ThreadState(entry.outcome, entry, text, revised_in if entry.outcome == "revised" else None)
        elif entry.response == "revision":
            revised_in = entry.revised_in
    return state


def standing(
    thread: ObjectionThread,
    versions: Mapping[str, LoadedProtocol],
    threads: Mapping[int, ObjectionThread] | None = None,
    month: str | None = None,
) -> tuple[str, ...]:
    """The versions of the protocol that an objection stands against, in order.

    It is carried forward from the version objected to (from the first one, where none is named) through every later one; once
    "revised", up to the version before the one that revises. Rebutted, withdrawn and struck objections stand against none, nor do those
    to the analysis.

    Parameters
    ----------
    thread, threads, month : as in `state_of`; before the month it was raised in an objection stands against none.
    versions : the versions of the protocol.
    """
    found = [order for order in map(version_order, versions) if _stands(thread, order, threads, month)]
    return tuple(".".join(map(str, order)) for order in sorted(found))


def _stands(thread: ObjectionThread, version: tuple[int, ...], threads: Mapping[int, ObjectionThread] | None, month: str | None) -> bool:
    against, raised = thread.objection.against, month is None or thread.objection.month <= month
    if against.protocol is None or not raised or version < version_order(against.version or "0.0.0"):
        return False
    state = state_of(thread, threads, month)
    if state.state == "revised":
        # A revision that names no version cures none.
        return state.revised_in is None or version < version_order(state.revised_in)
    return state.unsettled


def standing_against(
    version: str,
    threads: Iterable[ObjectionThread],
    versions: Mapping[str, LoadedProtocol],
    month: str | None = None,
) -> tuple[ObjectionThread, ...]:
    """Those of a protocol's objections that stand against one of its versions, by number; repetitions of one another left out."""
    if version not in versions:
        return ()
    by_number, order = {thread.number: thread for thread in threads}, version_order(version)
    own = [thread for _, thread in sorted(by_number.items()) if thread.objection.duplicate_of not in by_number]
    return tuple(thread for thread in own if _stands(thread, order, by_number, month))


def closing(version: str, threads: Iterable[ObjectionThread], versions: Mapping[str, LoadedProtocol]) -> tuple[ObjectionThread, ...]:
    """Those of a protocol's objections that close the form of one of its versions, by number.

    Repetitions of one another are among them: what somebody calls a danger is one, whatever the other objection was called.
    """
    if version not in versions:
        return ()
    by_number, order = {thread.number: thread for thread in threads}, version_order(version)
    return tuple(thread for _, thread in sorted(by_number.items()) if closes_form(thread) and _stands(thread, order, by_number, None))


def is_blocking(thread: ObjectionThread) -> bool:
    """Whether the version may not be adopted while it stands, and bears a banner if it was."""
    return thread.objection.severity == "blocking"


def closes_form(thread: ObjectionThread) -> bool:
    """Whether nobody shall be led to follow the method while it stands: it calls it dangerous, and is known to be meant seriously."""
    return about_danger(thread) and thread.by_itself


def about_danger(thread: ObjectionThread) -> bool:
    """Whether an objection blocks and is about safety."""
    return is_blocking(thread) and thread.objection.threat == "safety"


def entry_paths(thread: ObjectionThread) -> list[str]:
    """Files of a thread's entries, the objection left out."""
    folder = thread.path.rpartition("/")[0]
    return [f"{folder}/{number:02d}-{entry.kind}.md" for number, (entry, _) in enumerate(thread.entries, 1)]
