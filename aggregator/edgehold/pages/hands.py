"""What the hands need of a method: of each step the sentences that its text stresses, its drawings, and the tables that its settings make.

A method is some thousands of words long; nobody has it before their eyes while they cut. Its author marks in bold what must not be
missed, so that a sentence with bold letters in it belongs to the hands. Nothing is written anew here.
"""

from __future__ import annotations

import functools
import json
import re
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass

from markupsafe import Markup
from pydantic import ValidationError

from edgehold.records.model.protocol import Protocol
from edgehold.records.rules.settings_tables import TABLES, head_of
from edgehold.results.model.versions import ProtocolResult

from . import safe_text

_STEP = re.compile(r"^### (s[0-9]{1,3}(?:-[a-z0-9-]{1,40})?)[ \t]*[·:–—]?[ \t]*(.*)$", re.MULTILINE)
_STEP_IDS = re.compile(r"s[0-9]{1,3}-[a-z0-9-]{1,40}(?:, s[0-9]{1,3}-[a-z0-9-]{1,40})*")
_NEXT_PART = re.compile(r"^## ", re.MULTILINE)
_ITEM = re.compile(r"\n[ \t]*\n|\n(?=[ \t]*[0-9]+\. )")
_NUMBER = re.compile(r"^[0-9]+\. ")
_BETWEEN_SENTENCES = re.compile(r"(?:(?<=[.!?])|(?<=[.!?]\*\*)) (?=[A-Z0-9]|\*\*[A-Z0-9])")
_FIGURE = re.compile(r"!\[[^\]\n]*\]\((figures/[a-z0-9-]+\.svg)\)")
_VIEW_BOX = re.compile(r'viewBox="[-0-9.]+ [-0-9.]+ ([0-9.]+) ([0-9.]+)"')
_LINK = re.compile(r"\[([^\]\n]*)\]\([^)\n]*\)")
_WORD = re.compile(r"\w+")
_READ_A_MINUTE = 200  # words; common practice for a text of instructions
_SHARPENERS = re.compile(r"-(?:flatten|sharpen|code)\b")
_SAFETY = "s1-safe-first"
"""The step about a safe bench: its rules stand among the cautions, in full, wherever anything of this module is shown."""


@dataclass(frozen=True)
class HandsStep:
    """One step: its id and heading, the sentences that its text stresses, and its drawings."""

    id: str
    title: str
    says: tuple[Markup, ...]
    drawings: tuple[Markup, ...]

    @property
    def number(self) -> str:
        """The short name that texts point at it with, such as s3."""
        return self.id.split("-")[0]

    @property
    def for_sharpeners(self) -> bool:
        """Whether it is done by those who sharpen and code: its id says flatten, sharpen or code."""
        return _SHARPENERS.search(self.id) is not None


@dataclass(frozen=True)
class Hands:
    """What the hands need of one version.

    Attributes
    ----------
    steps : those that stress something or have a drawing, in their order.
    drawings : those that belong to no step.
    tables : head and rows by name (needs, endpoints, stopping, threats, minutes); none where the settings are not whole.
    words : length of the method's full text.
    """

    steps: tuple[HandsStep, ...]
    drawings: tuple[Markup, ...]
    tables: Mapping[str, tuple[tuple[str, ...], tuple[tuple[str, ...], ...]]]
    words: int

    @property
    def at_the_table(self) -> tuple[HandsStep, ...]:
        """The steps of whoever cuts and reads."""
        return tuple(step for step in self.steps if not step.for_sharpeners)

    @property
    def for_sharpeners(self) -> tuple[HandsStep, ...]:
        """The steps of those who sharpen and code."""
        return tuple(step for step in self.steps if step.for_sharpeners)

    @property
    def minutes(self) -> int:
        """How long it takes to read the full text, in whole minutes."""
        return max(1, round(self.words / _READ_A_MINUTE))


def hands_of(protocol: Protocol, body: str, figures: Mapping[str, str], prefix: str) -> Hands:
    """What the hands need of a protocol.

    Parameters
    ----------
    protocol, body : the settings, and the method's text in Markdown; without a text there are tables and drawings alone.
    figures : drawings as SVG by path beside the protocol; those missing are left out.
    prefix : keeps ids inside the drawings apart from others on the page.
    """
    drawn = [(f.file, figures[f.file], f.caption) for f in protocol.figures if f.file in figures]
    return _hands(protocol, body, drawn, prefix)


