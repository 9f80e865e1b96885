"""Coverage of what is published of a pool's readings: the headline early and late, and the band of two steels along the work.

Readings are drawn with known curves and analysed by the path's own stage.

Two steels with the same average curve, or with curves that cross at 40 cuts. Everybody's sharpening and testing, blades, steels in a
person's hands, submissions and runs move whole curves by a level and by a trend along the work; readings have an error of their own. Runs
that have become dull are stopped. A band holds the truth where it does so at every place at once.

    PYTHONPATH=. python tests/simulation/curve_coverage.py --pools 200 --jobs 2
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from edgehold.endpoints.rows import CurvePoint, EndpointRow
from edgehold.pooling.answer import Estimated
from edgehold.pooling.curves.contrast import WorkTo, work_to
from edgehold.pooling.gather.all_answers import Asked, AskedOfPool, all_answers
from edgehold.pooling.spread_priors import priors_for
from edgehold.records.canonical import PoolKey
from tests.estimates.rows import make_protocols, make_row
from tests.simulation.grid import add_cluster, spread_over

POOL = PoolKey("rope", 1, "simulated")
WORKS = (0.0, 5.0, 10.0, 20.0, 40.0, 80.0, 160.0)
SCALE = np.log1p(np.array(WORKS) / 5)
PLACE = 2 * SCALE / SCALE[-1] - 1  # −1 at the first checkpoint, 1 at the last
BEND = (3 * PLACE**2 - 1) / 2  # Legendre's second polynomial: no level and, about, no trend
STEELS = ("demo-a", "demo-b")
# Levels spread as in the study of the headline (``pools.SDS``).
SDS = {"sharpener": 0.20, "tester": 0.15, "blade": 0.10, "steel × sharpener": 0.07, "submission": 0.08, "run": 0.30}
ROUND = {"blade": 0.15}
TREND = 0.4  # of a trend, in the SD of the level
READING = 0.08
DULL = -1.9  # keenness at which a run is stopped
DEAD = -1.1  # keenness that ends a life: the mean curves come to it at about 50 cuts
ASSUMED = 0.30  # the repeatability that a protocol of this kind assumes
PLACES = {"early": 10.0, "late": 160.0}
ASSUMED_OF_LIVES = 0.60  # runs that differ by .30 at one amount of work do so on a slope of .45
RULES = {one.kind: one for one in next(iter(make_protocols().values())).record.endpoints}
LEVEL, LIFE = RULES["level"], RULES["life"]


@dataclass(frozen=True)
class CurveDesign:
    """Who cuts what with which blade.

    Attributes
    ----------
    name : of the row.
    testers, runs : testers, and runs of a steel for each.
    blades : blades of a steel that go round; 0 where everybody has their own.
    sharpeners : 0 where everybody sharpens for themselves, 1 where one person sharpens for all.
    crossing : whether the first steel starts 25 % keener and ends that much duller.
    sds : standard deviations that differ from the usual ones.
    bend : standard deviation of what bends every effect along the work, in that of its level: no line as the model has it.
    tails : degrees of freedom of runs' and readings' t distributions, scaled to the same standard deviation; 0 where they are normal.
    dull : keenness at which a run is stopped.
    """

    name: str
    testers: int = 6
    runs: int = 4
    blades: int = 0
    sharpeners: int = 0
    crossing: bool = False
    sds: Mapping[str, float] = field(default_factory=dict)
    bend: float = 0.0
    tails: int = 0
    dull: float = DULL


DESIGNS = (
    CurveDesign("own blades"),
    CurveDesign("two blades go round", blades=2, sds=ROUND),
    CurveDesign("two blades go round, blade SD .30", blades=2, sds={"blade": 0.30}),
    CurveDesign("two blades go round, ten testers", testers=10, blades=2, sds=ROUND),
    CurveDesign("three blades go round", blades=3, sds=ROUND),
    CurveDesign("one sharpener for all", blades=2, sharpeners=1, sds=ROUND | {"steel × sharpener": 0.15}),
    CurveDesign("three testers", testers=3),
    CurveDesign("own blades, curves cross", crossing=True),
    CurveDesign("twelve testers, curves cross", testers=12, crossing=True),
    CurveDesign("effects that bend along the work", bend=0.4),
    CurveDesign("runs and readings with tails of t on 5 df", tails=5),
    CurveDesign("half of the runs stopped early, curves cross", crossing=True, dull=-1.3),
)


def truth(design: CurveDesign) -> np.ndarray:
    """(2, c) average curves."""
    half = 0.5 * np.log(1.25) * PLACE if design.crossing else np.zeros(len(PLACE))
    return -0.45 * SCALE + np.stack([-half, half])


def draw(design: CurveDesign, seed: int) -> list[CurvePoint]:
    """Readings of one pool."""
    rng, sds, curves = np.random.default_rng(seed), SDS | dict(design.sds), truth(design)
    moves: dict[tuple[str, str], np.ndarray] = {}

    def normal(sd: float, size: int | None = None) -> np.ndarray:
        return rng.normal(0, sd, size)

    def drawn(sd: float, size: int | None = None) -> np.ndarray:
        return sd * rng.standard_t(design.tails, size) * np.sqrt(1 - 2 / design.tails) if design.tails else normal(sd, size)

    def moved(kind: str, who: str) -> np.ndarray:
        if (kind, who) not in moves:
            spread = normal if kind != "run" else drawn
            level, trend = spread(sds[kind]), spread(TREND * sds[kind])
            moves[kind, who] = level + trend * PLACE + (spread(design.bend * sds[kind]) * BEND if design.bend else 0)
        return moves[kind, who]

    found = []
    for t in range(design.testers):
        sharpener = "s0" if design.sharpeners else f"s{t}"
        for s, steel in enumerate(STEELS):
            for run in range(design.runs):
                blade = f"{steel} {(t * design.runs + run) % design.blades if design.blades else t}"
                parts = (
                    ("sharpener", sharpener), ("tester", f"t{t}"), ("blade", blade), ("steel × sharpener", f"{steel} {sharpener}"),
                    ("submission", f"file-{t}"), ("run", f"{t} {steel} {run}"),
                )  # fmt: skip
                read = curves[s] + sum(moved(*part) for part in parts) + drawn(READING, len(WORKS))
                for work, keenness in zip(WORKS, read, strict=True):
                    value = float(keenness)
                    found.append(
                        CurvePoint(POOL, "1.0.0", f"file-{t}", f"{steel} {run}", steel, blade, sharpener, f"t{t}", work, value, value,
                                   READING, 3, None, 1.0)
                    )  # fmt: skip
                    if keenness < design.dull:
                        break
    return found


def rows_of(points: Sequence[CurvePoint]) -> list[EndpointRow]:
    """Early and late levels of runs; of those that were stopped before it, only that they had become duller than their last reading."""
    runs: dict[tuple[str, str], list[CurvePoint]] = {}
    for one in points:
        runs.setdefault((one.submission, one.run), []).append(one)
    found = []
    for number, read in enumerate(runs.values(), start=1):
        one, there = read[0], {point.work: point.keenness for point in read}
        facts = {name: getattr(one, name) for name in ("pool", "submission", "run", "steel", "blade", "sharpener", "tester")}
        for name, work in PLACES.items():
            found.append(make_row(there.get(work, (-np.inf, read[-1].keenness)), number, name, **facts | {"own_sharpening": False}))
        found.append(make_row(life_of(read), number, "life", **facts | {"own_sharpening": False}))
    return found


def life_of(read: Sequence[CurvePoint]) -> float | tuple[float, float]:
    """ln of the work to ``DEAD``, straight along ``SCALE``; beyond the last reading where it is never reached."""
    keenness = np.minimum.accumulate([one.keenness for one in read])
    if keenness[-1] > DEAD:
        return (float(np.log(read[-1].work)), np.inf)
    if keenness[0] <= DEAD:
        return (-np.inf, float(np.log(WORKS[1])))
    at = np.expm1(np.interp(-DEAD, -keenness, SCALE[: len(read)])) * 5
    return float(np.log(max(at, WORKS[1])))


def line(design: CurveDesign, seed: int) -> dict:
    """What one pool's published pair came to; places are checkpoints and those between."""
    points, priors = draw(design, seed), priors_for(ASSUMED, "assumed here")
    rules = {(POOL, name): Asked(LEVEL.model_copy(update={"id": name, "at": work}), priors) for name, work in PLACES.items()}
    rules |= {(POOL, "life"): Asked(LIFE, priors_for(ASSUMED_OF_LIVES, "assumed here"))}
    found = all_answers(rows_of(points), points, rules, {POOL: AskedOfPool(WORKS, priors, True)}, sensitivity=False)
    (pair,) = found.curves.pairs
    band = pair.contrast.same_work
    if band is None:
        return {"reason": pair.contrast.reason}
    first, second = truth(design)
    told: dict[str, object] = {}
    for name, work in PLACES.items():
        answer = found.answers[POOL, name].headline.pair(*STEELS)
        at, limits = WORKS.index(work), answer.interval
        told[f"{name} held"] = bool(limits.low <= first[at] - second[at] <= limits.high)
        told[f"{name} half"] = (limits.high - limits.low) / 2
        told[f"{name} off"] = answer.estimate - (first[at] - second[at])
        told[f"{name} read off"] = found.answers[POOL, name].readings is not None
    told |= lives(found.answers[POOL, "life"].headline.pair(*STEELS), work_to(pair.contrast, DEAD), first, second)
    alone = all_answers(rows_of(points), (), rules, {}, sensitivity=False).answers[POOL, "late"].headline.pair(*STEELS)
    wanted = first[-1] - second[-1]
    told |= {"alone held": bool(alone.interval.low <= wanted <= alone.interval.high), "alone off": alone.estimate - wanted}
    wanted = np.interp(np.log1p(band.at / 5), SCALE, first - second)
    late = {round(float(w), 6): i for i, w in enumerate(band.at)}[band.at[-1]]
    return told | {
        "everywhere": bool(((band.low <= wanted) & (wanted <= band.high)).all()),
        "places": float(((band.pointwise_low <= wanted) & (wanted <= band.pointwise_high)).mean()),
        "late": bool(band.pointwise_low[late] <= wanted[late] <= band.pointwise_high[late]),
        "half": float((band.high - band.low)[late] / 2),
        "overtakes": pair.contrast.overtakes,
        "claims": bool(((band.low > 0) & (wanted <= 0)).any() or ((band.high < 0) & (wanted >= 0)).any()),
    }


