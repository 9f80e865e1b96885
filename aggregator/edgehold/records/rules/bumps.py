"""Which part of a version's number must grow for what differs from the version before.

MAJOR: an endpoint of the older version, or the difference asked for, is no longer computed alike; results are never pooled across it.
MINOR: what is done or used differs; results are pooled with the version as an effect of its own and a test that contrasts agree.
PATCH: wording, drawings, times and cautions; results are pooled as those of one version.

A machine cannot tell a better sentence from another method. So sentences that say what is cut, how a cut or a reading is made, when a
run ends and what is used count as what is done, and ask for MINOR; an author who changes more than words there may go further.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from edgehold.records.canonical import LoadedProtocol
from edgehold.records.model.protocol import EndpointRule, LevelRule, MinuteParts, Protocol, version_order
from edgehold.records.problem import pointer
from edgehold.words import Reason

from .differences import FieldDifference, field_differences, steps_touched
from .protocol_form import steps_of

LEVELS = ("patch", "minor", "major")

_MAJOR = {
    ("question", "factor"): Reason("protocols.other_difference"),
    ("medium", "name"): Reason("protocols.other_medium"),
    ("work", "kind"): Reason("protocols.other_work"),
    ("work", "unit"): Reason("protocols.other_work"),
    ("work", "edge_stretch_mm"): Reason("protocols.other_stretch"),
    ("reading", "kind"): Reason("protocols.other_reading"),
    ("reading", "canonical_unit"): Reason("protocols.other_reading"),
    ("reading", "keener"): Reason("protocols.other_way"),
    ("reading", "dulls"): Reason("protocols.other_dulling"),
    ("design", "side_by_side"): Reason("protocols.other_design"),
    ("estimand",): Reason("protocols.other_estimand"),
}
_PATCH = frozenset(
    {
        ("title",),
        ("question", "text"),
        ("question", "treatment"),
        ("minutes", "one_run"),
        ("minutes", "whole"),
        ("minutes", "parts"),
        *(("minutes", "parts", name) for name in MinuteParts.model_fields),
        ("people", "alone"),
        ("people", "two"),
        ("people", "three"),
        ("practice_run",),
        ("note",),
    }
)
_PATCH_LISTS = frozenset({"threats", "cautions", "figures"})
_PATCH_OF_ENDPOINT = frozenset({"title", "reason"})
_DEFINITION = ("kind", "at", "start", "end", "threshold", "fit_from")


@dataclass(frozen=True)
class Bump:
    """What a difference asks of the version's number.

    Attributes
    ----------
    level : ``"major"``, ``"minor"`` or ``"patch"``.
    pointer : place in the newer version of what asks for it; empty for the method's text.
    why : what differs there, and what that means.
    """

    level: str
    pointer: str
    why: str


def bump_given(older: str, newer: str) -> str:
    """The part of the number that grew."""
    before, now = version_order(older), version_order(newer)
    return "major" if before[0] != now[0] else "minor" if before[1] != now[1] else "patch"


def bump_needed(older: LoadedProtocol, newer: LoadedProtocol) -> Bump:
    """The least that must grow, and the first thing that asks for it; where only wording differs, a patch."""
    found = [*_fields(older.record, newer.record), *_steps(older, newer)]
    wording = Bump("patch", "", Reason("protocols.only_wording_differs"))
    return max(found, key=lambda bump: LEVELS.index(bump.level), default=wording)  # the first of the gravest


def all_bumps(older: LoadedProtocol, newer: LoadedProtocol) -> tuple[Bump, ...]:
    """Everything that asks for more than a patch, in the order of the file."""
    return tuple(bump for bump in (*_fields(older.record, newer.record), *_steps(older, newer)) if bump.level != "patch")


def may_go_further(older: LoadedProtocol, newer: LoadedProtocol) -> bool:
    """Whether words changed that may mean another method: then a larger part may grow than the fields ask for."""
    found = field_differences(older.record, newer.record)
    told = (d for d in found if isinstance(d.after or d.before, str) and _bump(d, older.record, newer.record).level == "minor")
    return any(told) or bool(steps_touched(older, newer))


def more_than_wording(older: LoadedProtocol, newer: LoadedProtocol) -> bool:
    """Whether a step, or a field that is not mere wording about the whole, differs; cautions, threats and drawings count."""
    found = field_differences(older.record, newer.record)
    return bool(steps_touched(older, newer)) or any(difference.names not in _PATCH for difference in found)


def _fields(older: Protocol, newer: Protocol) -> Iterator[Bump]:
    for difference in field_differences(older, newer):
        yield _bump(difference, older, newer)


def _bump(found: FieldDifference, older: Protocol, newer: Protocol) -> Bump:
    what, names = _said(found), found.names
    if names in _MAJOR:
        return Bump("major", found.pointer, f"{what}: {_MAJOR[names]}")
    if names[:2] == ("question", "levels"):
        if _compared(older) == _compared(newer):  # a sentence was worded otherwise
            return Bump("patch", found.pointer, what)
        return Bump("major", found.pointer, f"{what}: {Reason('protocols.other_levels')}")
    if names[0] == "endpoints":
        return Bump(*_endpoint(found, older, what))
    if names[:2] == ("work", "checkpoints"):
        return _checkpoint(found, older, newer, what)
    if names == ("reading", "repeats") and (newer.reading.dulls or newer.reading.kind == "pass/fail"):
        why = Reason("protocols.reading_dulls") if newer.reading.dulls else Reason("protocols.pass_of_all")
        return Bump("major", found.pointer, f"{what}: {why}")
    level = "patch" if names in _PATCH or names[0] in _PATCH_LISTS else "minor"
    return Bump(level, found.pointer, what)


def _compared(protocol: Protocol) -> dict[str, LevelRule | None]:
    """The levels that a protocol compares, by word, with the rule of each."""
    return {level.word: level.rule for level in protocol.question.levels}


def _endpoint(found: FieldDifference, older: Protocol, what: str) -> tuple[str, str, str]:
    """An endpoint that is gone or computed otherwise asks for MAJOR; a new one, and what is worthwhile, for MINOR."""
    name = found.names[1] if len(found.names) > 1 else ""
    if len(found.names) == 2 and found.after is None:
        return "major", "/endpoints", Reason("protocols.endpoint_gone", name=name, version=older.version)
    if len(found.names) > 2 and found.names[2] in _DEFINITION:
        return "major", found.pointer, Reason("protocols.computed_otherwise", what=what)
    return ("patch" if found.names[-1] in _PATCH_OF_ENDPOINT else "minor"), found.pointer, what


def _checkpoint(found: FieldDifference, older: Protocol, newer: Protocol, what: str) -> Bump:
    place = pointer("work", "checkpoints")
    if newer.reading.dulls:
        return Bump("major", place, Reason("protocols.reading_dulls_there", what=what))
    if _first(older) != _first(newer):
        return Bump("major", place, Reason("protocols.first_checkpoint", what=what))
    asking = [rule.id for rule in older.endpoints if found.after is None and found.before in _amounts(rule)]
    if asking:
        return Bump("major", place, Reason("protocols.endpoint_read_there", what=what, asking=asking[0]))
    return Bump("minor", found.pointer, what)


def _first(protocol: Protocol) -> float:
    return min((point for point in protocol.work.checkpoints if point > 0), default=0.0)


def _amounts(rule: EndpointRule) -> tuple[float | None, ...]:
    return rule.at, rule.start, rule.end


def _said(found: FieldDifference) -> str:
    """What differs, in words that fit a finding."""
    place = ", ".join(found.names)
    if found.pointer.rpartition("/")[2].isdigit():  # an entry of a list
        return f"{place} is {'new' if found.before is None else 'gone'}"
    return Reason("protocols.differs", place=place, after=_shown(found.after), before=_shown(found.before))


def _shown(value: object) -> str:
    text = "null" if value is None else f"{value:g}" if isinstance(value, float) else str(value)
    return repr(text if len(text) <= 60 else f"{text[:60]}…") if isinstance(value, str) else text


def _steps(older: LoadedProtocol, newer: LoadedProtocol) -> Iterator[Bump]:
    before, after = steps_of(older.body), steps_of(newer.body)
    for step in after:
        if step not in before:
            yield Bump("minor", "", Reason("protocols.step_new", step=step))
    for step in before:
        if step not in after:
            yield Bump("minor", "", Reason("protocols.step_gone", step=step))
