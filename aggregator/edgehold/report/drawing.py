"""Curves of every run, one panel a side of the comparison: small inline drawings that follow light, dark and paper by style sheet."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from markupsafe import Markup

from edgehold.endpoints.runs import first_positive
from edgehold.pages.safe_text import plain
from edgehold.records.model.protocol import Protocol
from edgehold.records.units import plural
from edgehold.results.words.sentences import amount
from edgehold.words import Reason

from .runs import RunCurve

WIDTH, HEIGHT = 400, 300
LEFT, RIGHT, TOP, BOTTOM = 46, 24, 14, 44
STEPS = (1, 2, 5)
LEAST_APART = 11  # between two figures at the ends of curves
TICK_APART = 20  # between two marks of work


@dataclass(frozen=True)
class Scales:
    """Where work and readings lie in a panel; sharper is up whichever way the reading goes."""

    first: float
    works: tuple[float, ...]
    low: float
    high: float
    lower_is_keener: bool

    def x(self, work: float) -> float:
        """Place of an amount of work: ln(w + w₁), as the endpoints have it."""
        begin, end = (math.log(w + self.first) for w in (self.works[0], self.works[-1]))
        share = (math.log(work + self.first) - begin) / (end - begin) if end > begin else 0.5
        return LEFT + share * (WIDTH - LEFT - RIGHT)

    def y(self, reading: float) -> float:
        """Place of a reading, logarithmic."""
        share = (math.log(reading) - math.log(self.low)) / (math.log(self.high) - math.log(self.low))
        up = share if not self.lower_is_keener else 1 - share
        return HEIGHT - BOTTOM - up * (HEIGHT - TOP - BOTTOM)

    def ticks(self) -> list[float]:
        """1, 2 and 5 times powers of ten, inside."""
        powers = range(math.floor(math.log10(self.low)), math.ceil(math.log10(self.high)) + 1)
        return [s * 10.0**p for p in powers for s in STEPS if self.low <= s * 10.0**p <= self.high]


def panels(curves: Sequence[RunCurve], protocol: Protocol) -> tuple[tuple[str, Markup], ...]:
    """A panel for each side, by name; none where nothing was read as a value."""
    values = [v for curve in curves for r in curve.readings for v in r.repeats]
    works = sorted({r.work for curve in curves for r in curve.readings})
    if not values:
        return ()
    scales = Scales(first_positive(protocol), tuple(works), min(values) / 1.1, max(values) * 1.1, protocol.reading.keener == "lower")
    arms = list(dict.fromkeys(curve.arm for curve in sorted(curves, key=lambda c: c.arm)))
    return tuple((arm, _panel(arm, number, curves, protocol, scales)) for number, arm in enumerate(arms))


def _panel(arm: str, number: int, curves: Sequence[RunCurve], protocol: Protocol, scales: Scales) -> Markup:
    own = [c for c in curves if c.arm == arm]
    unit = protocol.reading.canonical_unit
    label = Reason("report.panel", runs=len(own), arm=arm, units=plural(protocol.work.unit))
    parts = [_axes(scales, unit, plural(protocol.work.unit)), _threshold(protocol, scales)]
    parts += [_line(c, scales, "other") for c in curves if c.arm != arm]
    parts += [_repeats(c, scales) for c in own]
    parts += [_line(c, scales, "own") for c in own]
    parts.append(_ends(own, scales))
    size = f'viewBox="0 0 {WIDTH} {HEIGHT}"'
    return Markup(f'<svg class="panel side-{number % 6 + 1}" {size} role="img" aria-label="{plain(label)}">{"".join(parts)}</svg>')


def _axes(scales: Scales, unit: str | None, work_unit: str) -> str:
    floor, parts, last = HEIGHT - BOTTOM, [], -math.inf
    for work in scales.works:
        x = scales.x(work)
        parts.append(f'<line class="tick" x1="{x:.1f}" y1="{floor}" x2="{x:.1f}" y2="{floor + 4}"/>')
        if x - last >= TICK_APART:
            parts.append(f'<text x="{x:.1f}" y="{floor + 17}" text-anchor="middle">{work:g}</text>')
            last = x
    for reading in scales.ticks():
        y = scales.y(reading)
        parts.append(f'<line class="grid" x1="{LEFT}" y1="{y:.1f}" x2="{WIDTH - RIGHT}" y2="{y:.1f}"/>')
        parts.append(f'<text x="{LEFT - 6}" y="{y + 4:.1f}" text-anchor="end">{amount(reading)}</text>')
    parts.append(f'<line class="axis" x1="{LEFT}" y1="{floor}" x2="{WIDTH - RIGHT}" y2="{floor}"/>')
    parts.append(f'<text x="{(LEFT + WIDTH - RIGHT) / 2:g}" y="{HEIGHT - 8}" text-anchor="middle">work ({plain(work_unit)})</text>')
    parts.append(f'<text x="4" y="{TOP - 2}">{plain(unit or "")}</text>')
    return "".join(parts)


def _threshold(protocol: Protocol, scales: Scales) -> str:
    """Where the protocol calls an edge dull."""
    absolute = [r.threshold.value for r in protocol.endpoints if r.threshold is not None and not r.threshold.relative]
    inside = [value for value in absolute if scales.low < value < scales.high]
    return "".join(
        f'<line class="dull" x1="{LEFT}" y1="{scales.y(v):.1f}" x2="{WIDTH - RIGHT}" y2="{scales.y(v):.1f}"/>'
        f'<text class="dull-word" x="{LEFT + 4}" y="{scales.y(v) - 4:.1f}">dull</text>'
        for v in inside
    )


def _places(curve: RunCurve, scales: Scales) -> list[tuple[float, float]]:
    return [(scales.x(r.work), scales.y(r.mean)) for r in curve.readings if r.mean is not None]


def _line(curve: RunCurve, scales: Scales, kind: str) -> str:
    places = _places(curve, scales)
    if len(places) < 2:
        return ""
    return f'<polyline class="{kind}" points="{" ".join(f"{x:.1f},{y:.1f}" for x, y in places)}"/>'


def _repeats(curve: RunCurve, scales: Scales) -> str:
    return "".join(
        f'<circle class="repeat" cx="{scales.x(r.work):.1f}" cy="{scales.y(v):.1f}" r="2.2"/>' for r in curve.readings for v in r.repeats
    )


def _ends(curves: Sequence[RunCurve], scales: Scales) -> str:
    """The place of each run in the order, behind the end of its curve; moved apart where they would touch."""
    ends = sorted((_places(c, scales)[-1][1], _places(c, scales)[-1][0], c.order) for c in curves if _places(c, scales))
    parts, last = [], -math.inf
    for y, x, order in ends:
        last = max(y, last + LEAST_APART)
        parts.append(f'<text class="end" x="{x + 6:.1f}" y="{last + 4:.1f}">{order}</text>')
    return "".join(parts)
