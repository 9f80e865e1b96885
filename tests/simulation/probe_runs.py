"""Rows for the study of the probes: who cut what with whose edge, on which coil and in what air, and what all this really does.

A submission has one tester, two evenings and four runs an evening: two steels, each once with the tester's own edge and once with
somebody else's. People take turns as testers, blades go from hand to hand, coils from submission to submission. Everything that a probe
asks about varies; whether it does anything is the design's to say. Everything is on the ln scale.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from edgehold.endpoints.rows import EXACT, EndpointRow
from edgehold.records.canonical import PoolKey

POOL = PoolKey("probed", 1, "simulated")
ENDPOINT = "life"  # the one kind that every probe is asked at
STEELS = ("demo-first", "demo-second")
# Standard deviations of this study: those of the study of the crossed model, an evening and a submission by a tenth.
SDS = {
    "sharpener": 0.20, "tester": 0.25, "blade": 0.12, "submission": 0.10, "evening": 0.08,
    "steel × sharpener": 0.10, "steel × tester": 0.10, "residual": 0.30,
}  # fmt: skip
START_SDS = {"sharpener": 0.15, "tester": 0.15, "blade": 0.08, "run": 0.20}  # of true keenness before the first cut
START_READ = 0.10  # of a reading of it: three repeats, resolution included
GAP_SDS = {"sharpener": 0.10, "run": 0.25}  # of ln relative over absolute life
PER_EVENING = 4
METRES = 6.0  # of coil that a run uses
GUESSED_RIGHT = 0.6
BORROWED = 0.5  # share of testers' arms cut with somebody else's blade


@dataclass(frozen=True)
class Effects:
    """What is true of everything that a probe asks about; all 0: nothing is planted.

    Attributes
    ----------
    lot_sd : SD between coils.
    coil_10m, order, humidity_10, later, own, expectation, right_guess, interest : what they add; a place in the evening for ``order``.
    start : share of a start's advantage that is left.
    angle_deg, finish_ln, hrc : per degree a side, per unit of ln micrometres, per point of hardness.
    first : by how much the first steel is ahead for no reason that a probe asks about.
    first_starts, first_wider, first_harder : by how much it starts keener, is ground wider (degrees) and is harder (HRC).
    first_coarse : by how much more often it is finished coarse.
    relative_life : by how much it does better in relative than in absolute life.
    """

    lot_sd: float = 0.0
    coil_10m: float = 0.0
    order: float = 0.0
    humidity_10: float = 0.0
    later: float = 0.0
    own: float = 0.0
    expectation: float = 0.0
    right_guess: float = 0.0
    interest: float = 0.0
    start: float = 0.0
    angle_deg: float = 0.0
    finish_ln: float = 0.0
    hrc: float = 0.0
    first: float = 0.25
    first_starts: float = 0.15
    first_wider: float = 2.0
    first_harder: float = 2.0
    first_coarse: float = 0.3
    relative_life: float = 0.0


NOTHING = Effects()
PLANTED = Effects(
    lot_sd=0.20, coil_10m=-0.03, order=-0.04, humidity_10=-0.06, later=0.10, own=0.05, expectation=0.15, right_guess=0.10,
    interest=0.10, start=0.6, angle_deg=-0.03, finish_ln=0.10, hrc=0.05, relative_life=-0.20,
)  # fmt: skip
FINE, COARSE = math.log(4.0), math.log(12.0)


@dataclass(frozen=True)
class Design:
    """One row of the study: submissions, and what is true."""

    submissions: int
    effects: Effects

    @property
    def people(self) -> int:
        """People, most of whom test more than once."""
        return max(5, round(0.6 * self.submissions))

    @property
    def lots(self) -> int:
        """Coils, each met by several submissions."""
        return max(5, self.submissions // 3)


@dataclass(frozen=True, eq=False)
class Drawn:
    """Simulated rows, and what each probe's figure truly is, on the ln scale."""

    rows: tuple[EndpointRow, ...]
    truth: dict[str, float]


def draw(design: Design, seed: int) -> Drawn:
    """Rows, the same for the same design and seed."""
    rng = np.random.default_rng([seed, design.submissions, round(1000 * design.effects.lot_sd)])
    runs = _runs(design, rng)
    effects = design.effects
    start = _starts(runs, effects, rng)
    value = sum(_term(SDS[name], labels, rng) for name, labels in _groups(runs).items()) + SDS["residual"] * rng.standard_normal(len(start))
    value = value + _term(effects.lot_sd, [run["lot"] for run in runs], rng) + effects.start * start
    value = value + np.array([_planted(run, effects) for run in runs])
    read = start + START_READ / math.sqrt(3) * rng.standard_normal(len(start))
    gap = _term(GAP_SDS["sharpener"], [run["sharpener"] for run in runs], rng) + GAP_SDS["run"] * rng.standard_normal(len(start))
    gap = gap + np.array([effects.relative_life * (run["steel"] == STEELS[0]) for run in runs])
    rows = tuple(_row(run, float(v), float(s), float(v + g)) for run, v, s, g in zip(runs, value, read, gap, strict=True))
    return Drawn(rows, truths(runs, effects))


