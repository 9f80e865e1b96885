"""Texts put together: names in a list, a capital in front, one sentence behind the other."""

from __future__ import annotations

from collections.abc import Sequence

from .reason import Reason


def listed(names: Sequence[str]) -> str:
    """One name, or several as people list them.

    Examples
    --------
    >>> str(listed(["a"])), str(listed(["a", "b", "c"]))
    ('a', 'a, b and c')
    """
    return names[0] if len(names) == 1 else Reason("lists.names", rest=", ".join(names[:-1]), last=names[-1])


def capital(text: str) -> str:
    """A text with a capital in front."""
    return text[:1].upper() + text[1:]


def small(text: str) -> str:
    """A text without a capital in front."""
    return text[:1].lower() + text[1:]


def together(*sentences: str) -> str:
    """Sentences behind each other, empty ones left out; one alone stays the reason it is."""
    told = [sentence for sentence in sentences if sentence]
    return told[0] if len(told) == 1 else " ".join(told)
