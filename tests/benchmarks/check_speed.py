"""How long the check takes with many submissions, as a Markdown table with the machine.

    python -m tests.benchmarks.check_speed [--submissions 10000] [--folder DIR] [--write]

The repository it makes holds the project's protocols and, as measured results, copies of the demonstration's files (23 kB each on
average; 18 kB when the table was made): every copy with people, blades, lots and instruments of its own and real steels in place of
the invented ones. Its history has a commit for each submission, as if they had come one by one. The one that is added is by people,
and with blades, that the repository knows. ``--write`` replaces the table kept beside this script.
"""

from __future__ import annotations

import argparse
import json
import os
import platform
import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path

from tests.benchmarks.goals import Goal, counted, keep

ROOT = Path(__file__).parents[2]
TABLE = Path(__file__).parent / "CHECK.md"
ONE_THREAD = {"OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1"}
REPEATS = 3  # of what takes seconds; the longest counts
LIMIT_SECONDS, LIMIT_GB, LIMIT_ADDED_SECONDS, LIMIT_SUMMARY_SECONDS = 60, 2, 3, 10
STEELS = ("AISI 1095", "AISI 52100", "AISI 440C", "AISI D2", "AISI M2", "AISI O1", "AISI A2", "AISI 420")


def copies(count: int) -> Iterator[tuple[str, bytes]]:
    """Path and content of so many submissions."""
    trees = [json.loads(path.read_bytes()) for path in sorted((ROOT / "submissions" / "simulated").glob("*/*.json"))]
    steels = sorted({blade["steel"]["designation"] for tree in trees for blade in tree["blades"] if blade.get("steel")})
    real = dict(zip(steels, STEELS, strict=False))
    for number in range(count):
        yield placed(copied(trees[number % len(trees)], number // len(trees), real))


def copied(tree: dict, number: int, real: dict[str, str]) -> dict:
    """One submission as if other people had done it elsewhere."""
    keys = {item["key"] for name in ("blades", "lots", "instruments") for item in tree.get(name) or ()}
    keys |= {blade["batch"] for blade in tree["blades"] if blade.get("batch")}
    renamed = {person["handle"]: f"{person['handle']}-{number}" for person in tree["people"]}
    renamed |= {key: f"{key.split('.')[0]}-{number}.{key.split('.')[1]}" for key in keys}
    return in_other_words(tree, renamed | real) | {"id": f"{tree['id']}-{number}", "origin": "measured"}


def in_other_words(value: object, renamed: dict[str, str]) -> object:
    """A value with other texts in it, wherever they stand."""
    if isinstance(value, dict):
        return {name: in_other_words(inside, renamed) for name, inside in value.items()}
    if isinstance(value, list):
        return [in_other_words(inside, renamed) for inside in value]
    return renamed.get(value, value) if isinstance(value, str) else value


def placed(tree: dict) -> tuple[str, bytes]:
    """Where a submission lies, and its bytes as the demonstration's are written."""
    return f"submissions/measured/{tree['protocol']['id']}/{tree['id']}.json", (json.dumps(tree, indent=2) + "\n").encode()


def make(folder: Path, count: int) -> int:
    """Write the repository with its history; the bytes of all submissions."""
    folder.mkdir(parents=True)
    git(folder, "init", "-q", "-b", "main")
    methods = [path for path in sorted((ROOT / "protocols").rglob("*")) if path.is_file() and "objections" not in path.parts]
    first = [*methods, ROOT / "aggregator/registers/steels.json"]  # objections rest on submissions that are not there
    history = subprocess.Popen(["git", "-C", str(folder), "fast-import", "--quiet"], stdin=subprocess.PIPE)
    _commit(history.stdin, [(path.relative_to(ROOT).as_posix(), path.read_bytes()) for path in first], 0)
    size = 0
    for number, (path, data) in enumerate(copies(count), start=1):
        _commit(history.stdin, [(path, data)], number)
        size += len(data)
    history.stdin.close()
    if history.wait():
        raise RuntimeError("git fast-import failed")
    git(folder, "reset", "-q", "--hard")
    git(folder, "switch", "-q", "-c", "request")
    return size


def _commit(stream, files: list[tuple[str, bytes]], number: int) -> None:
    stream.write(b"commit refs/heads/main\ncommitter somebody <somebody@example.org> %d +0000\ndata 0\n" % (1_780_000_000 + number))
    for path, data in files:
        stream.write(b"M 100644 inline %s\ndata %d\n%s\n" % (path.encode(), len(data), data))


def git(folder: Path, *arguments: str) -> None:
    """Run git there."""
    who = ("-c", "user.name=somebody", "-c", "user.email=somebody@example.org")
    subprocess.run(["git", *who, "-C", str(folder), *arguments], check=True)


def add_one(folder: Path) -> str:
    """A further evening of known people with known blades; its path."""
    source = sorted((folder / "submissions" / "measured" / "two-sharpeners-rope").glob("*.json"))[0]
    tree = json.loads(source.read_bytes()) | {"id": "a-new-evening"}
    tree["runs"] = [run | {"temperature_c": 11.5} for run in tree["runs"]]  # else it would be a twin
    path, data = placed(tree)
    (folder / path).write_bytes(data)
    git(folder, "add", "--all")
    git(folder, "commit", "-q", "-m", "one more")
    return path


def measured(folder: Path, *words: str) -> tuple[float, float, float, str]:
    """Seconds on the clock and of CPU, peak MB of the program, and its last line, of one run of the command."""
    with tempfile.TemporaryFile() as out:
        begun = time.perf_counter()
        command = [sys.executable, "-m", "edgehold", "check", "--root", str(folder), *words]
        process = subprocess.Popen(command, cwd=ROOT, env=os.environ | ONE_THREAD, stdout=out)
        _, status, used = os.wait4(process.pid, 0)
        seconds = time.perf_counter() - begun
        process.returncode = os.waitstatus_to_exitcode(status)
        out.seek(0)
        last = out.read().decode().splitlines()[-1]
    if process.returncode:
        raise RuntimeError(f"the check found errors: {last}")
    return seconds, used.ru_utime + used.ru_stime, used.ru_maxrss / 1000, last


def slowest(folder: Path, *words: str) -> tuple[float, float, float, str]:
    """The slowest of a few runs."""
    return max(measured(folder, *words) for _ in range(REPEATS))


def table(folder: Path, count: int) -> tuple[str, list[Goal]]:
    """Make the repository and measure: what is told of it, and its goals."""
    size = make(folder, count)
    lines = [("everything: `edgehold check`", measured(folder))]
    add_one(folder)
    lines.append(("one added: `edgehold check --against main`", slowest(folder, "--against", "main")))
    summary = str(folder / ".git" / "summary.md")
    lines.append(("the same with `--summary` (reads its pools, answers)", measured(folder, "--against", "main", "--summary", summary)))
    git(folder, "switch", "-q", "main")
    git(folder, "commit", "-q", "--allow-empty", "-m", "somebody else's")
    git(folder, "switch", "-q", "request")
    lines.append(("one added, the base has moved on", slowest(folder, "--against", "main")))
    rows = [f"| {what} | {s:.1f} | {cpu:.1f} | {mb:.0f} | {last} |" for what, (s, cpu, mb, last) in lines]
    (_, whole), (_, added), (_, summed), (_, moved) = lines
    of = f"of {count:,} submissions"
    goals = [
        Goal(f"the check {of}", LIMIT_SECONDS, counted(*whole[:2])),
        Goal(f"the check {of}: memory", LIMIT_GB * 1000, whole[2], "MB"),
        Goal(f"the check of one added {of}", LIMIT_ADDED_SECONDS, max(counted(*run[:2]) for run in (added, moved))),
        Goal(f"the check of one added {of}, with a summary", LIMIT_SUMMARY_SECONDS, counted(*summed[:2])),
    ]
    return "\n".join([*_head(count, size), *rows, "", _machine(), ""]), goals


def _head(count: int, size: int) -> list[str]:
    return [
        f"# The check with {count:,} submissions",
        "",
        f"{count:,} measured submissions, {size / 1e6:.0f} MB, a commit each; one process (`check_speed.py`). Wanted: everything under "
        f"{LIMIT_SECONDS} s and {LIMIT_GB} GB, one added under {LIMIT_ADDED_SECONDS} s. The slowest of {REPEATS} runs where it takes "
        "seconds. CPU is the program's and git's together, memory that of the larger of the two.",
        "",
        "| what | seconds | of CPU | peak MB | its last line |",
        "|---|---|---|---|---|",
    ]


def _machine() -> str:
    load = ", ".join(f"{value:.1f}" for value in os.getloadavg())
    version = subprocess.run(["git", "--version"], capture_output=True, text=True, check=True).stdout.strip()
    system = f"{platform.system()} {platform.machine()}"
    crowded = max(os.getloadavg()) > os.cpu_count()
    busy = " Others were at work on it: the clock counts their share too, the CPU does not." if crowded else ""
    return f"Machine: {os.cpu_count()} cores, load {load}; {system}, Python {platform.python_version()}, {version}.{busy}"


def main() -> int:
    """Measure and print; 1 where a goal is missed."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--submissions", type=int, default=10_000)
    parser.add_argument("--folder", type=Path, default=None, help="where to make the repository (default: a temporary folder)")
    parser.add_argument("--write", action="store_true", help="replace the table beside this script")
    arguments = parser.parse_args()
    folder = arguments.folder or Path(tempfile.mkdtemp(prefix="edgehold-bench-"))
    try:
        text, goals = table(folder / "repository", arguments.submissions)
    finally:
        if arguments.folder is None:
            shutil.rmtree(folder, ignore_errors=True)
    print(text)
    if arguments.write:
        TABLE.write_text(text, encoding="utf-8")
    return keep("check_speed", goals)


if __name__ == "__main__":
    sys.exit(main())
