"""A repository of any number of submissions, made as the demonstration is, for measuring how a build grows.

    python -m tests.benchmarks.growth_repository 500 FOLDER [--steels 50]

Every 152 of them are a demonstration of a seed of its own (``edgehold.demo``), so that no two files hold the same readings: other people,
blades, lots and instruments, months shifted back by up to a year, real steels in place of the invented ones. One person of each hundred
and a half moves on to the next, so that all hang together by exchanges as far as those of the demonstration do. With 50 steels every
demonstration tests six of them, drawn at random; with few, six always.
"""

from __future__ import annotations

import argparse
import json
import shutil
from collections.abc import Iterator
from pathlib import Path

import numpy as np

from edgehold.demo.generate import PUBLISHED_SEED, generate

from .check_speed import in_other_words, placed

ROOT = Path(__file__).parents[2]
FEW, MANY = 6, 50
MOVER, HOST = "tern", "oakum"  # both practised: the one of a demonstration is the other of the next
SHIFTED = 12  # months at most


def submissions(count: int, steels: int) -> Iterator[dict]:
    """So many submissions; those of a smaller repository are the first of a larger one."""
    names = designations(steels)
    for number in range(-(-count // 152)):
        rng = np.random.default_rng([PUBLISHED_SEED, number])
        made = generate(PUBLISHED_SEED + number).files
        trees = [json.loads(made[name]) for name in rng.permutation(sorted(made))]
        moved_back = int(rng.integers(SHIFTED + 1))
        chosen = rng.choice(names, FEW, replace=False).tolist() if steels > FEW else names
        for tree in trees[: count - 152 * number]:
            yield elsewhere(tree, number, dict(zip(invented_steels(), chosen, strict=True)), moved_back)


def invented_steels() -> list[str]:
    """The demonstration's, by name."""
    entries = json.loads((ROOT / "aggregator" / "registers" / "steels.json").read_bytes())["steels"]
    return sorted(one["names"][0]["designation"] for one in entries if one["origin"] == "simulated")[:FEW]


def designations(count: int) -> list[str]:
    """As many real steels of the register."""
    entries = json.loads((ROOT / "aggregator" / "registers" / "steels.json").read_bytes())["steels"]
    found = [
        f"{one['names'][0]['system'].split('/')[0]} {one['names'][0]['designation']}" for one in entries if one["origin"] == "measured"
    ]
    if len(found) < count:
        raise ValueError(f"the register holds {len(found)} real steels; asked for {count}")
    return found[:count]


def elsewhere(tree: dict, number: int, steels: dict[str, str], moved_back: int) -> dict:
    """One submission of the demonstration as if other people had made it, so many months earlier."""
    handles = {person["handle"]: f"{person['handle']}-{number}" for person in tree["people"]}
    keys = {item["key"] for name in ("blades", "lots", "instruments") for item in tree.get(name) or ()}
    keys |= {blade["batch"] for blade in tree["blades"] if blade.get("batch")}
    renamed = {key: f"{key.partition('.')[0]}-{number}.{key.partition('.')[2]}" for key in keys}
    if number:
        mover = f"{MOVER}-{number - 1}"
        handles |= {HOST: mover} if HOST in handles else {}
        renamed |= {key: f"{mover}.{HOST}-{key.partition('.')[2]}" for key in keys if key.partition(".")[0] == HOST}
    months = 12 * int(tree["month"][:4]) + int(tree["month"][5:]) - 1 - moved_back
    told = {"id": f"{tree['id']}-{number}", "origin": "measured", "month": f"{months // 12}-{months % 12 + 1:02d}"}
    return in_other_words(tree, handles | renamed | steels) | told


def make(folder: Path, count: int, steels: int = FEW) -> int:
    """Write the project's registers, its protocols without objections, which name files of the demonstration, and so many submissions.

    Returns
    -------
    Bytes of all submissions.
    """
    shutil.copytree(ROOT / "protocols", folder / "protocols", ignore=shutil.ignore_patterns("objections", "analysis"))
    (folder / "aggregator").mkdir()
    shutil.copytree(ROOT / "aggregator" / "registers", folder / "aggregator" / "registers")
    size = 0
    for tree in submissions(count, steels):
        path, data = placed(tree)
        (folder / path).parent.mkdir(parents=True, exist_ok=True)
        (folder / path).write_bytes(data)
        size += len(data)
    return size


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("count", type=int)
    parser.add_argument("folder", type=Path)
    parser.add_argument("--steels", type=int, default=FEW)
    asked = parser.parse_args()
    print(f"{make(asked.folder, asked.count, asked.steels):,} bytes")
