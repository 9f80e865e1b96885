"""What differs between two versions of a protocol: its fields, its text by line, its steps.

What a difference asks of the version's number is `bumps`; this module says only what differs.
"""

from __future__ import annotations

import difflib
import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from edgehold.records.canonical import LoadedProtocol
from edgehold.records.model.protocol import Protocol
from edgehold.records.problem import pointer

from .protocol_form import step_texts

CONTEXT_LINES = 3
MOST_COMPARED_LINES = 5_000  # of either text; the search for what they share takes the square of their number
_ABOUT_THE_FILE = frozenset({"format", "id", "version", "changes"})
_NAMED_BY = ("id", "item", "file", "text")  # what tells the entries of one list apart
_FIGURE = re.compile(r"figures/[a-z0-9-]+\.svg")


@dataclass(frozen=True)
class FieldDifference:
    """One field of the front matter that differs.

    Attributes
    ----------
    pointer : JSON pointer of the value in the newer version; of one that is gone, in the older.
    names : the same place for a reader: field names, and the name of an entry in place of its number.
    before, after : plain values (text, number, boolean, tuple or mapping); None where there is none.
    """

    pointer: str
    names: tuple[str, ...]
    before: object
    after: object


@dataclass(frozen=True)
class TextDifference:
    """Successive lines of the method's text.

    Attributes
    ----------
    kind : ``"same"``, ``"removed"`` or ``"added"``.
    lines : the lines, without line ends; empty where a long unchanged stretch is folded.
    folded : how many unchanged lines are not shown; 0 otherwise.
    """

    kind: str
    lines: tuple[str, ...]
    folded: int = 0


def field_differences(older: Protocol, newer: Protocol) -> tuple[FieldDifference, ...]:
    """The front matter of two versions, field by field in the order of the newer.

    Entries of a list are matched by what names them (an endpoint's id, a need's item, a drawing's file, a threat's text), other lists by
    their values. Format, id, version and the sentence on what is new are left out: they are about the file.
    """
    before, after = older.model_dump(), newer.model_dump()
    return tuple(
        found for name in after if name not in _ABOUT_THE_FILE for found in _differences((name,), (name,), before[name], after[name])
    )


Path = tuple[str | int, ...]


def _differences(path: Path, names: tuple[str, ...], before: object, after: object) -> Iterator[FieldDifference]:
    if before == after:
        return
    if isinstance(before, Mapping) and isinstance(after, Mapping):
        for name in after:
            yield from _differences((*path, name), (*names, name), before[name], after[name])
    elif isinstance(before, tuple) and isinstance(after, tuple):
        yield from _of_lists(path, names, before, after)
    else:
        yield FieldDifference(pointer(*path), names, before, after)


def _of_lists(path: Path, names: tuple[str, ...], before: tuple[object, ...], after: tuple[object, ...]) -> Iterator[FieldDifference]:
    older, newer = _by_name(before), _by_name(after)
    if older.keys() == newer.keys() and all(older[name][1] == newer[name][1] for name in newer):
        yield FieldDifference(pointer(*path), names, before, after)  # only their order differs
        return
    for name, (i, value) in older.items():
        if name not in newer:
            yield FieldDifference(pointer(*path, i), (*names, name), value, None)
    for name, (i, value) in newer.items():
        if name not in older:
            yield FieldDifference(pointer(*path, i), (*names, name), None, value)
        else:
            yield from _differences((*path, i), (*names, name), older[name][1], value)


def _by_name(entries: Sequence[object]) -> dict[str, tuple[int, object]]:
    """Entries with their places, by what names them; of two alike the last counts."""
    return {_name(entry): (i, entry) for i, entry in enumerate(entries)}


def _name(entry: object) -> str:
    if isinstance(entry, Mapping):
        return str(next(entry[key] for key in _NAMED_BY if key in entry))
    return f"{entry:g}" if isinstance(entry, float) else str(entry)


def text_differences(older_body: str, newer_body: str) -> tuple[TextDifference, ...]:
    """The method's text, line by line; unchanged stretches keep three lines beside a change, and the rest is counted."""
    older, newer = older_body.strip("\n").splitlines(), newer_body.strip("\n").splitlines()
    if max(len(older), len(newer)) > MOST_COMPARED_LINES:
        return TextDifference("removed", tuple(older)), TextDifference("added", tuple(newer))
    found: list[TextDifference] = []
    codes = difflib.SequenceMatcher(a=older, b=newer).get_opcodes()
    for number, (what, a, a_end, b, b_end) in enumerate(codes):
        if what == "equal":
            found += _folded(newer[b:b_end], number > 0, number < len(codes) - 1)
            continue
        if a < a_end:
            found.append(TextDifference("removed", tuple(older[a:a_end])))
        if b < b_end:
            found.append(TextDifference("added", tuple(newer[b:b_end])))
    return tuple(found)


def _folded(lines: list[str], after_change: bool, before_change: bool) -> Iterator[TextDifference]:
    head, tail = CONTEXT_LINES * after_change, CONTEXT_LINES * before_change
    if len(lines) <= head + tail + 1:  # a count takes a line itself
        yield TextDifference("same", tuple(lines))
        return
    if head:
        yield TextDifference("same", tuple(lines[:head]))
    yield TextDifference("same", (), len(lines) - head - tail)
    if tail:
        yield TextDifference("same", tuple(lines[-tail:]))


def steps_touched(older: LoadedProtocol, newer: LoadedProtocol) -> frozenset[str]:
    """Ids of the steps that appeared or vanished, or whose words, drawings or threats differ; how lines are broken does not count."""
    before, after = _steps(older), _steps(newer)
    return frozenset(step for step in before.keys() | after.keys() if before.get(step) != after.get(step))


def _steps(protocol: LoadedProtocol) -> dict[str, tuple[object, ...]]:
    """All that a version says of each step."""
    drawn = {figure.file: figure.sha256 for figure in protocol.record.figures}
    return {
        step: (
            text.split(),
            [drawn.get(file) for file in _FIGURE.findall(text)],
            sorted((threat.threat, threat.text) for threat in protocol.record.threats if step in threat.steps),
        )
        for step, text in step_texts(protocol.body).items()
    }
