"""Same inputs, same bytes; and a real build that is killed at any moment leaves the last one whole."""

import hashlib
import os
import random
import shutil
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from edgehold import builds

from .repositories import level_endpoint, protocol_text, write_repository
from .test_command_line import two_blades

KILLS = 20


def small_repository(root: Path) -> Path:
    protocol = protocol_text(endpoints=[level_endpoint(10)])
    return write_repository(root, protocol, [two_blades(f"{name}-1", name) for name in ("tern", "cleat", "fid")])


def digests(build: Path) -> dict[str, str]:
    """Hash of every published file by its path."""
    return {
        f"{part}/{path.relative_to(build / part).as_posix()}": hashlib.sha256(path.read_bytes()).hexdigest()
        for part in ("results", "site")
        for path in sorted((build / part).rglob("*"))
        if path.is_file()
    }


@pytest.fixture(scope="module")
def first(tmp_path_factory) -> Path:
    root = small_repository(tmp_path_factory.mktemp("first"))
    builds.site(root)
    return root


NO_NETWORK = """
import socket
def connect(*_):
    raise OSError("no network here")
socket.socket.connect = socket.socket.connect_ex = connect
"""


def quiet_surroundings(folder: Path) -> tuple[list[str], dict[str, str]]:
    """What begins a process that finds no git and reaches no network, with an alphabet of ASCII alone: words and an environment."""
    (folder / "sitecustomize.py").write_text(NO_NETWORK, encoding="utf-8")
    (folder / "programs").mkdir()
    paths = os.pathsep.join([str(folder), str(Path(__file__).parents[2])])
    setting = {"PATH": str(folder / "programs"), "PYTHONPATH": paths, "LC_ALL": "C", "PYTHONUTF8": "0", "PYTHONCOERCECLOCALE": "0"}
    alone = [shutil.which("unshare") or "false", "--net"]  # a network of its own with nothing in it, where that is allowed
    words = alone if subprocess.run([*alone, "true"], capture_output=True, check=False).returncode == 0 else []
    return words, os.environ | setting | {"PYTHONHASHSEED": "random"}


def start_build(root: Path, surroundings: Path) -> subprocess.Popen:
    words, environment = quiet_surroundings(surroundings)
    return subprocess.Popen(
        [*words, sys.executable, "-m", "edgehold", "site"], cwd=root, env=environment, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL
    )


BUILDER = """
import os, sys
from pathlib import Path
from edgehold.builds import site
site(Path(sys.argv[1]))
for line in sys.stdin:
    child = os.fork()
    if child == 0:
        site(Path(line.rstrip("\\n")))
        os._exit(0)
    print(child, flush=True)
    sys.stdin.readline()
    print(os.waitpid(child, 0)[1], flush=True)
"""


@contextmanager
def builder(root: Path) -> Iterator[Callable[[], tuple[int, Callable[[], int]]]]:
    """Begins a build in a process of its own whenever it is called: its id, and what waits for its end and gives how it ended.

    The processes are forked from one that has imported the program and built once, so that they do nothing but build.
    """
    environment = os.environ | {"PYTHONPATH": str(Path(__file__).parents[2])}
    words = [sys.executable, "-c", BUILDER, root]
    with subprocess.Popen(words, env=environment, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True) as started:

        def told(words: object = "") -> int:
            print(words, file=started.stdin, flush=True)
            return int(started.stdout.readline())

        def begin() -> tuple[int, Callable[[], int]]:
            return told(root), told

        yield begin
        started.stdin.close()


def test_the_same_inputs_give_the_same_bytes_in_another_folder_and_process_without_git_and_network(first, tmp_path):
    root, surroundings = small_repository(tmp_path / "elsewhere"), tmp_path / "surroundings"
    surroundings.mkdir()
    assert start_build(root, surroundings).wait(timeout=300) == 0
    assert digests(first / "build") == digests(root / "build")


@pytest.mark.skipif(os.name != "posix", reason="SIGKILL, and the atomic switch, are POSIX")
def test_a_build_killed_at_twenty_random_moments_leaves_the_last_one_whole(first):
    whole = digests(first / "build")
    killed = 0
    with builder(first) as begin:
        started = time.monotonic()
        _, ended = begin()
        assert ended() == 0
        lasts = time.monotonic() - started
        chance = random.Random(7)
        for moment in sorted(chance.uniform(0, 1.1 * lasts) for _ in range(KILLS)):
            process, ended = begin()
            time.sleep(moment)
            os.kill(process, signal.SIGKILL)
            killed += ended() == signal.SIGKILL
            assert digests(first / "build") == whole, f"killed after {moment:.2f} s of {lasts:.2f} s"
        assert killed, "some builds had not ended"
        assert begin()[1]() == 0
    assert digests(first / "build") == whole
    assert len(list((first / "build" / "made").iterdir())) == 1