def truths(runs: list[dict], effects: Effects) -> dict[str, float]:
    """What every probe's figure truly is; ratios of steels are first : second."""
    order = effects.order + effects.coil_10m * METRES / 10
    known = float(np.mean([not run["blinded"] for run in runs]))
    parts = {
        "start": effects.start * effects.first_starts,
        "angle": effects.angle_deg * effects.first_wider,
        "finish": effects.finish_ln * effects.first_coarse * (COARSE - FINE),
        "hardness": effects.hrc * effects.first_harder,
    }
    whole = effects.first + sum(parts.values())
    return {
        "lot": 0.954 * effects.lot_sd,
        "coil-position": effects.coil_10m,
        "run-order": 4 * order,
        "first-and-last": (PER_EVENING - 1) * order,
        "later-evening": effects.later,
        "humidity": effects.humidity_10,
        "blinding": effects.expectation,
        "tester-guess": effects.right_guess,
        "interest": effects.interest,
        "own-sharpening": effects.own + effects.expectation * known,
        "relative-life": effects.relative_life,
        "start-keenness": effects.start * math.log(1.1),
        "edge-angle": 5 * effects.angle_deg,
        "finish": effects.finish_ln * math.log(2),
        "hardness": effects.hrc,
        **{f"steels-at-equal-{name}": whole - part for name, part in parts.items()},
    }


def _runs(design: Design, rng: np.random.Generator) -> list[dict]:
    """Everything about each run but its readings."""
    effects, people = design.effects, design.people
    hrc = {(who, steel): 60 + effects.first_harder * (steel == 0) + rng.normal(0, 1.5) for who in range(people) for steel in (0, 1)}
    habit = rng.normal(17, 2, people)
    runs = []
    for number in range(design.submissions):
        tester, blinded = number % people, bool(rng.random() < 0.5)
        other, lot = (tester + int(rng.integers(1, people))) % people, int(rng.integers(design.lots))
        owners = [tester if rng.random() > BORROWED else int(rng.integers(people)) for _ in STEELS]
        for evening in (1, 2):
            used = lot if rng.random() < 0.5 else int(rng.integers(design.lots))
            begin, air = rng.uniform(0, 80), rng.normal(62, 10)
            arms = [(steel, sharpener) for steel in (0, 1) for sharpener in (tester, other)]
            for place, at in enumerate(rng.permutation(PER_EVENING)):
                steel, sharpener = arms[at]
                right = bool(rng.random() < GUESSED_RIGHT)
                runs.append(
                    {
                        "number": len(runs), "submission": f"s{number}", "evening": evening, "place": place, "tester": tester,
                        "sharpener": sharpener, "steel": STEELS[steel], "blade": f"p{owners[steel]}.{STEELS[steel]}",
                        "hrc": hrc[owners[steel], steel], "interest": owners[steel] == tester, "blinded": blinded, "right": right,
                        "guess": sharpener if right else tester + other - sharpener, "lot": f"coil.{used}", "humidity": air,
                        "metres": begin + METRES * place, "angle": habit[sharpener] + effects.first_wider * (steel == 0) + rng.normal(0, 2),
                        "finish": COARSE if rng.random() < 0.3 + effects.first_coarse * (steel == 0) else FINE,
                    }
                )  # fmt: skip
    return runs


def _planted(run: dict, effects: Effects) -> float:
    """What all that a probe asks about adds to one run, start and lot aside."""
    own = run["sharpener"] == run["tester"]
    return (
        effects.first * (run["steel"] == STEELS[0])
        + effects.coil_10m * run["metres"] / 10
        + effects.order * run["place"]
        + effects.humidity_10 * (run["humidity"] - 60) / 10
        + effects.later * (run["evening"] > 1)
        + effects.own * own
        + effects.expectation * (own and not run["blinded"])
        + effects.right_guess * (run["blinded"] and run["right"])
        + effects.interest * run["interest"]
        + effects.angle_deg * run["angle"]
        + effects.finish_ln * run["finish"]
        + effects.hrc * run["hrc"]
    )


def _starts(runs: list[dict], effects: Effects, rng: np.random.Generator) -> np.ndarray:
    """True keenness before the first cut."""
    people = sum(_term(START_SDS[name], [run[name] for run in runs], rng) for name in ("sharpener", "tester", "blade"))
    steel = np.array([effects.first_starts * (run["steel"] == STEELS[0]) for run in runs])
    return people + steel + START_SDS["run"] * rng.standard_normal(len(runs))


def _groups(runs: list[dict]) -> dict[str, list[str]]:
    """Labels of every true random term but lot and residual."""
    found = {name: [str(run[name]) for run in runs] for name in ("sharpener", "tester", "blade", "submission")}
    found["evening"] = [f"{run['submission']} {run['evening']}" for run in runs]
    for person in ("sharpener", "tester"):
        found[f"steel × {person}"] = [f"{run['steel']} {run[person]}" for run in runs]
    return found


def _term(sd: float, labels: list, rng: np.random.Generator) -> np.ndarray:
    """One draw a level, in the order in which levels appear."""
    numbers = {label: i for i, label in enumerate(dict.fromkeys(labels))}
    return sd * rng.standard_normal(len(numbers))[[numbers[label] for label in labels]]


def _row(run: dict, value: float, start: float, relative: float) -> EndpointRow:
    return EndpointRow(
        pool=POOL, version="1.0.0", submission=run["submission"], month="2026-05", endpoint=ENDPOINT, role="overall",
        run=f"r{run['number']}", order=run["number"] + 1, evening=run["evening"], blade=run["blade"], steel=run["steel"], batch=None,
        sharpener=f"p{run['sharpener']}", tester=f"p{run['tester']}", lot=run["lot"], own_sharpening=run["sharpener"] == run["tester"],
        sharpening=None, split_tester=False, low=value, high=value, status=EXACT, reason="", reading_se=math.nan, raw=math.nan,
        failed_preparation=False, damaged=False, flags=(), angle_deg=run["angle"], coil_position_m=run["metres"],
        humidity_percent=run["humidity"], blinded=run["blinded"], guessed_sharpener=f"p{run['guess']}" if run["blinded"] else None,
        interest=run["interest"], finish_um=math.exp(run["finish"]), hrc=run["hrc"], start=start, start_se=START_READ / math.sqrt(3),
        relative_life=relative,
    )  # fmt: skip
