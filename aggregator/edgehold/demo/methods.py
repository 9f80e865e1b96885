"""What the generator must know of the protocols; a test holds it against the files in ``protocols/``."""

from __future__ import annotations

from dataclasses import dataclass, replace

ROPE = "rope, natural fibre, three-strand, 9.5 mm"
CARD = "card, corrugated, single wall"
LADDER = (0.0, 5.0, 10.0, 20.0, 40.0, 80.0, 160.0)


@dataclass(frozen=True)
class Method:
    """One version of one protocol, as far as a simulated run depends on it.

    Attributes
    ----------
    protocol, version : which one.
    medium : name of the medium.
    checkpoints : in the protocol's work unit, the first one 0.
    early, late : checkpoints of the level endpoints; None where there are none.
    threshold_n : force that ends a life, in newtons; None for pass/fail.
    window : work between which keenness is averaged, or None.
    units : units of force that a run may use; empty for pass/fail.
    thread_ln : shift of every force on the ln scale that the thread of this version brings.
    thread_noise : factor on the spread of single readings that the thread of this version brings.
    repeats : values of one reading.
    halves : whether heel and tip half of one edge are cut in turn.
    blades : whether two blades are.
    work_scale : how much more one unit of work dulls than on the longer stretch of edge of the other versions.
    planned_last : checkpoint that runs are meant to go to; None: the last.
    levels : of the treatment that it compares, the duller first; empty where it compares none.
    reference_work : work between the two readings of a reference edge; None where none is asked for.
    """

    protocol: str
    version: str
    medium: str
    checkpoints: tuple[float, ...]
    early: float | None = None
    late: float | None = None
    threshold_n: float | None = None
    window: tuple[float, float] | None = None
    units: tuple[str, ...] = ()
    thread_ln: float = 0.0
    thread_noise: float = 1.0
    repeats: int = 3
    halves: bool = False
    blades: bool = False
    work_scale: float = 1.0
    planned_last: float | None = None
    levels: tuple[str, ...] = ()
    reference_work: float | None = None

    @property
    def first_checkpoint(self) -> float:
        """w1, the first positive checkpoint."""
        return self.checkpoints[1]

    @property
    def pass_fail(self) -> bool:
        """Whether sharpness is read as pass or fail."""
        return self.threshold_n is None

    @property
    def in_turn(self) -> bool:
        """Whether runs go in pairs whose edges are cut in turn."""
        return self.halves or self.blades

    @property
    def on_card(self) -> bool:
        """Whether card is cut, by the metre."""
        return self.medium == CARD

    @property
    def planned(self) -> tuple[float, ...]:
        """The checkpoints that a run is meant to be read at."""
        return tuple(w for w in self.checkpoints if self.planned_last is None or w <= self.planned_last)


_FORCE = ("N", "gf", "kgf", "lbf")

# 20 mm of edge instead of 40: a cut dulls it twice as much. Its slow load reads more evenly.
_TWENTY_MM = Method(
    "", "", ROPE, LADDER[:-1], 5.0, 40.0, 5.0, (5.0, 40.0), (*_FORCE, "ozf"),
    thread_noise=0.9, repeats=2, work_scale=2.0, planned_last=40.0,
)  # fmt: skip

METHODS = (
    Method("two-sharpeners-rope", "1.0.0", ROPE, LADDER[:-1], 10.0, 80.0, 4.0, None, _FORCE),
    Method("two-sharpeners-rope", "1.1.0", ROPE, LADDER, 10.0, 80.0, 4.0, (10.0, 80.0), (*_FORCE, "ozf")),
    replace(_TWENTY_MM, protocol="two-sharpeners-rope", version="2.0.0", halves=True),
    # The cotton thread of 1.0.0 stretched: it severed at a higher force and read less evenly.
    Method("steels-exchanged-rope", "1.0.0", ROPE, LADDER, 10.0, 160.0, 5.0, None, _FORCE, 0.08, 1.5),
    Method("steels-exchanged-rope", "2.0.0", ROPE, LADDER, 10.0, 160.0, 5.0, None, _FORCE),
    replace(_TWENTY_MM, protocol="steels-exchanged-rope", version="3.0.0", blades=True),
    # 10 mm of edge instead of 40: a metre dulls it four times as much.
    Method("first-evening-paper", "1.0.0", CARD, (0.0, 1.0, 2.0, 4.0, 8.0, 16.0), halves=True, work_scale=4.0),
    replace(_TWENTY_MM, protocol="finish-in-halves-rope", version="1.0.0", halves=True, levels=("coarse", "fine")),
    Method(
        "strop-or-not-paper", "1.0.0", CARD, (0.0, 1.0, 2.0, 4.0, 8.0, 16.0), halves=True, work_scale=4.0, levels=("bare", "stropped")
    ),
    Method("life-on-card", "1.0.0", CARD, (0.0, 1.0, 2.0, 4.0, 8.0, 16.0, 32.0, 64.0, 128.0)),
    replace(
        _TWENTY_MM, protocol="life-on-card", version="2.0.0", medium=CARD, checkpoints=(0.0, 1.0, 2.0, 4.0, 8.0, 16.0),
        early=2.0, late=8.0, window=(2.0, 8.0), planned_last=8.0, reference_work=1.0,
    ),
)  # fmt: skip


def method(protocol: str, version: str) -> Method:
    """The entry for one protocol version."""
    return next(m for m in METHODS if (m.protocol, m.version) == (protocol, version))
