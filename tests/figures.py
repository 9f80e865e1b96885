"""Which published figures differ between two builds, such as with the libraries of the lock file and with the newest ones.

Run from the repository's root::

    python -m tests.figures BEFORE/results.json AFTER/results.json

prints each figure that moved by more than a millionth, and ends with 1 if any did.
"""

import json
import math
import sys
from collections.abc import Iterator
from pathlib import Path

CLOSE = 1e-6
ASIDE = {"provenance"}  # versions and hashes differ where nothing moved


def moved(before: object, after: object, place: str = "") -> Iterator[tuple[str, object, object]]:
    """Place, figure before and figure after, for numbers that differ by more than a millionth and for anything else that differs."""
    if isinstance(before, dict) and isinstance(after, dict):
        for key in sorted(before.keys() | after.keys()):
            if place or key not in ASIDE:
                yield from moved(before.get(key), after.get(key), f"{place}/{key}")
    elif isinstance(before, list) and isinstance(after, list) and len(before) == len(after):
        for n, (one, other) in enumerate(zip(before, after, strict=True)):
            yield from moved(one, other, f"{place}/{n}")
    elif isinstance(before, float | int) and isinstance(after, float | int):
        if not math.isclose(before, after, rel_tol=CLOSE, abs_tol=CLOSE):
            yield place, before, after
    elif before != after:
        yield place, before, after


def main(before: str, after: str) -> int:
    """Compare two files."""
    found = list(moved(*(json.loads(Path(path).read_text(encoding="utf-8")) for path in (before, after))))
    for place, one, other in found:
        print(f"{place}: {one} before, {other} after")
    print(f"{len(found)} published figures differ" if found else "every published figure is the same")
    return 1 if found else 0


if __name__ == "__main__":
    sys.exit(main(*sys.argv[1:]))
