"""A build is whole or it is not there."""

import os
import random
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from edgehold.errors import RepositoryError
from edgehold.results.publish.write import staged_build

FILES = 40

WRITER = f"""
import sys, time
from pathlib import Path
from edgehold.results.publish.write import staged_build
root, mark = Path(sys.argv[1]), sys.argv[2]
while True:
    with staged_build(root) as stage:
        for part in ("results", "site"):
            (stage / part).mkdir()
            for i in range({FILES}):
                (stage / part / f"{{i}}.txt").write_text(mark)
                time.sleep(0.001)
    print("built", flush=True)
"""


def build(root: Path, mark: str, parts=("results", "site")) -> None:
    with staged_build(root) as stage:
        for part in parts:
            (stage / part).mkdir()
            for i in range(FILES):
                (stage / part / f"{i}.txt").write_text(mark)


def contents(root: Path, part: str) -> set[str]:
    return {path.read_text() for path in (root / "build" / part).glob("*.txt")}


def test_a_build_is_seen_through_its_two_names(tmp_path):
    build(tmp_path, "first")
    assert contents(tmp_path, "results") == contents(tmp_path, "site") == {"first"}
    build(tmp_path, "second")
    assert contents(tmp_path, "results") == contents(tmp_path, "site") == {"second"}
    assert len(list((tmp_path / "build" / "made").iterdir())) == 1, "the old build is cleared away"


def test_a_failing_build_leaves_the_last_one(tmp_path):
    build(tmp_path, "first")
    with pytest.raises(ZeroDivisionError), staged_build(tmp_path) as stage:
        (stage / "results").mkdir()
        (stage / "results" / "0.txt").write_text("half")
        raise ZeroDivisionError
    assert contents(tmp_path, "results") == {"first"}
    assert [p.name for p in (tmp_path / "build" / "made").iterdir()] == ["1"]


def test_results_alone_leave_the_site_as_it_was(tmp_path):
    build(tmp_path, "first")
    build(tmp_path, "second", parts=("results",))
    assert (contents(tmp_path, "results"), contents(tmp_path, "site")) == ({"second"}, {"first"})


def test_a_folder_made_by_somebody_else_is_not_replaced(tmp_path):
    (tmp_path / "build" / "site").mkdir(parents=True)
    (tmp_path / "build" / "site" / "mine.txt").write_text("keep me")
    with pytest.raises(RepositoryError, match="not made by this program"):
        build(tmp_path, "first")
    assert (tmp_path / "build" / "site" / "mine.txt").read_text() == "keep me"


def test_two_builds_at_once_are_refused(tmp_path):
    with staged_build(tmp_path) as stage:
        (stage / "results").mkdir()
        with pytest.raises(RepositoryError, match="another build is running"), staged_build(tmp_path):
            pass


@pytest.mark.skipif(os.name != "posix", reason="the switch is atomic on POSIX systems only, as write.py says")
def test_twenty_killed_builds_leave_the_last_one_whole(tmp_path):
    chance = random.Random(20)
    build(tmp_path, "first")
    for n in range(20):
        before = contents(tmp_path, "results")
        process = subprocess.Popen([sys.executable, "-c", WRITER, str(tmp_path), f"kill {n}"], stdout=subprocess.PIPE)
        process.stdout.readline() if n % 2 else None  # every other one dies after a switch, the rest in start or stage
        time.sleep(chance.uniform(0, 0.5))
        process.send_signal(signal.SIGKILL)
        process.wait()
        process.stdout.close()
        for part in ("results", "site"):
            assert len(list((tmp_path / "build" / part).glob("*.txt"))) == FILES
        assert contents(tmp_path, "results") == contents(tmp_path, "site") in (before, {f"kill {n}"})
    build(tmp_path, "last")
    assert contents(tmp_path, "site") == {"last"}
    assert len(list((tmp_path / "build" / "made").iterdir())) == 1, "what the killed builds left is cleared away"
