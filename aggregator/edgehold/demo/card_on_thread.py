"""Evenings of life-on-card 2.0.0: card read on a thread, with reference edges and known weights beside the runs.

Told apart from the other scenes, and drawn from streams of its own, so that not a byte of their files moves. Three tables are a single
tester with a single blade, who compares nothing and has a reference edge; two of them stand on shores where nobody else cuts card. On one
the thread runs over a filed notch instead of a roller: its rig reads high by what the effects say, which the reference edge shows and no
weight does.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from . import cast
from .methods import Method, method
from .record import listed, person_entry, submission, submission_id
from .scenes import STEEL, Arm, Scene
from .world import World, reference_stream
from .writing import METRES, NEWTONS, Hand, in_steps, written

FORMAT = "submission/1.2.0"
_FIRST_NUMBER = 15  # of the protocol's submissions, after those on paper
_FIRST_PLACE = 1000  # of the random streams, after those of all other scenes
_MONTH = "2026-10"
_WEIGHTS = ((500, "Half a litre of water."), (200, "A fifth of a litre of water."))
_RIG_SD = 0.02  # how far a rig's figure for a known weight lies from it, on the ln scale
_KEPT = {
    cast.HARBOUR: ("tern.card-2", "tern.snap-1", "oakum.reel-1"),
    cast.FAR_SHORE: ("capstan.card-1", "gannet.snap-1", "gannet.reel-1"),
    cast.UP_RIVER: ("heron.card-1", "heron.snap-1", "heron.reel-1"),
    cast.LIGHTHOUSE: ("razorbill.card-1", "razorbill.snap-1", "razorbill.reel-1"),
}
"""By shore: the stack of card, the pack of snap-off blades and the reel of thread."""

# steels | tester | sharpener | rounds | unit of length; two people test each their own edges
_EVENINGS = """
pc hc | tern | tern | 3 | m
fs hs | oakum | oakum | 2 | m
hc ps | halyard | fid | 3 | m
pc ts | kedge | kedge | 2 | cm
hs hc | rowlock petrel | rowlock petrel | 2 | m
fs ps | sculler | sculler | 3 | ft
pc hs | gannet | capstan | 3 | m
ts fs | turnstone | turnstone | 2 | m
hc | thole | thole | 2 | m
pc | heron | heron | 3 | m
pc | auklet | auklet | 2 | cm
"""
_TO_THE_END = ("auklet",)  # who, alone with one blade, have the evening for it
_NOTCHED = ("heron",)  # whose thread runs over a filed notch
_TROUBLE = {17: {4: "medium ran out"}, 19: {3: "tester stopped"}}


def files(seed: int, world: World) -> Iterator[tuple[str, dict[str, object]]]:
    """Path below ``submissions/simulated/`` and record of each of these submissions."""
    for scene in scenes():
        yield f"{scene.method.protocol}/{submission_id(scene)}.json", _submission(scene, seed, world)


def scenes() -> tuple[Scene, ...]:
    """Who cut what, with whose edge."""
    rows = (line.split("|") for line in _EVENINGS.strip().splitlines())
    return tuple(_scene(number, *(cell.strip() for cell in row)) for number, row in enumerate(rows, _FIRST_NUMBER))


def _scene(number: int, steels: str, testers: str, sharpeners: str, rounds: str, tape: str) -> Scene:
    on_thread, shore = method("life-on-card", "2.0.0"), cast.person(testers.split()[0]).shore
    if testers in _TO_THE_END:
        on_thread = replace(on_thread, planned_last=on_thread.checkpoints[-1])
    hands = list(zip(sharpeners.split(), testers.split(), strict=True))
    blades = {code: cast.blades_of(shore, STEEL[code]) for code in steels.split()}
    one_round = tuple(Arm(owned[number % len(owned)].key, s, t) for owned in blades.values() for s, t in hands)
    return Scene(
        number, on_thread, _MONTH, shore, (one_round,) * int(rounds),
        evenings="one",
        supply=_KEPT[shore][0],
        gauge=_gauge(shore, number, on_thread),
        tape=tape,
        blinding="helper coded" if number % 2 and len(steels.split()) > 1 else "none",
        trouble=_TROUBLE.get(number, {}),
    )  # fmt: skip


def _gauge(shore: str, number: int, on_thread: Method) -> str:
    fitting = [g for g in cast.GAUGES if g.shore == shore and g.hand.unit in on_thread.units and g.scale_end is None]
    return fitting[number % len(fitting)].key


def _submission(scene: Scene, seed: int, world: World) -> dict[str, object]:
    world = _as_read(world)
    record = submission(scene, _FIRST_PLACE + scene.number, seed, world)
    rng = reference_stream(seed, scene.number)
    _, pack, reel = _KEPT[scene.shore]
    lots = [{"key": pack, "use": "reference edges"}, {"key": reel, "use": "read on", "note": "waxed linen thread, 0.6 mm"}]
    beside = {"references": _references(scene, world, rng), "weights": _weights(scene, rng)}
    whole: dict[str, object] = {}
    for name, value in record.items():  # fields in the order of the format
        whole[name] = value
        if name == "runs":
            whole |= beside
    named = {str(entry["handle"]) for entry in listed(record["people"])} | {key.split(".")[0] for key in (pack, reel)}
    return whole | {
        "format": FORMAT,
        "people": [person_entry(handle) for handle in sorted(named)],
        "lots": [*listed(record["lots"]), *lots],
    }


def _as_read(world: World) -> World:
    """The world as these rigs read it: where the thread drags, every edge seems duller."""
    dragged = {handle: world.testers[handle] - world.effects.notch for handle in _NOTCHED}
    return replace(world, testers=world.testers | dragged)


def _references(scene: Scene, world: World, rng: np.random.Generator) -> list[dict[str, object]]:
    """A fresh segment before the first run and another after the last."""
    runs = sum(map(len, scene.blocks))
    return [_reference(scene, when, turn, world, rng) for when, turn in (("start", 0), ("end", runs))]


def _reference(scene: Scene, when: str, turn: int, world: World, rng: np.random.Generator) -> dict[str, object]:
    e, m, hand = world.effects, scene.method, cast.gauge(str(scene.gauge)).hand
    assert m.reference_work is not None and scene.tape is not None
    tester, (_, pack, reel) = scene.blocks[0][0].tester, _KEPT[scene.shore]
    tape = cast.TAPES[scene.tape]
    fresh = -e.reference_ln_n + world.testers[tester] + e.order_drift * turn + e.segment_sd * rng.standard_normal()
    keen = (fresh, fresh - e.reference_wear + world.lots[scene.supply])
    noise = e.reading_sd * m.thread_noise * rng.standard_normal((2, m.repeats))
    marks = [written(float(in_steps(work / METRES[tape.unit], tape.step)), tape) for work in (0.0, m.reference_work)]
    return {
        "when": when,
        "evening": 1,
        "pack": pack,
        "segment": f"{pack.split('.')[0]}.segment-{2 * scene.number + (when == 'end')}",
        "tester": tester,
        "lot": scene.supply,
        "reading_lot": reel,
        "instrument": scene.gauge,
        "work_unit": tape.unit,
        "reading_unit": hand.unit,
        "readings": [
            {"work": mark, "values": [_shown(math.exp(-k - float(z)), hand) for z in row]}
            for mark, k, row in zip(marks, keen, noise, strict=True)
        ],
    }


def _weights(scene: Scene, rng: np.random.Generator) -> list[dict[str, object]]:
    """What the rig said of half a litre and of a fifth of a litre of water."""
    hand = cast.gauge(str(scene.gauge)).hand
    return [
        {
            "evening": 1,
            "instrument": scene.gauge,
            "known": {"written": grams, "unit": "gf"},
            "read": {**_shown(grams * NEWTONS["gf"] * math.exp(_RIG_SD * rng.standard_normal()), hand), "unit": hand.unit},
            "note": note,
        }
        for grams, note in _WEIGHTS
    ]


def _shown(newtons: float, hand: Hand) -> dict[str, object]:
    return {"written": written(newtons / NEWTONS[hand.unit], hand)}
