"""One submission as the JSON that a person would send, fields in the order of the format.

Facts that the form asks for and nobody knew stay as null; facts that never came up are left out.
"""

from __future__ import annotations

from collections import Counter

import numpy as np

from . import cast
from .cutting import LOT_CHANGE_AT, Array, Circumstances, Taken, keenness, take_readings
from .kits import edge_angle, kit
from .scenes import Arm, Scene
from .world import World, scene_stream
from .writing import METRES, NEWTONS, Hand, in_steps, written

FORMAT, WITH_PARTNERS = "submission/1.0.0", "submission/1.1.0"
NOTE = "Simulated: made by the demonstration's generator, no blade was ever cut with."
_LETTERS = {
    "two-sharpeners-rope": "p", "steels-exchanged-rope": "s", "life-on-card": "c", "first-evening-paper": "f",
    "finish-in-halves-rope": "g", "strop-or-not-paper": "t",
}  # fmt: skip
_START_STATES = {5: None, 7: "bevel reset"}
_ANSWERED = {
    "burr": ("/readings/1", "sharper-after-work"),
    "lot change": ("/lot_changes/0", "lot-change"),
    "read at 22": ("/readings/3/work", "off-checkpoint"),
}
_SIDE_NOTES = {
    "burr": "A burr came off with the first strokes.",
    "edge damaged": "Small chip, seen against the lamp after this reading.",
    "edge touched up": "Stropped without thinking; the run ends here.",
    "lot change": "The coil ended in the middle of the run.",
    "medium ran out": "No more to cut that evening.",
    "pass, fail, pass": "One reading spoiled, perhaps by the paper.",
    "read at 22": "Lost count, read two cuts late.",
    "tester change": "A second pair of hands took over.",
    "tester stopped": "The tester was tired and stopped.",
}


def submission_id(scene: Scene) -> str:
    """The file's name: who sends it, when, and a letter for the protocol and its number there."""
    letter = _LETTERS[scene.method.protocol]
    return f"{scene.blocks[0][0].tester}-{scene.month}-{letter}{scene.number:02d}"


def submission(scene: Scene, place: int, seed: int, world: World) -> dict[str, object]:
    """One scene cut and written down; `place` numbers its random stream."""
    rng = scene_stream(seed, place)
    preparations, runs = _preparations_and_runs(scene, world, rng)
    blades = [cast.blade(key) for key in sorted({arm.blade for block in scene.blocks for arm in block})]
    lots = sorted({scene.supply} | {lot for trouble in scene.trouble.values() if (lot := _next_lot(scene, trouble))})
    return {
        "format": WITH_PARTNERS if scene.method.in_turn else FORMAT,
        "id": submission_id(scene),
        "protocol": {"id": scene.method.protocol, "version": scene.method.version},
        "origin": "simulated",
        "licence": "CC0-1.0",
        "submitted_by": scene.blocks[0][0].tester,
        "month": scene.month,
        "people": [person_entry(h) for h in _everybody(scene, blades, lots)],
        "blades": [_blade(b) for b in blades],
        "lots": [_lot(cast.supply(key)) for key in lots],
        **({} if scene.gauge is None else {"instruments": [_instrument(cast.gauge(scene.gauge))]}),
        "preparations": preparations,
        "runs": runs,
        **_answers(scene),
        "note": NOTE,
    }


def _everybody(scene: Scene, blades: list[cast.Specimen], lots: list[str]) -> list[str]:
    """Everyone named anywhere in the file, also as owner or maker in a key."""
    arms = [arm for block in scene.blocks for arm in block]
    handles = {a.sharpener for a in arms} | {a.tester for a in arms} | {b.owner for b in blades}
    handles |= {b.maker for b in blades if b.maker} | {b.batch.split(".")[0] for b in blades if b.batch}
    handles |= {key.split(".")[0] for key in [*lots, *([scene.gauge] if scene.gauge else [])]}
    return sorted(handles)


def listed(value: object) -> list[dict[str, object]]:
    """A list of a record, to add to."""
    assert isinstance(value, list)
    return value


def person_entry(handle: str) -> dict[str, object]:
    """Somebody who is named, and has agreed."""
    return {"handle": handle, "agreed": "yes", "sharpening": cast.person(handle).sharpening}


def _blade(b: cast.Specimen) -> dict[str, object]:
    interests = [] if b.interest is None else [{"person": b.owner, "interest": b.interest}]
    interests += [{"person": b.maker, "interest": "maker"}] if b.maker else []
    return {
        "key": b.key,
        "steel": {"designation": b.true_steel} if b.steel_known else None,
        "batch": b.batch,
        "hardness": None if b.hrc is None else {"hrc": b.hrc, "known_by": b.known_by},
        "edge": "plain",
        "profile": b.profile,
        "grind": b.grind,
        **({} if b.thickness_mm is None else {"thickness_behind_edge": {"written": b.thickness_mm, "unit": "mm"}}),
        "interest": interests or None,
    }


