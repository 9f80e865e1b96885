"""Evenings of one sharpener with one blade: coarse against fine finish on rope, stropped against bare on card, in halves cut in turn.

Told apart from the other scenes, and drawn from streams of its own, so that not a byte of their files moves. One table knows nothing of its
stone but "coarse" and "fine" and writes the level of every run; one did not note what one half was sharpened on; one ended a fine half on
paper that is neither.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from .kits import stage
from .methods import method
from .record import listed, submission, submission_id
from .scenes import Arm, Scene, scene_of
from .world import World

FORMAT = "submission/1.5.0"
_FIRST_PLACE = 1200  # of the random streams
_MONTH = "2026-10"
_FINISH, _STROP = "finish-in-halves-rope", "strop-or-not-paper"

# sharpener | tester | blade | pairs | stone
_FINISHES = """
tern | tern | tern.bosun | 4 | water stones
oakum | oakum | oakum.galley | 3 | two-sided
fid | fid | fid.rigging | 3 | papers
halyard | kittiwake | kittiwake.rigging | 3 | marked
gannet | gannet | gannet.rigging | 3 | marked
capstan | turnstone | turnstone.rigging | 3 | water stones
grommet | grommet | grommet.bosun | 3 | papers
rowlock | rowlock | rowlock.galley | 4 | marked
heron | heron | heron.rigging | 3 | papers
wagtail | wagtail | wagtail.bosun | 3 | water stones
"""
_STONES = {
    "water stones": (stage("#400", "JIS", "#400", 30.0), stage("#3000", "JIS", "#3000", 4.0)),
    "marked": (stage("400/1000, coarse side", "JIS", "#400", 30.0), stage("400/1000, fine side", "JIS", "#1000", 11.5)),
    "papers": (stage("P400", "FEPA P", "P400", 35.0), stage("P2000", "FEPA P", "P2000", 10.3)),
    "two-sided": (stage("coarse/fine, coarse side"), stage("coarse/fine, fine side")),
}
"""What the coarse half ends on, and what the fine one goes on to."""
_BETWEEN = stage("P1000", "FEPA P", "P1000", 18.3)
_IN_BETWEEN = (7, "fine", 1)  # submission, level and block of the half that ended on it
_NOT_NOTED = (5, "coarse", 2)  # of the half of which no abrasive was written down
_FINISH_TROUBLE = {
    3: {5: "tester stopped"}, 4: {2: "read at 22"}, 6: {4: "medium ran out"}, 8: {7: "edge damaged"}, 10: {6: "edge touched up"},
}  # fmt: skip

# sharpener | tester | blade | pairs | strop | unit of length
_STROPS = """
sculler | sculler | sculler.galley | 3 | bare leather | cm
dunlin | petrel | dunlin.galley | 2 | leather with compound | m
windlass | windlass | gannet.rigging | 2 | denim | ft
"""


def files(seed: int, world: World) -> Iterator[tuple[str, dict[str, object]]]:
    """Path below ``submissions/simulated/`` and record of each of these submissions."""
    for number, row in enumerate(_FINISHES.strip().splitlines(), 1):
        sharpener, tester, blade, pairs, stone = (cell.strip() for cell in row.split("|"))
        scene = replace(_scene(_FINISH, number, sharpener, tester, blade, int(pairs)), trouble=_FINISH_TROUBLE.get(number, {}))
        yield _file(scene, _finished(scene, submission(scene, _FIRST_PLACE + number, seed, world), stone))
    for number, row in enumerate(_STROPS.strip().splitlines(), 1):
        sharpener, tester, blade, pairs, strop, tape = (cell.strip() for cell in row.split("|"))
        scene = _scene(_STROP, number, sharpener, tester, blade, int(pairs), tape)
        yield _file(scene, _stropped(scene, submission(scene, _FIRST_PLACE + 50 + number, seed, world), strop))


def _file(scene: Scene, record: dict[str, object]) -> tuple[str, dict[str, object]]:
    runs = [{name: value for name, value in run.items() if name != "tester_guess"} for run in listed(record["runs"])]
    return f"{scene.method.protocol}/{submission_id(scene)}.json", record | {"format": FORMAT, "runs": runs}


def _scene(protocol: str, number: int, sharpener: str, tester: str, blade: str, pairs: int, tape: str | None = None) -> Scene:
    """Pairs of halves by one sharpener; heel and tip change levels from one pair to the next."""
    halves = ("heel", "tip")
    blocks = tuple(
        tuple(Arm(blade, sharpener, tester, halves[(n + turn) % 2], word) for turn, word in enumerate(method(protocol, "1.0.0").levels))
        for n in range(pairs)
    )
    made = scene_of(number, protocol, "1.0.0", _MONTH, blocks, tape)
    return replace(made, blinding="none" if sharpener == tester else "helper coded")


def _levels(scene: Scene, edges: list[dict[str, object]]) -> list[tuple[int, str]]:
    """Block and level of each edge, in the order of the edges: two a block, told apart by their halves."""
    told = [{arm.edge_part: str(arm.level) for arm in block} for block in scene.blocks]
    return [(place // 2, told[place // 2][str(edge["edge_part"])]) for place, edge in enumerate(edges)]


def _finished(scene: Scene, record: dict[str, object], stone: str) -> dict[str, object]:
    edges, runs, (coarse, fine) = listed(record["preparations"]), listed(record["runs"]), _STONES[stone]
    levels = _levels(scene, edges)
    told = []
    for edge, (block, word) in zip(edges, levels, strict=True):
        last = _BETWEEN if (scene.number, word, block) == _IN_BETWEEN else fine
        stages = None if (scene.number, word, block) == _NOT_NOTED else [coarse] if word == "coarse" else [coarse, last]
        told.append(edge | {"start_state": "apex flattened", "stages": stages, "deburring": "alternating light strokes", "strop": "none"})
    unknown = [stone == "two-sided" or edge["stages"] is None for edge in told]
    kept = [_with_level(run, word) if one else run for run, one, (_, word) in zip(runs, unknown, levels, strict=True)]
    return record | {"preparations": told, "runs": kept}


def _with_level(run: dict[str, object], word: str) -> dict[str, object]:
    """A run with its level, where the format has it."""
    whole: dict[str, object] = {}
    for name, value in run.items():
        whole[name] = value
        if name == "preparation":
            whole["level"] = word
    return whole


def _stropped(scene: Scene, record: dict[str, object], strop: str) -> dict[str, object]:
    edges = listed(record["preparations"])
    done = {"start_state": "apex flattened", "deburring": "alternating light strokes"}
    told = [
        edge | done | {"strop": strop if word == "stropped" else "none"}
        for edge, (_, word) in zip(edges, _levels(scene, edges), strict=True)
    ]
    return record | {"preparations": told}
