"""The two notebooks run on the published tables alone, and each figure that they compute is the published one.

Python: nbclient. R: knitr takes the code out and Rscript runs it. The R notebook shares no code with the program: metafor and lme4
compute what the program computed by itself, and the hierarchical model of the headlines is written out in it (minutes of CPU for all
pools, which `make test-long` has, seconds for the small ones).
"""

import csv
import json
import shutil
import subprocess
from collections import Counter
from collections.abc import Callable
from pathlib import Path

import nbformat
import pytest
from nbclient import NotebookClient

from edgehold.results.tables.kit import NOTEBOOKS, notebooks
from tests.published import build_demonstration
from tests.shared import once

R_PACKAGES = ("jsonlite", "knitr", "lme4", "Matrix", "metafor")
IN_BOTH = {
    "ratios by studies", "spreads between studies", "ratios of the networks", "ratios of the crossed models",
    "spreads of the crossed models", "h", "k", "headlines", "limits of headlines",
}  # fmt: skip
ONLY_IN_R = {
    "modes of the spreads", "headlines of exact values", "headlines from points drawn here, in half-widths",
    "headlines from points drawn here, in Monte-Carlo errors", "headlines of normal posteriors, in half-widths",
}  # fmt: skip
OF_LARGE_POOLS = {"headlines of normal posteriors, in half-widths"}
SMALL_POOL = "strop-or-not-paper"  # whose headline takes R a second


@pytest.fixture
def folder(common, tmp_path) -> Path:
    """A folder that holds the published tables and notebooks, and nothing else."""
    results = once(common, "demonstration", build_demonstration) / "build" / "results"
    for one in results.iterdir():
        if one.suffix == ".csv" or one.name in ("datapackage.json", *NOTEBOOKS):
            shutil.copy(one, tmp_path)
    return tmp_path


def test_the_python_notebook_computes_every_headline_again(folder):
    notebook = nbformat.read(folder / "answers.ipynb", as_version=4)
    NotebookClient(notebook, timeout=600, kernel_name="python3", resources={"metadata": {"path": str(folder)}}).execute()
    checked = json.loads((folder / "checked.json").read_text())
    assert IN_BOTH | {"effects of probes"} <= set(checked)
    assert checked["headlines"]["figures"] >= 100 and checked["headlines"]["allowed"] <= 1e-4


def test_the_python_notebook_stops_at_a_figure_that_is_not_the_published_one(folder):
    answers = folder / "interlaboratory_cells.csv"
    lines = answers.read_text(encoding="utf-8").splitlines(keepends=True)
    answers.write_text("".join([lines[0], *lines[2:]]), encoding="utf-8")
    notebook = nbformat.read(folder / "answers.ipynb", as_version=4)
    notebook.cells = notebook.cells[:2]
    with pytest.raises(Exception, match=r"interlaboratory_cells\.csv"):
        NotebookClient(notebook, timeout=600, kernel_name="python3", resources={"metadata": {"path": str(folder)}}).execute()


@pytest.mark.parametrize(
    ("largest", "figures", "compared"),
    [
        pytest.param(200, 20, (IN_BOTH | ONLY_IN_R) - OF_LARGE_POOLS, id="small pools"),
        pytest.param(10**9, 100, IN_BOTH | ONLY_IN_R, id="all pools", marks=pytest.mark.long),
    ],
)
def test_the_r_notebook_computes_every_figure_again_headlines_among_them(folder, largest, figures, compared):
    """Of headlines those of pools up to so many readings, all else of all pools."""
    sizes = _readings(folder)
    published = _keep(folder, "answers", lambda one: sizes[_pool(one)] <= largest)
    _keep(folder, "posteriors", lambda one: sizes[_pool(one)] <= largest)
    run = _run_in_r(folder)
    assert run.returncode == 0, run.stdout + run.stderr
    checked = json.loads((folder / "checked_in_r.json").read_text())
    assert set(checked) >= compared
    assert checked["headlines"]["figures"] == sum(1 for one in published if one["ratio"]) >= figures
    assert checked["limits of headlines"]["allowed"] <= 1e-4 and checked["headlines of exact values"]["allowed"] <= 1e-6


@pytest.mark.parametrize(
    ("table", "column", "stops_at"), [("answers", "ratio", "headlines"), ("posteriors", "mode", "modes of the spreads")]
)
def test_the_r_notebook_stops_at_a_figure_that_is_not_the_published_one(folder, table, column, stops_at):
    def moved(one: dict[str, str]) -> dict[str, str]:
        return one | {column: " ".join(f"{1.002 * float(number):.10g}" for number in one[column].split())}

    for name in ("answers", "posteriors"):
        _keep(folder, name, lambda one: one["protocol"] == SMALL_POOL, moved if name == table else dict)
    run = _run_in_r(folder)
    assert run.returncode != 0
    assert f"{stops_at}: off by 0.002" in run.stderr, run.stderr


Row = dict[str, str]


def _keep(folder: Path, table: str, wanted: Callable[[Row], bool], change: Callable[[Row], Row] = dict) -> list[Row]:
    """Some rows of a table, the others taken out of it."""
    path = folder / f"{table}.csv"
    with path.open(encoding="utf-8", newline="") as lines:
        rows = [change(one) for one in csv.DictReader(lines) if wanted(one)]
    with path.open("w", encoding="utf-8", newline="") as lines:
        writer = csv.DictWriter(lines, rows[0], lineterminator="\n")
        writer.writeheader()
        writer.writerows(rows)
    return rows


def _pool(row: Row) -> tuple[str, str, str]:
    return row["origin"], row["protocol"], row["major"]


def _readings(folder: Path) -> Counter[tuple[str, str, str]]:
    """Readings by pool."""
    with (folder / "runs.csv").open(encoding="utf-8", newline="") as lines:
        pools = {one["submission"]: _pool(one) for one in csv.DictReader(lines)}
    with (folder / "readings.csv").open(encoding="utf-8", newline="") as lines:
        return Counter(pools[one["submission"]] for one in csv.DictReader(lines))


def _run_in_r(folder: Path) -> subprocess.CompletedProcess[str]:
    if shutil.which("Rscript") is None:
        pytest.fail(f"this test needs R with {', '.join(R_PACKAGES)}; tests/notebooks/install installs them on Debian")
    return subprocess.run(
        ["Rscript", "-e", 'knitr::purl("answers.Rmd", quiet = TRUE); source("answers.R")'],
        cwd=folder, capture_output=True, text=True, timeout=1800, check=False,
    )  # fmt: skip


def test_the_notebooks_are_kept_without_results():
    cells = json.loads(notebooks()["answers.ipynb"])["cells"]
    assert all(not cell.get("outputs") and cell.get("execution_count") is None for cell in cells)