def _lot(s: cast.Supply) -> dict[str, object]:
    return {"key": s.key, "medium": s.medium, **({"note": s.note} if s.note else {})}


def _instrument(g: cast.Gauge) -> dict[str, object]:
    step = Hand(g.hand.unit, g.hand.step, "fraction" if "/" in g.hand.step else "number")
    step_written = g.hand.step if "/" in g.hand.step else written(float(step.step), step)
    return {"key": g.key, "kind": g.kind, "resolution": {"written": step_written, "unit": g.hand.unit}}


def _preparations_and_runs(scene: Scene, world: World, rng: np.random.Generator) -> tuple[list[dict[str, object]], list[dict[str, object]]]:
    """Draw the order within each block; one preparation a run, on the same blade one after the other."""
    ordered = [(b, arm) for b, block in enumerate(_begun(scene, rng)) for arm in block]
    evenings = world.effects.evening_sd * rng.standard_normal(len(scene.blocks))
    weather = rng.normal(64, 8, len(scene.blocks))
    position = float(rng.integers(0, 60))
    preparations: list[dict[str, object]] = []
    runs: list[dict[str, object]] = []
    last_on_edge: dict[tuple[str, str], str] = {}
    turns: Counter[int] = Counter()
    shared: Array | None = world.effects.pair_sd * rng.standard_normal(len(scene.blocks)) if scene.method.in_turn else None
    for order, (block, arm) in enumerate(ordered, start=1):
        evening = block if scene.evenings == "one a block" else 0
        trouble = scene.trouble.get(order)
        c = Circumstances(
            turns[evening], float(evenings[evening]), scene.supply, _next_lot(scene, trouble), position,
            float(weather[evening]), scene.blinding == "helper coded", None if shared is None else float(shared[block]),
        )  # fmt: skip
        edge = (arm.blade, arm.edge_part)
        preparations.append(_preparation(scene, order, arm, last_on_edge.get(edge), rng))
        last_on_edge[edge] = _edge_id(order)
        runs.append(_run(scene, order, evening, arm, c, trouble, world, rng))
        if not scene.method.in_turn or order % 2 == 0:  # cut in turn, from the same few centimetres
            turns[evening] += 1
            position += float(rng.integers(4, 9))
    return preparations, runs


def _begun(scene: Scene, rng: np.random.Generator) -> list[tuple[Arm, ...]]:
    """The arms of each block in their order: drawn for each, but of two blades in turn one coin says which begins the first pair."""
    if scene.method.blades:
        step = -1 if rng.integers(2) else 1
        return [block[::step] for block in scene.blocks]
    return [tuple(block[i] for i in rng.permutation(len(block))) for block in scene.blocks]


def _answers(scene: Scene) -> dict[str, object]:
    """What the submitter says to the warnings of the check that were to be expected."""
    answers = [
        {"pointer": f"/runs/{order - 1}{_ANSWERED[trouble][0]}", "code": _ANSWERED[trouble][1], "says": _SIDE_NOTES[trouble]}
        for order, trouble in sorted(scene.trouble.items())
        if trouble in _ANSWERED
    ]
    return {"answers": answers} if answers else {}


def _next_lot(scene: Scene, trouble: str | None) -> str | None:
    if trouble != "lot change":
        return None
    others = [s.key for s in cast.SUPPLIES if s.shore == scene.shore and s.medium == scene.method.medium]
    return others[(others.index(scene.supply) + 1) % len(others)]


def _edge_id(order: int) -> str:
    return f"edge-{order}"


def _preparation(scene: Scene, order: int, arm: Arm, before: str | None, rng: np.random.Generator) -> dict[str, object]:
    tools = kit(arm.sharpener)
    return {
        "id": _edge_id(order),
        "blade": arm.blade,
        "sharpener": arm.sharpener,
        **({} if arm.edge_part == "whole" else {"edge_part": arm.edge_part}),
        "start_state": _START_STATES.get(scene.number % 9, "apex flattened"),
        **({"previous_preparation": before} if before else {}),
        "edge_angle": edge_angle(arm.sharpener, cast.blade(arm.blade).grind, rng),
        "stages": tools.stages,
        "deburring": tools.deburring,
        "strop": tools.strop,
        "minutes": None if tools.minutes is None else max(4, tools.minutes + int(rng.integers(-3, 4))),
    }


