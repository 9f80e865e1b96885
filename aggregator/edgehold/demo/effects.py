"""The true effects of the demonstration, and the ratios that an endless, even experiment would show.

Keenness is minus ln of the force in newtons. With u = ln((w + w1)/w1), w the work and w1 the first positive
checkpoint, the mean curve of a steel sharpened by a practised person is ``-(start + slope u)``: fast dulling early,
slow late (common practice; the figures are invented and only in keeping with the trade). On card it is
``slope (u_life - u)`` above the keenness that still slices paper. Everything else adds to keenness, so a level's true
ratio is free of it.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable
from dataclasses import asdict, dataclass, field, fields

from .methods import METHODS, Method


@dataclass(frozen=True)
class SteelCurve:
    """Mean dulling of one invented steel, sharpened by a practised person.

    Attributes
    ----------
    steel : id in the register of steels.
    start_ln_n : ln of the force in newtons before the first cut.
    slope : rise of ln force per unit of u = ln((w + w1)/w1).
    card_life_m : metres of card cut before a paper slice fails.
    """

    steel: str
    start_ln_n: float
    slope: float
    card_life_m: float


STEELS = (  # hardly apart at 10 cuts; at 160 the best needs 1.6 times less force than the worst
    SteelCurve("demo-plain-carbon", -0.26, 0.675, 14.0),  # takes the keenest edge, loses it soonest
    SteelCurve("demo-fine-stainless", -0.17, 0.61, 16.0),
    SteelCurve("demo-tough-stainless", -0.17, 0.63, 12.0),
    SteelCurve("demo-high-carbon-stainless", -0.10, 0.54, 26.0),
    SteelCurve("demo-powder-stainless", -0.03, 0.49, 35.0),  # fine hard carbides: slow loss late
    SteelCurve("demo-high-speed", 0.01, 0.465, 40.0),
)


def _effect(value: float, meaning: str) -> float:
    """One number in ln keenness, with the text that stands beside it in the effects file."""
    return field(default=value, metadata={"meaning": meaning})


@dataclass(frozen=True)
class Effects:
    """Every true effect, in ln keenness, and the steels' mean curves; each number may be set to 0 to do without it."""

    curves: tuple[SteelCurve, ...] = STEELS
    novice_gap: float = _effect(0.40, "How much less keen a novice's edge is at u = 0")
    novice_gap_fade: float = _effect(0.09, "How much of that gap is gone per unit of u: early matters less late")
    fine_gap: float = _effect(0.53, "How much keener an edge taken on to a fine abrasive is than a coarse one at u = 0")
    fine_gap_fade: float = _effect(0.18, "How much of that gap is gone per unit of u")
    strop_gap: float = _effect(0.20, "How much keener a stropped edge is than one straight from the stone, all along")
    sharpener_sd: float = _effect(0.14, "SD between sharpeners of the same practice")
    tester_sd: float = _effect(0.12, "SD between testers: how hard they pull, where they lay the thread")
    blade_sd: float = _effect(0.10, "SD between blades of one batch")
    batch_sd: float = _effect(0.05, "SD between batches of one steel")
    steel_tester_sd: float = _effect(0.055, "SD of how a tester and a steel suit each other")
    steel_sharpener_sd: float = _effect(0.055, "SD of how a sharpener and a steel suit each other")
    evening_sd: float = _effect(0.06, "SD between evenings of one experiment")
    lot_sd: float = _effect(0.06, "SD between coils of rope or stacks of card")
    run_sd: float = _effect(0.21, "SD between runs, resharpening included")
    pair_sd: float = _effect(0.14, "SD between pairs cut in turn: the part of that which rope, hand and hour share")
    tip_half: float = _effect(0.05, "How much keener a tip half is than a heel half, whoever sharpened it")
    reading_sd: float = _effect(0.06, "SD of a single reading; on card, SD of a single slice around the threshold")
    unequal_start_sd: float = _effect(0.08, "SD of a preparation's luck at the start, which fades as w1/(w + w1)")
    order_drift: float = _effect(-0.02, "Shift from one run to the next within an evening: hands tire")
    coil_position: float = _effect(-0.012, "Shift per 10 m into the coil: the inner turns lie harder")
    humidity: float = _effect(-0.03, "Shift per 10 points of relative humidity over 60: damp fibre cuts harder")
    reference_ln_n: float = _effect(-0.05, "ln of the force in newtons of a fresh reference edge")
    reference_wear: float = _effect(0.25, "How much that rises over the work between its two readings")
    segment_sd: float = _effect(0.05, "SD between the segments of one pack of reference edges")
    notch: float = _effect(0.26, "How much duller every edge reads where the thread runs over a filed notch")
    expectation: float = _effect(0.02, "Shift for an edge that an unblinded tester sharpened themself")

    def curve(self, steel: str) -> SteelCurve:
        """The mean curve of a steel."""
        return next(c for c in self.curves if c.steel == steel)

    def described(self) -> dict[str, dict[str, object]]:
        """Name, value and meaning of every effect that is a single number."""
        return {
            f.name: {"value": getattr(self, f.name), "unit": "ln keenness", "meaning": f.metadata["meaning"]}
            for f in fields(self)
            if f.name != "curves"
        }


PAPER_FAILS_N = 4.8
"""Force on a thread at which a slice of paper fails, in newtons; invented, and in keeping with the trade."""


def work_axis(work: float, first_checkpoint: float) -> float:
    """u = ln((w + w1)/w1); 0 before the first cut."""
    return math.log((work + first_checkpoint) / first_checkpoint)


