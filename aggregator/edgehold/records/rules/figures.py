"""Drawings beside a protocol: they exist, are the hashed ones, and hold nothing but drawing."""

from __future__ import annotations

import re
from collections.abc import Iterator

from edgehold.records.model.protocol import Protocol
from edgehold.records.problem import Problem, pointer
from edgehold.words import Reason

_ACTIVE = re.compile(
    rb"<\s*(?:script|foreignobject|iframe|object|embed|image|use|a|animate|set|handler)\b"
    rb"|<!(?:doctype|entity)|<\?xml-stylesheet|\bon[a-z]+\s*=|javascript:|\bhref\s*=|url\s*\(|@import",
    re.IGNORECASE,
)


def figure_problems(record: Protocol, figures: dict[str, str]) -> Iterator[Problem]:
    """Figures that a version names; ``figures`` are hashes by path beside the protocol file."""
    for i, figure in enumerate(record.figures):
        actual = figures.get(figure.file)
        if actual is None:
            yield Problem(pointer("figures", i, "file"), "missing-figure", Reason("protocols.there_is_no", file=figure.file))
        elif actual != figure.sha256:
            yield Problem(pointer("figures", i, "sha256"), "wrong-hash", Reason("protocols.hash", file=figure.file, actual=actual))


def drawing_problems(data: bytes) -> Iterator[Problem]:
    """A drawing that could do more than be looked at."""
    if found := _ACTIVE.search(data):
        line = data.count(b"\n", 0, found.start()) + 1
        what = found[0].decode("ascii", "replace").strip()
        yield Problem("", "active-figure", Reason("protocols.drawing_holds", what=what), line=line)
