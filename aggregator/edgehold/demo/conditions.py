"""Evenings of two-sharpeners-rope 2.0.0 that one person does alone: the own edge against the one from before the course, or against the
factory's.

Told apart from the other scenes, and drawn from streams of its own, so that not a byte of their files moves. What somebody's edge was like
before is drawn as the hand of a novice of the same shore, a factory's as that of somebody practised.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from .methods import method
from .record import listed, person_entry, submission, submission_id
from .scenes import Arm, Scene, scene_of
from .world import World

FORMAT = "submission/1.4.0"
_FIRST_NUMBER = 47  # of the protocol's submissions, after the halves that two people sharpened
_FIRST_PLACE = 1100  # of the random streams
_MONTH = "2026-10"
_BEFORE, _FACTORY = "before the course", "factory"
_UNKNOWN = ("edge_angle", "stages", "deburring", "strop", "minutes")  # of an edge as it was delivered

# what the own edge is compared with | who sharpens and tests | whose hand stands for it | two blades
_EVENINGS = """
before | dunlin | mudlark | dunlin.galley dunlin.rigging
before | rowlock | cormorant | rowlock.galley rowlock.rigging
before | fairlead | skua | fairlead.bosun windlass.bosun
factory | halyard | bowline | halyard.rigging halyard.galley
factory | sculler | grommet | sculler.galley sculler.rigging
factory | thwart | windlass | thwart.galley thwart.rigging
"""


def files(seed: int, world: World) -> Iterator[tuple[str, dict[str, object]]]:
    """Path below ``submissions/simulated/`` and record of each of these submissions."""
    for number, row in enumerate(_EVENINGS.strip().splitlines(), _FIRST_NUMBER):
        against, tester, stand_in, blades = (cell.strip() for cell in row.split("|"))
        scene = _scene(number, tester, stand_in, blades.split())
        record = submission(scene, _FIRST_PLACE + number, seed, world)
        yield f"{scene.method.protocol}/{submission_id(scene)}.json", _told(record, against, tester, stand_in)


def _scene(number: int, tester: str, stand_in: str, blades: list[str]) -> Scene:
    """A pair of halves on each blade, cut in turn; heel and tip change hands from one blade to the next."""
    halves = ("heel", "tip")
    pairs = tuple(
        tuple(Arm(blade, hand, tester, halves[(n + turn) % 2]) for turn, hand in enumerate((stand_in, tester)))
        for n, blade in enumerate(blades)
    )
    made = scene_of(number, method("two-sharpeners-rope", "2.0.0").protocol, "2.0.0", _MONTH, pairs)
    return replace(made, blinding="none")


def _told(record: dict[str, object], against: str, tester: str, stand_in: str) -> dict[str, object]:
    """The record with the stand-in's edges under the name that they go by."""
    edges = [_edge(edge, against, tester, stand_in) for edge in listed(record["preparations"])]
    named = {str(entry["handle"]) for entry in listed(record["people"])}
    kept = sorted(named - {stand_in} | {key.split(".")[0] for key in _keys(record)})
    return record | {"format": FORMAT, "people": [person_entry(handle) for handle in kept], "preparations": edges}


def _keys(record: dict[str, object]) -> list[str]:
    return [str(one["key"]) for name in ("blades", "lots", "instruments") for one in listed(record.get(name, []))]


def _edge(edge: dict[str, object], against: str, tester: str, stand_in: str) -> dict[str, object]:
    if edge["sharpener"] != stand_in:
        return edge
    if against == "before":
        whole: dict[str, object] = {}
        for name, value in edge.items():  # fields in the order of the format
            whole[name] = tester if name == "sharpener" else "as left" if name == "start_state" else value
            if name == "edge_part":
                whole["condition"] = _BEFORE
        return whole
    delivered = {name: value for name, value in edge.items() if name not in _UNKNOWN}
    return delivered | {"sharpener": _FACTORY, "start_state": _FACTORY}