def _level_gap(effects: Effects, level: str | None) -> tuple[float, float]:
    """How much keener a level is at u = 0 than the duller one of its treatment, and how much of that is gone per unit of u."""
    return {"fine": (effects.fine_gap, effects.fine_gap_fade), "stropped": (effects.strop_gap, 0.0)}.get(level or "", (0.0, 0.0))


def mean_keenness(effects: Effects, method: Method, steel: str, novice: bool, work: float, level: str | None = None) -> float:
    """Mean keenness of a run, nuisances at zero; on paper, keenness above what still passes."""
    u = work_axis(work * method.work_scale, method.first_checkpoint)
    curve = effects.curve(steel)
    more, fade = _level_gap(effects, level)
    gap = ((effects.novice_gap - effects.novice_gap_fade * u) if novice else 0.0) - (more - fade * u)
    if method.on_card:
        still_passes = 0.0 if method.threshold_n is None else -math.log(PAPER_FAILS_N)
        return still_passes + curve.slope * (work_axis(curve.card_life_m, method.first_checkpoint) - u) - gap
    return -(curve.start_ln_n + curve.slope * u + method.thread_ln) - gap


def mean_ln_life(effects: Effects, method: Method, steel: str, novice: bool, level: str | None = None) -> float:
    """ln of the work at which the mean curve falls to the threshold (closed form: the curve is linear in u)."""
    limit = 0.0 if method.threshold_n is None else -math.log(method.threshold_n)
    height = mean_keenness(effects, method, steel, novice, 0.0, level) - limit
    slope = effects.curve(steel).slope - (effects.novice_gap_fade if novice else 0.0) + _level_gap(effects, level)[1]
    return math.log(method.first_checkpoint * math.expm1(height / slope) / method.work_scale)


def _window(effects: Effects, method: Method, steel: str, novice: bool, level: str | None, start: float, end: float) -> float:
    """The mean over the work axis of the protocol, by trapezoids between checkpoints: what the endpoint means."""
    work = [w for w in method.checkpoints if start <= w <= end]
    axis = [math.log(w + min(c for c in method.checkpoints if c > 0)) for w in work]
    keenness = [mean_keenness(effects, method, steel, novice, w, level) for w in work]
    parts = zip(itertools.pairwise(axis), itertools.pairwise(keenness), strict=True)
    return sum((b - a) * (first + second) / 2 for (a, b), (first, second) in parts) / (axis[-1] - axis[0])


Mean = Callable[[Effects, Method, str, bool, str | None], float]


def _endpoints(method: Method) -> dict[str, Mean]:
    """Endpoint id -> function (effects, method, steel, novice, level) -> its mean on the ln scale."""
    found: dict[str, Mean] = {"life": mean_ln_life}
    early, late, window = method.early, method.late, method.window
    if early is not None:
        found["early"] = lambda e, m, s, n, level: mean_keenness(e, m, s, n, early, level)
    if late is not None:
        found["late"] = lambda e, m, s, n, level: mean_keenness(e, m, s, n, late, level)
    if window is not None:
        found["hold"] = lambda e, m, s, n, level: _window(e, m, s, n, level, *window)
    return dict(sorted(found.items()))


def true_ratios(effects: Effects) -> list[dict[str, object]]:
    """True ratio of every steel pair and of practised : novice, or of two levels, for each protocol MAJOR and endpoint.

    Levels and windows: exact, since all other effects add to keenness with mean zero or fall on both sides alike. Life:
    the difference of ln life between the mean curves at the threshold; a single life varies around it nearly
    symmetrically. Steels are compared as sharpened by practised people; practised : novice, and that of two
    levels, is the mean over the steels.
    """
    newest = {(m.protocol, m.version.split(".")[0]): m for m in METHODS}  # later versions overwrite earlier ones
    return [
        {"protocol": protocol, "major": int(number), "endpoint": endpoint, **row}
        for (protocol, number), m in newest.items()
        for endpoint, value in _endpoints(m).items()
        for row in _ratios(effects, m, value)
    ]


def _ratios(effects: Effects, m: Method, value: Mean) -> list[dict[str, object]]:
    names = sorted(c.steel for c in effects.curves)
    if m.levels:  # one sharpener and one steel a submission: nothing else to compare
        duller, keener = m.levels
        gains = [value(effects, m, s, False, keener) - value(effects, m, s, False, duller) for s in names]
        return [_row("level", keener, duller, sum(gains) / len(gains))]
    rows = []
    if m.protocol != "two-sharpeners-rope":  # one blade a submission: no steels to compare
        for first, second in itertools.combinations(names, 2):
            difference = value(effects, m, first, False, None) - value(effects, m, second, False, None)
            rows.append(_row("steel", first, second, difference))
    gaps = [value(effects, m, s, False, None) - value(effects, m, s, True, None) for s in names]
    return [*rows, _row("practice", "practised", "novice", sum(gaps) / len(gaps))]


def _row(factor: str, first: str, second: str, ln_ratio: float) -> dict[str, object]:
    return {
        "factor": factor, "first": first, "second": second,
        "ln_ratio": round(ln_ratio, 9), "ratio": round(math.exp(ln_ratio), 9),
    }  # fmt: skip


def curves_as_rows(effects: Effects) -> list[dict[str, object]]:
    """The mean curves as plain values."""
    return [asdict(curve) for curve in effects.curves]
