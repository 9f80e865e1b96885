"""The word that somebody may have meant, by a rule simple enough to be the same in another language."""

from __future__ import annotations

from collections.abc import Iterable

LONGEST = 60  # characters of a text that are compared


def nearest(text: str, words: Iterable[str]) -> str:
    """The first of the words that the fewest changes make the text of, at most one for every three signs of the word; or nothing.

    A change puts one sign in, takes one out or exchanges one for another (Levenshtein 1966). ``site/pages/assets/form/cells.js``
    counts the same.
    """
    counted = [(_changes(text[:LONGEST], word), word) for word in words]
    return min((pair for pair in counted if 3 * pair[0] <= len(pair[1])), key=lambda pair: pair[0], default=(0, ""))[1]


def _changes(text: str, word: str) -> int:
    row = list(range(len(word) + 1))
    for n, sign in enumerate(text, 1):
        before, row = row, [n]
        for m, wanted in enumerate(word):
            row.append(min(before[m + 1] + 1, row[m] + 1, before[m] + (sign != wanted)))
    return row[-1]
