"""The two notebooks run on the published tables alone, and each figure that they compute is the published one.

Python: nbclient. R: knitr takes the code out and Rscript runs it; metafor and lme4 compute what the program computed by itself.
"""

import json
import shutil
import subprocess
from pathlib import Path

import nbformat
import pytest
from nbclient import NotebookClient

from edgehold.results.tables.kit import NOTEBOOKS, notebooks
from tests.published import build_demonstration
from tests.shared import once

R_PACKAGES = ("jsonlite", "knitr", "lme4", "metafor")
IN_BOTH = {
    "ratios by studies", "spreads between studies", "ratios of the networks", "ratios of the crossed models",
    "spreads of the crossed models", "h", "k",
}  # fmt: skip


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
    assert IN_BOTH | {"headlines", "limits of headlines", "effects of probes"} <= set(checked)
    assert checked["headlines"]["figures"] >= 100 and checked["headlines"]["allowed"] <= 1e-4


def test_the_python_notebook_stops_at_a_figure_that_is_not_the_published_one(folder):
    answers = folder / "interlaboratory_cells.csv"
    lines = answers.read_text(encoding="utf-8").splitlines(keepends=True)
    answers.write_text("".join([lines[0], *lines[2:]]), encoding="utf-8")
    notebook = nbformat.read(folder / "answers.ipynb", as_version=4)
    notebook.cells = notebook.cells[:2]
    with pytest.raises(Exception, match=r"interlaboratory_cells\.csv"):
        NotebookClient(notebook, timeout=600, kernel_name="python3", resources={"metadata": {"path": str(folder)}}).execute()


def test_the_r_notebook_computes_the_pooled_figures_again(folder):
    if shutil.which("Rscript") is None:
        pytest.fail(f"this test needs R with {', '.join(R_PACKAGES)}; tests/notebooks/install installs them on Debian")
    run = subprocess.run(
        ["Rscript", "-e", 'knitr::purl("answers.Rmd", quiet = TRUE); source("answers.R")'],
        cwd=folder, capture_output=True, text=True, timeout=600, check=False,
    )  # fmt: skip
    assert run.returncode == 0, run.stdout + run.stderr
    assert set(json.loads((folder / "checked_in_r.json").read_text())) >= IN_BOTH


def test_the_notebooks_are_kept_without_results():
    cells = json.loads(notebooks()["answers.ipynb"])["cells"]
    assert all(not cell.get("outputs") and cell.get("execution_count") is None for cell in cells)