def hands_of_result(version: ProtocolResult, prefix: str) -> Hands:
    """The same for a version as published; of settings that are not whole there are no tables."""
    return _hands(settings_of(version), version.body, [(f.file, f.svg, f.caption) for f in version.figures], prefix)


def settings_of(version: ProtocolResult) -> Protocol | None:
    """The settings of a version as published; None where they are not whole."""
    return _record(json.dumps(version.front))


@functools.lru_cache(maxsize=64)
def _record(front: str) -> Protocol | None:
    try:
        return Protocol.model_validate_json(front)
    except ValidationError:
        return None


def _hands(protocol: Protocol | None, body: str, figures: Iterable[tuple[str, str, str]], prefix: str) -> Hands:
    drawn = {file: _figure(svg, caption, f"{prefix}{number}-") for number, (file, svg, caption) in enumerate(figures, 1)}
    steps = tuple(step for step in _steps(body, drawn) if step.says or step.drawings)
    placed = {drawing for step in steps for drawing in step.drawings}
    return Hands(
        steps=steps,
        drawings=tuple(drawing for drawing in drawn.values() if drawing not in placed),
        tables={} if protocol is None else _tables(protocol),
        words=len(_WORD.findall(body)),
    )


def _tables(protocol: Protocol) -> dict[str, tuple[tuple[str, ...], tuple[tuple[str, ...], ...]]]:
    """Every table that the settings make; that of levels only where there are any."""
    made = {name: tuple(map(_row, rows(protocol))) for name, rows in TABLES.items()}
    return {name: (head_of(name), rows) for name, rows in made.items() if rows or name != "levels"}


def _row(cells: tuple[str, ...]) -> tuple[str, ...]:
    return tuple(map(_short, cells))


def _short(cell: str) -> str:
    """A cell with steps by their short names: their headings stand beside it."""
    return ", ".join(step.split("-")[0] for step in cell.split(", ")) if _STEP_IDS.fullmatch(cell) else cell.replace("`", "")


def _figure(svg: str, caption: str, prefix: str) -> Markup:
    drawn = safe_text.drawing(svg, prefix, caption)
    shape = "drawing tall" if _tall(svg) else "drawing"
    return Markup(f'<figure class="{shape}">{drawn}<figcaption>{safe_text.plain(caption)}</figcaption></figure>')


def _tall(svg: str) -> bool:
    """Whether a drawing is more than half as high again as it is wide: on paper it is given a little less width."""
    size = _VIEW_BOX.search(svg)
    return size is not None and float(size[2]) > 1.5 * float(size[1])


def _steps(body: str, drawn: Mapping[str, Markup]) -> Iterator[HandsStep]:
    parts, shown_steps = _STEP.split(body)[1:], safe_text.headings(body)
    for name, title, text in zip(parts[::3], parts[1::3], parts[2::3], strict=True):
        if name != _SAFETY and name in shown_steps:
            own = _NEXT_PART.split(text)[0]
            shown = _distinct(drawn[file] for file in _FIGURE.findall(own) if file in drawn)
            yield HandsStep(name, title, tuple(map(_inline, stressed(own))), shown)


def _distinct(drawings: Iterable[Markup]) -> tuple[Markup, ...]:
    return tuple(dict.fromkeys(drawings))


def stressed(text: str) -> Iterator[str]:
    """The sentences of a step that hold bold letters, those of one item of a list together; tables and drawings are left aside."""
    for item in _ITEM.split(text):
        line = _NUMBER.sub("", " ".join(item.split()))
        if line.startswith(("|", "![", "{table")):
            continue
        sentences = _BETWEEN_SENTENCES.split(line)
        if any(sentence.count("**") % 2 for sentence in sentences):  # bold letters go on into the next sentence
            sentences = [line]
        if kept := [sentence for sentence in sentences if "**" in sentence]:
            yield " ".join(kept)


def _inline(text: str) -> Markup:
    """One line of Markdown with its bold letters, links and code as their words, steps by their short names; all else is plain text."""
    pieces = [piece.replace("*", "") for piece in _LINK.sub(lambda link: _short(link[1]), text).replace("`", "").split("**")]
    made = [f"<strong>{_plain(piece)}</strong>" if n % 2 else _plain(piece) for n, piece in enumerate(pieces)]
    return Markup("".join(made))


def _plain(piece: str) -> Markup:
    """Plain text that keeps the spaces at its ends."""
    left, right = " " * piece.startswith(" "), " " * (piece.endswith(" ") and bool(piece.strip()))
    return Markup(left) + safe_text.plain(piece) + Markup(right)