def lives(answer: Estimated, off_curves: WorkTo | str, first: np.ndarray, second: np.ndarray) -> dict[str, object]:
    """How the ratio of two lives came to be told: from the lives of runs, as the headline is, and off the mean curves."""
    truly = float(np.subtract(*(np.log(np.expm1(np.interp(-DEAD, -one, SCALE))) for one in (first, second))))
    told: dict[str, object] = {}
    for name, estimate, interval in (
        ("life", answer.estimate, answer.interval),
        *([] if isinstance(off_curves, str) else [("curves", off_curves.ln_ratio, off_curves.interval)]),
    ):
        told[f"{name} held"] = bool(interval.low <= truly <= interval.high)
        told[f"{name} half"] = (interval.high - interval.low) / 2
        told[f"{name} off"] = estimate - truly
    if "curves off" in told:
        told["beside"] = bool(answer.interval.low <= off_curves.ln_ratio <= answer.interval.high)
    return told


COLUMNS = (
    "| design | headline early held | half-width (ln) | late held | half-width | bias | from late values alone: held | bias "
    "| band holds everywhere | places held "
    "| half-width of the band at the end | wrong side claimed | overtakes |"
)


def summary(design: CurveDesign, lines: Sequence[dict]) -> str:
    """A row of the table."""
    fitted = [one for one in lines if "everywhere" in one]
    names = ("everywhere", "places", "claims", "early held", "late held", "late off", "alone held", "alone off")
    mean = {name: np.mean([one[name] for one in fitted]) for name in names}
    half = {name: np.median([one[name] for one in fitted]) for name in ("half", "early half", "late half")}
    overtakes = np.mean([one["overtakes"] == "second" for one in fitted])
    wrongly = np.mean([one["overtakes"] != "" and (one["overtakes"] != "second" or not design.crossing) for one in fitted])
    told = f"{overtakes:.3f}" if design.crossing else f"{wrongly:.3f} (wrongly)"
    return (
        f"| {design.name} ({len(fitted)} of {len(lines)}) | {mean['early held']:.3f} | {half['early half']:.2f} "
        f"| {mean['late held']:.3f} | {half['late half']:.2f} | {mean['late off']:+.3f} | {mean['alone held']:.3f} "
        f"| {mean['alone off']:+.3f} | {mean['everywhere']:.3f} | {mean['places']:.3f} "
        f"| {half['half']:.2f} | {mean['claims']:.3f} | {told} |"
    )


