"""What the usual evening can show by every design that it could hold, with the spread assumed and with twice that spread.

One blade or two, two people who sharpen, one who cuts and is not told whose edge it is, 20 m of rope or card, three hours. Run from the
repository's root; it writes ``usual_evening.md`` beside this script, which a test holds to what it would write::

    PYTHONPATH=. python tests/simulation/usual_evening.py
"""

from __future__ import annotations

import math
from pathlib import Path

from edgehold.estimates.repeatability import Repeatability
from edgehold.planning.advice import Known, glance
from edgehold.planning.designs import doable, other_designs
from edgehold.planning.occasion import occasion, stock
from edgehold.results.publish.repeatability import assumption
from tests.planning.boatyard_plans import protocol

PAGE = Path(__file__).with_name("usual_evening.md")
SEED = 20261129
MINUTES, METRES = 180, 20
DESIGNS = (
    ("two-sharpeners-rope", "1.0.0", 1, 1), ("two-sharpeners-rope", "1.1.0", 1, 1), ("two-sharpeners-rope", "2.0.0", 1, 1),
    ("two-sharpeners-rope", "2.0.0", 1, 2), ("first-evening-paper", "1.0.0", 1, 1),
    ("steels-exchanged-rope", "2.0.0", 2, 1), ("steels-exchanged-rope", "3.0.0", 2, 1), ("steels-exchanged-rope", "3.0.0", 2, 2),
    ("life-on-card", "1.0.0", 2, 1), ("life-on-card", "2.0.0", 2, 1),
)  # fmt: skip
COLUMNS = (
    "method", "blades", "evenings", "runs", "to", "judged by", "spread", "half-width", "×1.5 seen", "×2 seen",
    "half-width, spread doubled", "×1.5, ×2 seen then",
)  # fmt: skip
HEAD = """# What the usual evening can show

Made by `usual_evening.py`: one blade (two where steels are compared), two who sharpen (one where steels are compared), one who cuts
and is not told whose edge it is, 20 m of rope and three hours an evening. Half-width: of the 95 % interval at a true ratio of 1, as a
ratio. "Seen": how often the interval leaves out 1 if one edge really is 1.5 times, or twice, as good. Spread: ln SD between runs that
should agree, the protocol's assumption (worth four degrees of freedom, so that drawn evenings scatter more and less than that), and
twice it in the last two columns. What a protocol's primary endpoint needs is marked *primary*; shorter runs are judged by what they
reach.

"""


def page() -> str:
    """The table with its head."""
    rows = [COLUMNS, ("---",) * len(COLUMNS), *(row for design in DESIGNS for row in _rows(*design))]
    return HEAD + "".join(f"| {' | '.join(map(str, row))} |\n" for row in rows)


def _rows(name: str, version: str, blades: int, evenings: int) -> list[tuple[object, ...]]:
    followed = protocol(name, version)
    sharpeners = ["tern", "wren"] if followed.question.factor == "sharpener" else ["wren"]
    asked = occasion(
        followed,
        stock(followed, minutes=MINUTES, lots_m=(METRES if followed.work.kind == "cuts" else 600,), evenings=evenings),
        blades=[f"wren.b{number}" for number in range(1, blades + 1)],
        sharpeners=sharpeners,
        testers=["fennel"],
        coder="moss",
    )
    design = doable(asked)
    return [_row(f"{name} {version}", blades, evenings, one) for one in (design, *other_designs(design))]


def _row(method: str, blades: int, evenings: int, design) -> tuple[object, ...]:
    rules = {rule.id: rule for rule in design.asked.protocol.endpoints}
    known = {name: assumption(rule) for name, rule in rules.items()}
    doubled = {name: _times(one, 2.0) for name, one in known.items()}
    one, wide = (glance(design, Known(entries, None, None), SEED) for entries in (known, doubled))
    judged = f"{one.title.lower()}{', *primary*' if one.primary else ''}"
    spread = math.sqrt(known[one.endpoint].prior_s2)
    return (
        method, blades, evenings, one.runs, f"{one.last:g}", judged, f"{spread:.2f}", _ratio(one.half_width), *_shares(one.seen),
        _ratio(wide.half_width), ", ".join(_shares(wide.seen)),
    )  # fmt: skip


def _times(entry: Repeatability, factor: float) -> Repeatability:
    """The same assumption with the spread multiplied: what an evening meets and what its report assumes."""
    return Repeatability(entry.s2_pooled, entry.df_pooled, entry.prior_df, entry.prior_s2 * factor**2, entry.source, entry.submissions)


def _ratio(half_width: float | None) -> str:
    return "–" if half_width is None or not math.isfinite(half_width) else f"×{math.exp(half_width):.2f}"


def _shares(seen: dict[float, float]) -> tuple[str, ...]:
    return tuple(f"{share:.2f}" for share in seen.values())


if __name__ == "__main__":
    PAGE.write_text(page(), encoding="utf-8")
