"""Coverage of comparisons across tables that nothing but reference edges links, and what a rig that reads 30 % high does to them.

Every table is one person who sharpens, cuts and reads, with a blade of their own and a rig of their own, who has a lot of their own or
shares one. Readings are drawn with known effects and analysed by the path's own stage. A lot tells the more, the more was cut: nothing
before the first cut, its whole at the last checkpoint, and what it has told by then after the reference's work.

    PYTHONPATH=. python tests/simulation/reference_coverage.py --pools 200
"""

from __future__ import annotations

import argparse
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from edgehold.endpoints.references import Beside, ReferencePoint, WeightPoint
from edgehold.endpoints.rows import CurvePoint, EndpointRow
from edgehold.pooling.answer import Estimated
from edgehold.pooling.curves.curves import curves_asked, read_pool
from edgehold.pooling.gather.all_answers import Asked, AskedOfPool, all_answers
from edgehold.pooling.hierarchical import ContrastPosterior
from edgehold.pooling.spread_priors import priors_for
from edgehold.records.canonical import PoolKey
from edgehold.records.model.protocol import EndpointRule
from tests.estimates.rows import make_protocols, make_row
from tests.simulation.grid import add_cluster, spread_over

POOL = PoolKey("card", 2, "simulated")
WORKS = (0.0, 1.0, 2.0, 4.0, 8.0, 16.0)
SHARE = np.log1p(np.array(WORKS)) / np.log1p(WORKS[-1])  # of the way along u, from 0 to 1
CUT = 1  # the checkpoint at which the reference edge is read again
LATE = 4  # the primary endpoint, 8 m
STEELS = ("demo-a", "demo-b")
ASSUMED = 0.25
READING = 0.08
FRESH, WORN = -0.05, -0.30  # keenness of the reference edge
SDS = {
    "sharpener": 0.15, "hand": 0.10, "rig": 0.25, "scale": 0.03, "blade": 0.10, "lot": 0.15, "drift": 0.05, "pack": 0.05, "segment": 0.05,
    "run": 0.20, "weight": 0.02,
}  # fmt: skip
DRIFT = -0.06  # of all readings from the first to the last of an evening
LEVEL: EndpointRule = next(one for one in next(iter(make_protocols().values())).record.endpoints if one.kind == "level")


@dataclass(frozen=True)
class ReferenceDesign:
    """Who has which blade, lot and reference edge.

    Attributes
    ----------
    name : of the row.
    tables : of which every second has the first steel; one person each.
    both : tables, the first ones, that have blades of both steels.
    runs : of every blade.
    lots : that go round; 0 where every table has a lot of its own.
    packs : of reference edges, that go round.
    without : tables, the last ones, without reference edges.
    sees : what a lot does to the reference edge, in what it does to the tested ones after the same work.
    sds : standard deviations that differ from the usual ones.
    reads_high : ln by which the first table's rig reads high beside what was drawn for it.
    """

    name: str
    tables: int = 8
    both: int = 0
    runs: int = 2
    lots: int = 0
    packs: int = 2
    without: int = 0
    sees: float = 1.0
    sds: Mapping[str, float] = field(default_factory=dict)
    reads_high: float = 0.0


DESIGNS = (
    ReferenceDesign("two lone tables", tables=2, packs=1),
    ReferenceDesign("four lone tables", tables=4),
    ReferenceDesign("eight lone tables"),
    ReferenceDesign("eight lone tables, two lots go round", lots=2),
    ReferenceDesign("eight lone tables, rigs alike", sds={"rig": 0.15}),
    ReferenceDesign("eight lone tables, rigs far apart", sds={"rig": 0.40}),
    ReferenceDesign("eight lone tables, segments far apart", sds={"segment": 0.15}),
    ReferenceDesign("eight lone tables, the lot tells half on the reference", sees=0.5),
    ReferenceDesign("eight lone tables, the lot tells half as much again", sees=1.5),
    ReferenceDesign("eight lone tables, four of them without a reference", without=4),
    ReferenceDesign("four tables with both steels, four lone ones", both=4),
    ReferenceDesign("twelve lone tables, lots far apart", tables=12, sds={"lot": 0.30}),
)