LIVES = (
    "| design | life from lives of runs: held | half-width (ln) | bias | off the curves: available | held | both ends bounded "
    "| half-width then | bias | within the headline's interval |"
)


def summary_of_lives(design: CurveDesign, lines: Sequence[dict]) -> str:
    """A row of the table of lives."""
    fitted = [one for one in lines if "life held" in one]
    read = [one for one in fitted if "curves held" in one]
    bounded = [one["curves half"] for one in read if np.isfinite(one["curves half"])]
    return (
        f"| {design.name} ({len(fitted)} of {len(lines)}) | {np.mean([one['life held'] for one in fitted]):.3f} "
        f"| {np.median([one['life half'] for one in fitted]):.2f} | {np.mean([one['life off'] for one in fitted]):+.3f} "
        f"| {len(read) / len(fitted):.3f} | {np.mean([one['curves held'] for one in read]):.3f} "
        f"| {len(bounded) / len(read):.3f} | {np.median(bounded):.2f} "
        f"| {np.mean([one['curves off'] for one in read]):+.3f} | {np.mean([one['beside'] for one in read]):.3f} |"
    )


def main() -> None:
    parser = argparse.ArgumentParser(description="Coverage of the bands of two steels along the work")
    parser.add_argument("--pools", type=int, default=200)
    parser.add_argument("--jobs", type=int, default=1)
    parser.add_argument("--designs", nargs="+", default=[design.name for design in DESIGNS])
    add_cluster(parser)
    asked = parser.parse_args()
    print(COLUMNS, "|---" * 13 + "|", sep="\n")
    of_lives = [LIVES, "|---" * 10 + "|"]
    with spread_over(asked.jobs, asked.cluster) as workers:
        for design in DESIGNS:
            if design.name in asked.designs:
                told = list(workers.map(line, [design] * asked.pools, range(1, asked.pools + 1), chunksize=4))
                print(summary(design, told), flush=True)
                of_lives.append(summary_of_lives(design, told))
    print("", *of_lives, sep="\n")
    sys.stdout.flush()


if __name__ == "__main__":
    main()
