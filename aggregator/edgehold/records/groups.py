"""Who hangs together through a chain of pairs."""

from __future__ import annotations

from collections.abc import Iterable


def groups_of(pairs: Iterable[tuple[str, str]]) -> list[frozenset[str]]:
    """Names that hang together, each group once, by the first of its names."""
    group_of: dict[str, frozenset[str]] = {}
    for one, other in sorted(pairs):
        joined = group_of.get(one, frozenset({one})) | group_of.get(other, frozenset({other}))
        group_of |= dict.fromkeys(joined, joined)
    return sorted(set(group_of.values()), key=min)
