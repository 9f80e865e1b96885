"""One run: keenness along the work, and the readings a tester takes. Forces in newtons, lengths in metres."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from .cast import Specimen, person
from .effects import Effects, mean_keenness
from .methods import Method
from .scenes import Arm
from .world import World, batch_of

Array = npt.NDArray[np.float64]
Bools = npt.NDArray[np.bool_]

DAMAGE_AFTER = {True: 16.0, False: 40.0}  # last reading before the chip, on card and on rope
TOUCHED_UP_AFTER = 40.0
STOPPED_AFTER = {True: 8.0, False: 40.0}
LOT_CHANGE_AT = 30.0
BURR = 0.8  # how much a burr spoils the first reading; cut off by the first strokes
OBEYS_STOPPING = 0.92  # share of runs that stop when the rule says so; in the others the tester goes on to the last checkpoint


@dataclass(frozen=True)
class Circumstances:
    """Where and how one run was made.

    Attributes
    ----------
    turn : how many runs came before it that evening.
    evening_ln : that evening's shift.
    lot, next_lot : coil or stack at the start, and after a change in mid-run (None: no change).
    coil_position_m, humidity_percent : true values, noted or not.
    blinded : the tester did not know whose edge it was.
    pair_ln : shift that a run shares with the one that it is cut in turn with; None where it has none.
    """

    turn: int
    evening_ln: float
    lot: str
    next_lot: str | None
    coil_position_m: float
    humidity_percent: float
    blinded: bool
    pair_ln: float | None = None


@dataclass(frozen=True)
class Taken:
    """Readings as taken: work, and forces in newtons or True for each slice that passed."""

    work: tuple[float, ...]
    values: tuple[tuple[float, ...], ...]
    ended: str


def shift(world: World, arm: Arm, specimen: Specimen, c: Circumstances) -> float:
    """Everything that adds to keenness alike all along a run, except the run's own luck and the lot."""
    e, pair = world.effects, f"{specimen.true_steel} : "
    return (
        world.sharpeners[arm.sharpener]
        + world.testers[arm.tester]
        + world.blades[specimen.key]
        + world.batches[batch_of(specimen)]
        + world.steel_testers[pair + arm.tester]
        + world.steel_sharpeners[pair + arm.sharpener]
        + c.evening_ln
        + e.order_drift * c.turn
        + e.coil_position * c.coil_position_m / 10
        + e.humidity * (c.humidity_percent - 60) / 10
        + e.expectation * (arm.sharpener == arm.tester and not c.blinded)
        + (c.pair_ln or 0.0)
        + (0.0 if c.pair_ln is None or arm.edge_part == "whole" else e.tip_half * ((arm.edge_part == "tip") - 0.5))
    )


def keenness(
    world: World, method: Method, arm: Arm, specimen: Specimen, c: Circumstances, work: list[float], rng: np.random.Generator
) -> Array:
    """True keenness of one run at each amount of work; on card, above what still passes."""
    e = world.effects
    novice = person(arm.sharpener).novice
    alone = e.run_sd if c.pair_ln is None else math.sqrt(max(0.0, e.run_sd**2 - e.pair_sd**2))
    own = alone * rng.standard_normal()
    start = e.unequal_start_sd * rng.standard_normal()
    lots = [world.lots[c.next_lot if c.next_lot and w >= LOT_CHANGE_AT else c.lot] for w in work]
    mean = [mean_keenness(e, method, specimen.true_steel, novice, w, arm.level) for w in work]
    w1 = method.first_checkpoint
    fading = start * w1 / (np.asarray(work) + w1)
    found: Array = np.array(mean) + lots + fading + own + shift(world, arm, specimen, c)
    return found


def take_readings(true: Array, method: Method, work: list[float], trouble: str | None, effects: Effects, rng: np.random.Generator) -> Taken:
    """Read each checkpoint until the run ends."""
    spread = effects.reading_sd * method.thread_noise
    noisy: Array = true[:, None] + spread * rng.standard_normal((len(work), 3))
    obeys = rng.random() < OBEYS_STOPPING
    if trouble == "burr":
        noisy[0] -= BURR
    values: Array | Bools
    if method.threshold_n is None:
        passed, dull = noisy > 0, np.asarray((noisy <= 0).all(axis=1))
        if trouble == "pass, fail, pass":
            _one_odd_slice(passed, dull)
        values = passed
    else:
        values = np.exp(-noisy)
        dull = values.mean(axis=1) > method.threshold_n
    last, ended = _end(dull, work, trouble, method.on_card, obeys or method.pass_fail)
    return Taken(tuple(work[: last + 1]), tuple(tuple(v.tolist()) for v in values[: last + 1]), ended)


def _one_odd_slice(values: Bools, dull: Bools) -> None:
    """Fail one whole checkpoint two before the lasting fail: a stray fibre in the paper."""
    first = int(np.argmax(dull)) if dull.any() else len(dull) - 1
    values[max(1, first - 2)] = False


def _end(dull: Bools, work: list[float], trouble: str | None, on_card: bool, obeys: bool) -> tuple[int, str]:
    """Index of the last reading, and how the run ended."""
    broken_off = {
        "medium ran out": STOPPED_AFTER[on_card], "tester stopped": STOPPED_AFTER[on_card],
        "edge damaged": DAMAGE_AFTER[on_card], "edge touched up": TOUCHED_UP_AFTER,
    }  # fmt: skip
    last = len(work) - 1
    stop = next((i for i in range(2, last) if dull[i - 1] and dull[i]), last) if obeys else last
    if trouble in broken_off:
        after = max(i for i, w in enumerate(work) if w <= broken_off[trouble] + 0.5)
        if after <= stop:
            return after, trouble
    if stop < last or (on_card and dull[last] and dull[last - 1]):
        return stop, "dull"
    return last, "last checkpoint"