@dataclass(frozen=True, eq=False)
class Drawn:
    """A pool with its truth.

    Attributes
    ----------
    points, beside : readings of runs, and what stands beside them.
    rows : late levels of the runs.
    blades : true keenness of every blade, beside its steel's, by steel.
    """

    points: tuple[CurvePoint, ...]
    beside: Beside
    rows: list[EndpointRow]
    blades: dict[str, list[float]]

    def truth(self, about: str) -> float:
        """First steel minus second, both having the same curve; for blades, of those in this pool."""
        return 0.0 if about == "steels" else float(np.mean(self.blades[STEELS[0]]) - np.mean(self.blades[STEELS[1]]))


def draw(design: ReferenceDesign, seed: int) -> Drawn:
    """One pool, the same for the same design and seed, whatever ``reads_high`` is."""
    rng, sds = np.random.default_rng(seed), SDS | dict(design.sds)
    lots, packs = (sds[kind] * rng.standard_normal(max(design.tables, 1)) for kind in ("lot", "pack"))
    points, edges, weights, rows = [], [], [], []
    blades: dict[str, list[float]] = {steel: [] for steel in STEELS}
    for t in range(design.tables):
        file, who, instrument = f"file-{t}", f"person-{t}", f"person-{t}.scale"
        lot = t // 2 % design.lots if design.lots else t
        sharpener, hand, rig, scale, own_drift = (
            sds[kind] * rng.standard_normal() for kind in ("sharpener", "hand", "rig", "scale", "drift")
        )
        rig = rig + scale - (design.reads_high if t == 0 else 0.0)  # a rig that reads high makes an edge look dull
        steels = STEELS if t < design.both else (STEELS[t % 2],)
        arms = [(steel, run) for run in range(design.runs) for steel in (steels if run % 2 == 0 else steels[::-1])]
        mine = {steel: sds["blade"] * rng.standard_normal() for steel in steels}
        for steel in steels:
            blades[steel].append(mine[steel])
        for place, (steel, run) in enumerate(arms, 1):
            at = (DRIFT + own_drift) * (place / (len(arms) + 1) - 0.5)
            moved = sharpener + hand + mine[steel] + sds["run"] * rng.standard_normal() + rig + at
            read = -1.2 * SHARE + moved + lots[lot] * SHARE + READING * rng.standard_normal(len(WORKS))
            facts = {
                "submission": file,
                "run": f"{steel} {run}",
                "steel": steel,
                "blade": f"{steel} of {t}",
                "sharpener": who,
                "tester": who,
            }
            for work, keenness in zip(WORKS, map(float, read), strict=True):
                points.append(
                    CurvePoint(pool=POOL, version="2.0.0", work=work, keenness=keenness, smoothed=keenness, se=READING, n=2, limit=None,
                               raw=1.0, **facts)
                )  # fmt: skip
            also = {"pool": POOL, "version": "2.0.0", "instrument": instrument, "lot": f"lot-{lot}", "order": place}
            rows.append(make_row(float(read[LATE]), place, "late", **facts | also))
        if t >= design.tables - design.without:
            continue
        for when, at in (("start", -0.5), ("end", 0.5)):
            pack = t // 2 % design.packs
            segment = packs[pack] + sds["segment"] * rng.standard_normal()
            shared = segment + rig + (DRIFT + own_drift) * at
            read = shared + np.array([FRESH, WORN + design.sees * lots[lot] * SHARE[CUT]]) + READING * rng.standard_normal(2)
            for work, keenness in zip((0.0, WORKS[CUT]), map(float, read), strict=True):
                edges.append(
                    ReferencePoint(POOL, file, when, 1, f"pack-{pack}", f"{file} {when}", who, f"lot-{lot}", instrument, work,
                                   keenness, keenness)
                )  # fmt: skip
        shown = scale + sds["weight"] * rng.standard_normal(2)
        weights += [WeightPoint(POOL, file, instrument, float(one)) for one in shown]
    return Drawn(tuple(points), Beside(tuple(edges), tuple(weights)), rows, blades)


