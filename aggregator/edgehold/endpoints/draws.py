"""Normal draws that are the same on every machine and in every program, from names alone.

A counter-based source has no state to carry along: word number i of a key is the same whoever asks and in whatever order.
The page that answers in the browser draws the same numbers from the same names (site/pages/assets/form/draws.js).

The source is Philox4x32 with ten rounds (Salmon, Moraes, Dror & Shaw 2011, Parallel random numbers: as easy as 1, 2, 3,
Proceedings of SC11, section 4): 32-bit integers throughout, which any language has. A word x becomes the uniform
(x + ½)/2³², never 0 or 1, and that a normal deviate by inversion.
"""

from __future__ import annotations

import hashlib
from collections.abc import Sequence

import numpy as np
import numpy.typing as npt
from scipy.special import ndtri

from edgehold.numerics.arrays import Array

ROUNDS = 10
MULTIPLIERS = (np.uint64(0xD2511F53), np.uint64(0xCD9E8D57))
KEY_STEPS = (np.uint64(0x9E3779B9), np.uint64(0xBB67AE85))  # fractional parts of the golden ratio and of √3, added to the key every round
LOW = np.uint64(0xFFFFFFFF)
HALF = np.uint64(32)

Key = tuple[int, int]
Words = npt.NDArray[np.uint64]


def key_of(*names: str) -> Key:
    """The key of a series of draws: the first two big-endian 32-bit words of SHA-256 (FIPS 180-4) over the names, one a line."""
    digest = hashlib.sha256("\n".join(names).encode()).digest()
    return int.from_bytes(digest[:4], "big"), int.from_bytes(digest[4:8], "big")


def normal_draws(key: Key, rows: int, columns: int) -> Array:
    """Standard normal deviates, (rows, columns), words taken in row order."""
    drawn: Array = normal_draws_of([key], rows, columns)[0]
    return drawn


def normal_draws_of(keys: Sequence[Key], rows: int, columns: int) -> Array:
    """The same of several keys at once, (keys, rows, columns)."""
    needed = rows * columns
    counters = np.zeros((-(-needed // 4), 4), dtype=np.uint64)
    counters[:, 0] = np.arange(len(counters))
    words = _philox(counters, keys).reshape(len(keys), -1)[:, :needed]
    drawn: Array = ndtri((words + 0.5) / 2.0**32)
    return drawn.reshape(len(keys), rows, columns)


def philox(counters: Words, key: Key) -> Words:
    """Philox4x32-10 of each counter.

    Parameters
    ----------
    counters : (m, 4) words below 2³².
    key : two words below 2³².

    Returns
    -------
    (m, 4) words below 2³², as 64-bit integers.
    """
    words: Words = _philox(np.asarray(counters, dtype=np.uint64), [key])[0]
    return words


def _philox(counters: Words, keys: Sequence[Key]) -> Words:
    """(keys, m, 4) words of the counters by each key."""
    a, b, c, d = np.repeat(np.ascontiguousarray(counters.T)[:, None], len(keys), axis=1)
    first, second = np.array(keys, dtype=np.uint64).T[:, :, None]
    for _ in range(ROUNDS):
        left, right = MULTIPLIERS[0] * a, MULTIPLIERS[1] * c
        a, b, c, d = (right >> HALF) ^ b ^ first, right & LOW, (left >> HALF) ^ d ^ second, left & LOW
        first, second = (first + KEY_STEPS[0]) & LOW, (second + KEY_STEPS[1]) & LOW
    return np.stack([a, b, c, d], axis=-1)
