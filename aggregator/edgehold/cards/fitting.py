"""A text of lines that must not be longer than a post may be."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

LONGEST = 1000  # characters (code points) of a card
SHORTEST = 56  # characters to which a line is cut before a whole one goes
CUT = "…"
HASH = 16  # characters of a SHA-256 that a card shows


@dataclass(frozen=True)
class Line:
    """One line of a card.

    Attributes
    ----------
    text : what it says.
    rank : 0 for what a card must hold; of the others those with the highest number go first where there is no room.
    prose : whether it may be cut at a word, as a description may and an address may not.
    """

    text: str
    rank: int = 0
    prose: bool = False


def fitted(lines: Sequence[Line], longest: int = LONGEST) -> str:
    """The lines in so many characters: first the longest descriptions are cut at a word, then whole lines go.

    Parameters
    ----------
    lines : in their order; empty ones are passed over.
    longest : characters that the text may have.
    """
    kept = [line for line in lines if line.text]
    while (over := _length(kept) - longest) > 0:
        long = [i for i, line in enumerate(kept) if line.prose and len(line.text) > SHORTEST]
        last = [i for i, line in enumerate(kept) if line.rank]
        if long:
            _cut(kept, max(long, key=lambda i: len(kept[i].text)), 1)
        elif last:
            del kept[max(last, key=lambda i: (kept[i].rank, i))]
        elif max(len(line.text) for line in kept) > len(CUT):
            _cut(kept, max(range(len(kept)), key=lambda i: len(kept[i].text)), over)
        else:
            del kept[-1]
    return "\n".join(line.text for line in kept)


def _length(lines: Sequence[Line]) -> int:
    return sum(len(line.text) + 1 for line in lines) - 1


def _cut(lines: list[Line], at: int, over: int) -> None:
    """Take words off the end of a line until it is so many characters shorter, or as many letters where it is one word."""
    line = lines[at]
    room = max(0, len(line.text) - over - len(CUT))
    head = line.text.removesuffix(CUT)[:room]
    whole = head.rpartition(" ")[0].rstrip(" ,;:.") if " " in head else head
    lines[at] = Line((whole or head) + CUT, line.rank, line.prose)