def line(design: ReferenceDesign, seed: int) -> dict:
    """What one pool's late ratio came to, with its references and, by the same model, without."""
    drawn = draw(design, seed)
    priors = priors_for(ASSUMED, "assumed here")
    rule = LEVEL.model_copy(update={"id": "late", "at": WORKS[LATE]})
    rules, pools = {(POOL, "late"): Asked(rule, priors)}, {POOL: AskedOfPool(WORKS, priors, True)}
    found = all_answers(drawn.rows, drawn.points, rules, pools, drawn.beside, sensitivity=False).answers[POOL, "late"]
    one = found.headline.pair(*STEELS)
    if not isinstance(one, Estimated):
        return {"reason": one.reason}
    without = _without(drawn, priors)
    told = {"about": one.about, "evidence": one.evidence, "read off": found.readings is not None}
    for name, posterior, truth in (
        ("shown", one.posterior, drawn.truth(one.about)),
        ("steels", one.general, drawn.truth("steels")),
        ("without", without, drawn.truth("steels")),
    ):
        limits = posterior.interval
        told |= {f"{name} held": bool(limits.low <= truth <= limits.high), f"{name} half": (limits.high - limits.low) / 2}
        told |= {f"{name} at": posterior.mean}
    return told


def _without(drawn: Drawn, priors: Mapping) -> ContrastPosterior:
    """What the joint model says of the steels where nobody read a reference edge, though the labels refuse it."""
    model = curves_asked(read_pool(drawn.points, drawn.rows, WORKS, True), WORKS, priors).model
    quantity = model.quantity(np.eye(len(WORKS))[LATE])
    c = model.parts.fixed.steel_contrast(*STEELS)
    assert c is not None
    return model.view(model.fitted(()), quantity).contrast(c)


HIGH = float(np.log(1.3))


def shift(design: ReferenceDesign, seed: int) -> tuple[float, float] | None:
    """How far a first rig that reads 30 % high moves the late ln ratio of the steels, without references and with them; None where either
    was not fitted."""
    even, high = line(design, seed), line(replace(design, reads_high=HIGH), seed)
    if "reason" in even or "reason" in high:
        return None
    return high["without at"] - even["without at"], high["steels at"] - even["steels at"]


COLUMNS = "| design | shown held | half-width (ln) | of the steels: held | half-width | without references: held | half-width |"
SHIFTED = "| design | by the rig alone | shift without references (ln) | with them | ratio ×1.000 then reads, without | with |"


def summary(design: ReferenceDesign, lines: Sequence[dict]) -> str:
    """A row of the table of coverage."""
    fitted = [one for one in lines if "shown held" in one]
    held = {name: np.mean([one[f"{name} held"] for one in fitted]) for name in ("shown", "steels", "without")}
    half = {name: np.median([one[f"{name} half"] for one in fitted]) for name in held}
    told = " | ".join(f"{held[name]:.3f} | {half[name]:.2f}" for name in held)
    return f"| {design.name} ({len(fitted)} of {len(lines)}) | {told} |"


def shift_summary(design: ReferenceDesign, shifts: Sequence[tuple[float, float] | None]) -> str:
    """A row of the table of a rig that reads 30 % high."""
    fitted = [one for one in shifts if one is not None]
    without, beside = np.mean(fitted, axis=0)
    alone = -HIGH / (design.tables / 2)
    figures = f"{alone:+.3f} | {without:+.3f} | {beside:+.3f} | ×{np.exp(without):.2f} | ×{np.exp(beside):.2f}"
    return f"| {design.name} ({len(fitted)} of {len(shifts)}) | {figures} |"


def main() -> None:
    parser = argparse.ArgumentParser(description="Coverage of comparisons through reference edges")
    parser.add_argument("--pools", type=int, default=100)
    parser.add_argument("--shifted", type=int, default=20)
    parser.add_argument("--jobs", type=int, default=1)
    parser.add_argument("--designs", nargs="+", default=[design.name for design in DESIGNS])
    add_cluster(parser)
    asked = parser.parse_args()
    designs = [design for design in DESIGNS if design.name in asked.designs]
    with spread_over(asked.jobs, asked.cluster) as workers:
        print(COLUMNS, "|---" * 7 + "|", sep="\n")
        for design in designs if asked.pools else ():
            told = list(workers.map(line, [design] * asked.pools, range(1, asked.pools + 1), chunksize=4))
            print(summary(design, told), flush=True)
        print("", SHIFTED, "|---" * 6 + "|", sep="\n")
        for design in designs[:3]:
            moved = list(workers.map(shift, [design] * asked.shifted, range(1, asked.shifted + 1), chunksize=4))
            print(shift_summary(design, moved), flush=True)


if __name__ == "__main__":
    main()
