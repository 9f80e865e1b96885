"""The text of a method against that of the version before, line by line, with the step that each line belongs to."""

from __future__ import annotations

import itertools
import re
from collections.abc import Iterator
from typing import Literal

from edgehold.records.rules.differences import TextDifference, text_differences
from edgehold.records.rules.protocol_form import step_texts
from edgehold.results.model.text_changes import TextChangeResult

from .fields import one_of

_HEADING_MARKS = re.compile(r"^#{1,6}[ \t]+")
KINDS: tuple[Literal["same", "removed", "added"], ...] = ("same", "removed", "added")
_BETWEEN = " \t·:–—"


def step_titles(body: str) -> dict[str, str]:
    """Headings of the steps by id, in their order, without the id."""
    headings = {step: _HEADING_MARKS.sub("", text.splitlines()[0]) for step, text in step_texts(body).items()}
    return {step: heading.removeprefix(step).strip(_BETWEEN) for step, heading in headings.items()}


def text_changes(older: str, newer: str) -> tuple[TextChangeResult, ...]:
    """What differs, in pieces of which each lies within one step: of the newer version, or of the older for lines that went."""
    before, after = _steps_by_line(older), _steps_by_line(newer)
    found: list[TextChangeResult] = []
    a, b = 0, 0
    for piece in text_differences(older, newer):
        length = piece.folded or len(piece.lines)
        if piece.folded:  # belongs to what stands before it; nothing before it: to what comes after
            step = found[-1].step if found else "".join(after[length : length + 1])
            found.append(TextChangeResult(step=step, kind="same", lines=(), folded=length))
        else:
            found += _within_steps(piece, before[a : a + length] if piece.kind == "removed" else after[b : b + length])
        a += length * (piece.kind != "added")
        b += length * (piece.kind != "removed")
    return tuple(found)


def _within_steps(piece: TextDifference, steps: list[str]) -> Iterator[TextChangeResult]:
    for step, lines in itertools.groupby(zip(steps, piece.lines, strict=True), key=lambda pair: pair[0]):
        yield TextChangeResult(step=step, kind=one_of(piece.kind, KINDS), lines=tuple(line for _, line in lines), folded=0)


def _steps_by_line(body: str) -> list[str]:
    """The step that each line belongs to, of the lines that `text_differences` compares."""
    lines = body.strip("\n").splitlines()
    found = [""] * len(lines)
    place = 0
    for step, text in step_texts(body).items():
        height = len(text.splitlines())
        place = next(n for n in range(place, len(lines)) if lines[n] == text.splitlines()[0])
        found[place : place + height] = [step] * len(found[place : place + height])
    return found
