"""A problem inside one file, before its line is known."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Problem:
    """Something wrong, or worth a look, in a file.

    Attributes
    ----------
    pointer : JSON pointer (RFC 6901) of the value.
    code : one of ``edgehold.records.codes``, which holds severity and usual cure.
    message : what is wrong, naming what was found.
    cure : what would be right here; empty: the usual cure of the code.
    line : 1-based; 0: look it up by the pointer.
    """

    pointer: str
    code: str
    message: str
    cure: str = ""
    line: int = 0


def pointer(*parts: str | int) -> str:
    """JSON pointer of the value at ``parts`` (RFC 6901: ~ becomes ~0, / becomes ~1)."""
    text = "/".join(map(str, ("", *parts)))
    if "~" not in text and text.count("/") == len(parts):
        return text
    return "".join(["/" + str(part).replace("~", "~0").replace("/", "~1") for part in parts])


def shown(value: object, longest: int = 60) -> str:
    """A value as a message may show it: short, on one line."""
    text = repr(value) if isinstance(value, str) else f"{value:.12g}" if isinstance(value, float) else str(value)
    return text if len(text) <= longest else f"{text[:longest]}…"
