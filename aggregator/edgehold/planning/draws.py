"""Whole numbers drawn alike on every machine: permutations, choices and codes from a seed."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import TypeVar

import numpy as np

from edgehold.endpoints.draws import key_of, philox

WORDS = 2**32
BATCH = 64  # counters asked for at a time

T = TypeVar("T")


class Draws:
    """A series of draws that its names fix: the words of Philox4x32-10 (Salmon et al. 2011) in counter order.

    Parameters
    ----------
    names : what the series is for, such as a seed and a purpose; other names give another series.
    """

    def __init__(self, *names: str) -> None:
        self._words = _words(*names)

    def below(self, n: int) -> int:
        """A whole number from 0 to n − 1, all equally likely: words beyond the last whole multiple of n are passed over."""
        last = WORDS - WORDS % n
        return next(word for word in self._words if word < last) % n

    def shuffled(self, items: Sequence[T]) -> list[T]:
        """The items in random order (Durstenfeld 1964, Algorithm 235, Communications of the ACM 7:420)."""
        mixed = list(items)
        for i in range(len(mixed) - 1, 0, -1):
            j = self.below(i + 1)
            mixed[i], mixed[j] = mixed[j], mixed[i]
        return mixed


def _words(*names: str) -> Iterator[int]:
    key, at = key_of(*names), 0
    while True:
        counters = np.zeros((BATCH, 4), dtype=np.uint64)
        counters[:, 0] = np.arange(at, at + BATCH)
        yield from map(int, philox(counters, key).reshape(-1))
        at += BATCH
