"""What people wait for every day is short: told by what is imported, and in processor time beside a start of Python with numpy.

Both sides of a ratio run in one test, one after the other and the least of some runs each, so that a busy machine changes both alike.
"""

import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
SUBMISSION = ROOT / "submissions/simulated/two-sharpeners-rope/fairlead-2026-10-p49.json"
PLAN = (
    "plan", "two-sharpeners-rope", "--blade", "owner.galley", "--sharpener", "owner", "--sharpener", "friend", "--tester", "owner",
    "--metres", "20", "--dry", "--drawn", "1",
)  # fmt: skip
HEAVY = ("numpy", "scipy", "pandas", "pydantic", "yaml")
IMPORTED = """
import sys
from edgehold.cli import main
try:
    main({words!r})
except SystemExit:
    pass
print(*sys.modules, file=sys.stderr)
"""


def imported(*words: str, root: Path = ROOT) -> set[str]:
    """The modules that a command brings in."""
    ran = subprocess.run([sys.executable, "-c", IMPORTED.format(words=list(words))], cwd=root, capture_output=True, text=True, check=True)
    return set(ran.stderr.splitlines()[-1].split())


def libraries(modules: set[str]) -> set[str]:
    """The libraries of some modules."""
    return {name.split(".")[0] for name in modules}


@pytest.mark.parametrize("words", [("--help",), ("--version",), ("plan", "--help"), ("site", "--help"), ("report",)], ids=" ".join)
def test_help_needs_nothing_but_the_standard_library(words):
    assert libraries(imported(*words)).isdisjoint(HEAVY)


def test_the_check_of_a_file_computes_nothing():
    assert libraries(imported("check", str(SUBMISSION))).isdisjoint({"numpy", "scipy", "pandas"})


@pytest.fixture
def nothing_built(tmp_path) -> Path:
    """The repository without a build, whose results a report would hold its file against."""
    for name in ("protocols", "submissions"):
        shutil.copytree(ROOT / name, tmp_path / name)
    return tmp_path


@pytest.mark.parametrize("words", [("report", SUBMISSION.relative_to(ROOT).as_posix()), PLAN], ids=["report", "plan"])
def test_a_report_and_a_plan_pool_nothing(words, nothing_built):
    heavy = {"edgehold.pooling", "edgehold.results.model.results", "scipy.stats", "scipy.integrate", "pandas", "jinja2"}
    brought = imported(*words, root=nothing_built)
    assert "edgehold.estimates" in brought and brought.isdisjoint(heavy)


def processor_seconds(words: list[str], cache: Path, runs: int = 3) -> float:
    """The least that some runs take, the program compiled before."""
    kept = {name: value for name, value in os.environ.items() if name != "PYTHONDONTWRITEBYTECODE"} | {"OPENBLAS_NUM_THREADS": "1"}
    used = []
    for _ in range(runs + 1):
        process = subprocess.Popen(
            [sys.executable, *words], cwd=ROOT, env=kept | {"PYTHONPYCACHEPREFIX": str(cache)}, stdout=subprocess.DEVNULL
        )
        _, status, spent = os.wait4(process.pid, 0)
        process.returncode = os.waitstatus_to_exitcode(status)
        assert process.returncode == 0
        used.append(spent.ru_utime + spent.ru_stime)
    return min(used[1:])


@pytest.fixture(scope="module")
def start(tmp_path_factory) -> tuple[float, Path]:
    """What a start of Python with numpy takes, and where compiled modules are kept."""
    cache = tmp_path_factory.mktemp("compiled")
    return processor_seconds(["-c", "import numpy"], cache), cache


@pytest.mark.parametrize(
    ("words", "most"),
    [(("--help",), 1.6), (("check", str(SUBMISSION)), 8), (PLAN, 15)],
    ids=["help", "check of a file", "plan"],
)
def test_everyday_commands_take_few_starts_of_python(words, most, start):
    """Help takes 0.7 of them, the check of a file 4 and a plan of one drawn evening 7; they were 5, 23 and 22 when all read everything."""
    one, cache = start
    assert processor_seconds(["-m", "edgehold", *words], cache) < most * one


def test_a_report_takes_few_starts_of_python(nothing_built, start):
    """Where nothing was built it takes 9 of them; it took 14 when it read the files of other pools, too."""
    one, cache = start
    assert processor_seconds(["-m", "edgehold", "report", "--root", str(nothing_built), SUBMISSION.stem], cache) < 13 * one


def test_at_its_end_a_command_does_not_look_for_cycles():
    ended = "import atexit, gc, sys; atexit.register(lambda: print(gc.get_freeze_count() > 0))\n"
    ended += "from edgehold.cli import main; main(sys.argv[1:])"
    ran = subprocess.run([sys.executable, "-c", ended, "check", str(SUBMISSION)], cwd=ROOT, capture_output=True, text=True, check=True)
    assert ran.stdout.splitlines()[-1] == "True"
