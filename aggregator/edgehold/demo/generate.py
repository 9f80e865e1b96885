"""All submissions from one seed, and the switch into a repository."""

from __future__ import annotations

import json
from dataclasses import dataclass
from pathlib import Path

from edgehold.disk import write_folder

from . import card_on_thread, conditions, levels
from .effects import Effects, curves_as_rows, true_ratios
from .record import submission, submission_id
from .scenes import scenes
from .world import World, draw_world

PUBLISHED_SEED = 20260501
EFFECTS_FILE = "effects.json"


@dataclass(frozen=True)
class Demonstration:
    """What one seed gives.

    Attributes
    ----------
    files : path below ``submissions/simulated/`` -> bytes of one submission.
    effects : the true effects, as they stand in ``effects.json``.
    """

    files: dict[str, bytes]
    effects: dict[str, object]


def generate(seed: int = PUBLISHED_SEED, effects: Effects | None = None) -> Demonstration:
    """The demonstration of a seed. Same seed and effects, same bytes; nothing is read or written.

    Parameters
    ----------
    seed : a whole number, 0 or larger.
    effects : the true effects; by default those of the committed demonstration.
    """
    effects = effects or Effects()
    world = draw_world(seed, effects)
    files = {
        f"{scene.method.protocol}/{submission_id(scene)}.json": _bytes(submission(scene, place, seed, world))
        for place, scene in enumerate(scenes())
    }
    beside = (*card_on_thread.files(seed, world), *conditions.files(seed, world), *levels.files(seed, world))
    files |= {name: _bytes(record) for name, record in beside}
    return Demonstration(dict(sorted(files.items())), _effects_record(seed, world))


def write_demo(root: Path, seed: int = PUBLISHED_SEED) -> tuple[Path, ...]:
    """Replace ``submissions/simulated/`` under `root` by the demonstration of a seed; returns the files written.

    Everything is written beside first, then switched in, so that a killed run leaves the old demonstration or the new.
    """
    demonstration = generate(seed)
    target = Path(root) / "submissions" / "simulated"
    contents = {**demonstration.files, EFFECTS_FILE: _bytes(demonstration.effects)}
    write_folder(target, contents)
    return tuple(target / name for name in contents)


def _effects_record(seed: int, world: World) -> dict[str, object]:
    return {
        "simulated": True,
        "what": "True effects of the invented demonstration. The aggregator never reads this file; tests do.",
        "seed": seed,
        "scale": "keenness: minus ln of the force in newtons; larger is sharper",
        "mean_curve": "-(start_ln_n + slope u) on rope, slope (u(card_life_m) - u) on card; u = ln((w + w1)/w1)",
        "curves": curves_as_rows(world.effects),
        "effects": world.effects.described(),
        "drawn": world.described(),
        "life_ratio": "difference of ln life between the mean curves at the protocol's threshold",
        "true_ratios": true_ratios(world.effects),
    }


def _bytes(value: object) -> bytes:
    return (json.dumps(value, indent=2, ensure_ascii=False, allow_nan=False) + "\n").encode("utf-8")
