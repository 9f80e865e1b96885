"""A build from what earlier builds kept gives the same bytes as one that computes everything, whatever happened in between."""

import hashlib
import json
import os
import shutil
import sqlite3
import subprocess
import sys
from contextlib import closing
from pathlib import Path

import pytest
from hypothesis import HealthCheck, Phase, example, given, settings
from hypothesis import strategies as st

from edgehold import pipeline
from edgehold.engine import tasks
from edgehold.engine.cache import FILE
from edgehold.records.change.writing import correct, retract
from edgehold.words import code_of

from .repositories import level_endpoint, protocol_text, write_repository
from .test_command_line import two_blades

NAMES = ("tern", "cleat", "fid", "gull", "kedge")
FREE = ("tern", "cleat", "gull", "kedge")  # none of them is the pilot that the protocol's adoption rests on
STEPS = st.one_of(
    st.tuples(st.just("add"), st.sampled_from(FREE)),
    st.tuples(st.just("correct"), st.sampled_from(FREE), st.sampled_from([3.5, 4.25, 5.0])),
    st.tuples(st.just("retract"), st.sampled_from(FREE)),
    st.tuples(st.just("ratio"), st.sampled_from([1.2, 1.3])),
)


def protocol(ratio: float) -> str:
    return protocol_text(endpoints=[level_endpoint(10, worthwhile_ratio=ratio)])


def repository(root: Path, names: tuple[str, ...] = NAMES[:3]) -> Path:
    return write_repository(root, protocol(1.25), [two_blades(f"{name}-1", name) for name in names])


def take(root: Path, step: tuple) -> None:
    """What a step does to the files; nothing where it does not fit what is there."""
    what, *rest = step
    if what == "ratio":
        (path,), (event,) = (root / "protocols").glob("*/*.md"), (root / "protocols").glob("*/events/*released*")
        before = hashlib.sha256(path.read_bytes()).hexdigest()
        path.write_text(protocol(rest[0]), encoding="utf-8")
        event.write_text(event.read_text(encoding="utf-8").replace(before, hashlib.sha256(path.read_bytes()).hexdigest()), encoding="utf-8")
        return
    (folder,) = (path for path in (root / "submissions" / "measured").iterdir() if path.is_dir())
    there, changed = folder / f"{rest[0]}-1.json", folder / "changes" / f"{rest[0]}-1"
    if what == "add" and not there.exists():
        there.write_text(json.dumps(two_blades(f"{rest[0]}-1", rest[0])), encoding="utf-8")
    elif there.exists() and not any("retraction" in path.name for path in changed.glob("*")):
        if what == "correct":
            value = {"written": rest[1]}
            assert correct(root, there.stem, [("/runs/0/readings/0/values/0", value)], why="misread", by=rest[0], month="2026-11").kept
        elif what == "retract":
            assert retract(root, there.stem, why="spoiled", by=rest[0], month="2026-11").kept


def published(root: Path) -> dict[str, bytes]:
    pipeline.pool(root)
    return {path.name: path.read_bytes() for path in (root / "build" / "results").iterdir()}


def anew(root: Path, aside: Path) -> dict[str, bytes]:
    """What a build that finds no cache publishes."""
    shutil.rmtree(aside, ignore_errors=True)
    shutil.copytree(root, aside, ignore=shutil.ignore_patterns("build"))
    return published(aside)


@example(steps=[("add", "gull"), ("correct", "tern", 3.5), ("ratio", 1.2), ("retract", "cleat")])
@given(steps=st.lists(STEPS, min_size=1, max_size=4))
@settings(max_examples=5, phases=[Phase.explicit, Phase.generate], suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_whatever_was_added_corrected_taken_back_or_set_otherwise(tmp_path, steps):
    root = tmp_path / "repository"
    shutil.rmtree(root, ignore_errors=True)
    repository(root)
    published(root)
    for step in steps:
        take(root, step)
    assert published(root) == anew(root, tmp_path / "anew")


@pytest.fixture
def counted(monkeypatch):
    """What is computed and not found."""
    computed = []
    real = tasks._computed

    def counting(function, jobs, sizes):
        computed.extend(function.__name__ for _ in jobs)
        return real(function, jobs, sizes)

    monkeypatch.setattr(tasks, "_computed", counting)
    return computed


def test_a_site_is_the_same_from_a_cache_with_damage_and_only_the_damaged_is_computed(tmp_path, counted):
    """All of the site, drawings and search too; nothing at all is computed again where nothing changed."""
    root = repository(tmp_path / "one", NAMES)
    told = []
    pipeline.site(root, told.append)
    first = files_of(root)
    assert len(counted) > 4
    counted.clear()
    pipeline.site(root, told.append)
    assert counted == [] and files_of(root) == first
    with closing(sqlite3.connect(root / "build" / "cache" / FILE, isolation_level=None)) as file:
        (key, sealed) = file.execute("SELECT key, sealed FROM entries ORDER BY size DESC LIMIT 1").fetchone()
        file.execute("UPDATE entries SET sealed = ? WHERE key = ?", (sealed[:-9] + bytes(9), key))
    assert "cache.damaged" not in map(code_of, told)
    pipeline.site(root, told.append)
    assert len(counted) == 1 and files_of(root) == first
    assert [code_of(one) for one in told].count("cache.damaged") == 1


def test_the_check_of_a_request_opens_no_cache(tmp_path):
    """Neither to read nor to write: whoever sends a request may bring files of any name along."""
    root = repository(tmp_path / "one", NAMES)
    (root / "build" / "cache").mkdir(parents=True)
    (root / "build" / "cache" / FILE).write_bytes(b"brought along")
    git = ["git", "-C", str(root), "-c", "user.name=tern", "-c", "user.email=tern@example.org"]
    for words in (["init", "-q"], ["add", "-A"], ["commit", "-qm", "base"]):
        subprocess.run([*git, *words], check=True)
    take(root, ("add", "rook"))
    words = [sys.executable, "-m", "edgehold", "check", "--against", "HEAD", "--pool", "--summary", str(tmp_path / "summary.md")]
    environment = os.environ | {"PYTHONPATH": str(Path(__file__).parents[2])}
    subprocess.run(words, cwd=root, env=environment, check=True, capture_output=True)
    assert (root / "build" / "cache" / FILE).read_bytes() == b"brought along"
    assert [path.name for path in (root / "build" / "cache").iterdir()] == [FILE]


def files_of(root: Path) -> dict[str, bytes]:
    return {
        path.relative_to(root / "build").as_posix(): path.read_bytes()
        for part in ("results", "site")
        for path in (root / "build" / part).rglob("*")
        if path.is_file()
    }
