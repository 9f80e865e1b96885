"""Six ways of inventing a file, and honest ones: about how many of each the screens ask. How they are drawn stands in tests/simulation."""

from __future__ import annotations

import sys
from collections import Counter
from collections.abc import Iterable, Iterator
from pathlib import Path

SIMULATION = Path(__file__).parents[1] / "simulation"
HONEST = "honest"


def asked(seed: int) -> Counter[tuple[str, bool]]:
    """How many files of one seed were asked about or not, by how they came to be."""
    if str(SIMULATION) not in sys.path:
        sys.path.insert(0, str(SIMULATION))
    from screens import found

    return Counter((way, bool(screens)) for way, screens in found(seed))


def table(counted: Iterable[Counter[tuple[str, bool]]]) -> Iterator[str]:
    """The row group: of each kind of file, how many and how many were asked about."""
    total: Counter[tuple[str, bool]] = sum(counted, Counter())
    yield "| files | how many | asked about |"
    yield "|---|---|---|"
    for way in sorted({way for way, _ in total}, key=lambda way: (way != HONEST, way)):
        of = total[way, True] + total[way, False]
        yield f"| {way} | {of} | {100 * total[way, True] / of:.1f} % |"