def _hand(scene: Scene) -> Hand:
    """How the readings are written, or the lengths of card."""
    if scene.gauge is not None:
        return cast.gauge(scene.gauge).hand
    assert scene.tape is not None  # where no force is read, card is measured
    return cast.TAPES[scene.tape]


def _run(
    scene: Scene,
    order: int,
    evening: int,
    arm: Arm,
    c: Circumstances,
    trouble: str | None,
    world: World,
    rng: np.random.Generator,
) -> dict[str, object]:
    m, e = scene.method, world.effects
    hand = _hand(scene)
    work_hand = Hand("cut", "1") if scene.tape is None else cast.TAPES[scene.tape]
    marks, work = _marks(scene, work_hand, trouble)
    true = keenness(world, m, arm, cast.blade(arm.blade), c, work, rng)
    taken = take_readings(true, m, work, trouble, e, rng)
    weather_noted = scene.number % 3 != 1
    return {
        "id": f"run-{order}",
        "order": order,
        "evening": None if scene.evenings == "not noted" else evening + 1,
        "preparation": _edge_id(order),
        **({"partner": f"run-{order + 1 if order % 2 else order - 1}"} if m.in_turn else {}),
        "tester": arm.tester,
        **({"tester_change_at_work": 20} if trouble == "tester change" else {}),
        "lot": scene.supply,
        **({"lot_changes": [{"at_work": int(LOT_CHANGE_AT), "lot": c.next_lot}]} if c.next_lot else {}),
        "coil_position_m": None if m.on_card or scene.number % 4 == 1 else c.coil_position_m,
        **({} if scene.gauge is None else {"instrument": scene.gauge}),
        "temperature_c": round(float(rng.normal(16, 3)), 1) if weather_noted else None,
        "humidity_percent": float(round(c.humidity_percent)) if weather_noted else None,
        "blinding": scene.blinding,
        **_guess(scene, arm, rng),
        "work_unit": work_hand.unit,
        **({} if m.pass_fail else {"reading_unit": hand.unit}),
        "planned_last_checkpoint": marks[-1],
        "ended": taken.ended,
        "readings": _readings(scene, marks, taken, trouble, hand),
        **({"note": _SIDE_NOTES[trouble]} if trouble in _SIDE_NOTES else {}),
    }


def _marks(scene: Scene, hand: Hand, trouble: str | None) -> tuple[list[int | float | str], list[float]]:
    """Checkpoints as written, and the work they truly stand for in the protocol's unit."""
    planned = [22.0 if trouble == "read at 22" and w == 20 else w for w in scene.method.planned]
    if trouble == "no reading at 0":
        planned = planned[1:]
    size = METRES.get(hand.unit, 1.0)
    exact = [in_steps(w / size, hand.step) for w in planned]
    return [written(float(w), hand) for w in exact], [float(w) * size for w in exact]


def _readings(scene: Scene, marks: list[int | float | str], taken: Taken, trouble: str | None, hand: Hand) -> list[dict[str, object]]:
    if scene.method.pass_fail:
        return [
            {"work": mark, "outcomes": ["pass" if v else "fail" for v in values]} for mark, values in zip(marks, taken.values, strict=False)
        ]
    repeats = 2 if trouble == "two repeats" else scene.method.repeats
    end = None if scene.gauge is None else cast.gauge(scene.gauge).scale_end
    rows: list[dict[str, object]] = [
        {"work": mark, "values": [_value(v, hand, end) for v in values[:repeats]]}
        for mark, values in zip(marks, taken.values, strict=False)
    ]
    if trouble == "below the scale":
        rows[0]["values"] = [{"written": 0, "limit": "below"} for _ in taken.values[0][:repeats]]
        rows[0]["note"] = "The thread parted before the scale moved."
    return rows


def _value(newtons: float, hand: Hand, scale_end: float | None) -> dict[str, object]:
    value = newtons / NEWTONS[hand.unit]
    if scale_end is not None and value >= scale_end:
        return {"written": int(scale_end), "limit": "above"}
    return {"written": written(value, hand)}


def _guess(scene: Scene, arm: Arm, rng: np.random.Generator) -> dict[str, object]:
    """A coded tester's belief; right a little more often than chance. The draw is made whether or not it is used."""
    right, confidence = rng.random() < 0.6, int(rng.integers(3, 10)) * 10
    if scene.blinding != "helper coded":
        return {}
    what = "sharpener" if scene.method.protocol == "two-sharpeners-rope" else "blade"
    own = getattr(arm, what)
    others = sorted({getattr(a, what) for block in scene.blocks for a in block} - {own})
    return {"tester_guess": {what: own if right or not others else others[0], "confidence_percent": confidence}}
