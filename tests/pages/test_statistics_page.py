"""The page of the statistics for other data: its example prints what stands there, and that is what published software finds."""

import contextlib
import inspect
import io
import json
import re
from pathlib import Path

import numpy as np
import pytest

import edgehold.pooling

ROOT = Path(__file__).parents[2]
PAGE = (ROOT / "site" / "pages" / "statistics.md").read_text(encoding="utf-8")
BCG = json.loads((ROOT / "tests" / "reference" / "bcg.json").read_text(encoding="utf-8"))
TABLE = re.findall(r"^\| `(\w+)`(\\\*)? \|", PAGE, re.M)


def blocks(language):
    return re.findall(rf"^```{language}\n(.*?)^```", PAGE, re.M | re.S)


@pytest.fixture(scope="module")
def example():
    """What the example leaves in its names, and what it prints."""
    names, said = {}, io.StringIO()
    with contextlib.redirect_stdout(said):
        exec(blocks("python")[-1], names)
    return names, said.getvalue()


def fitted(moderator, interval="knapp-hartung"):
    wanted = {"tau2_method": "reml", "interval": interval, "moderator": moderator}
    (found,) = (entry["values"] for entry in BCG["fits"] if wanted.items() <= entry.items())
    return found


def test_the_example_prints_what_the_page_says(example):
    (printed,) = blocks("text")
    assert example[1] == printed


def test_the_numbers_in_the_example_are_those_of_the_published_trials(example):
    columns = {"ill": "tpos", "well": "tneg", "ill_without": "cpos", "well_without": "cneg", "latitude": "ablat"}
    for name, column in columns.items():
        assert example[0][name].tolist() == [row[column] for row in BCG["rows"]]
    for name, column in {"y": "yi", "v": "vi"}.items():
        np.testing.assert_allclose(example[0][name], [row[column] for row in BCG["rows"]], rtol=1e-12)


def test_mean_variances_and_their_interval_are_those_of_the_other_program(example):
    mean, moderated = fitted(None), fitted("ablat")
    fit, by_latitude = example[0]["fit"], example[0]["by_latitude"]
    assert fit.coefficients == pytest.approx(mean["coefficients"], rel=1e-7)
    assert [fit.tau2, by_latitude.tau2] == pytest.approx([mean["tau2"], moderated["tau2"]], rel=1e-7)
    assert [fit.tau2_interval.low, fit.tau2_interval.high] == pytest.approx(mean["tau2_interval"], rel=1e-7)
    assert by_latitude.coefficients == pytest.approx(moderated["coefficients"], rel=1e-7)
    without = [entry["estimate"] for entry in BCG["leave_one_out"]["studies"]]
    assert example[1].splitlines()[3] == f"without one trial: from {np.exp(min(without)):.2f} to {np.exp(max(without)):.2f}"


def test_every_function_of_the_tables_can_be_imported_and_explains_itself():
    assert len(TABLE) == len(set(TABLE)) > 15
    for name, _ in TABLE:
        function = getattr(edgehold.pooling, name)
        assert name in edgehold.pooling.__all__ and inspect.getdoc(function)
    for block in blocks("python")[:-1]:
        exec(block, {})


def test_the_functions_that_take_prepared_rows_are_marked():
    marked = {name for name, star in TABLE if star}
    assert marked == {name for name, _ in TABLE if "rows" in inspect.signature(getattr(edgehold.pooling, name)).parameters}
