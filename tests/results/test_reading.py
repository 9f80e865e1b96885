"""What the published tables hold is what the models read: written and read again, rows are the same to the published digits."""

import dataclasses

import pytest

from edgehold.endpoints import beside_runs, curve_points, endpoint_rows
from edgehold.endpoints.rows import EndpointRow
from edgehold.records import load_repository
from edgehold.results.tables import reading, runs
from edgehold.results.tables.cells import csv_bytes
from edgehold.results.tables.runs import CALLED, CHECKPOINT, REFERENCE, RUN, WEIGHT
from edgehold.words import code_of
from tests.published import PROTOCOLS


@pytest.fixture(scope="module")
def repository():
    return load_repository(PROTOCOLS.parent)


def same(found, wanted) -> bool:
    if isinstance(wanted, float):
        return found == pytest.approx(wanted, rel=1e-9, nan_ok=True)
    return found == (("; ".join(wanted),) if wanted and isinstance(wanted, tuple) else wanted)  # flags are one cell


def both(table, path, read_one):
    path.write_bytes(csv_bytes(*table))
    return [read_one(one) for one in reading._read(path)]


def test_every_run_comes_back_with_all_that_it_was(repository, tmp_path):
    rows = endpoint_rows(repository)
    again = both(runs.runs(rows), tmp_path / "runs.csv", reading._row)
    assert len(again) == len(rows) > 3000
    for was, found in zip(rows, again, strict=True):
        for field in dataclasses.fields(was):
            assert same(getattr(found, field.name), getattr(was, field.name)), (was.submission, was.run, field.name)
        assert code_of(found.reason) == code_of(was.reason)


@pytest.mark.parametrize(("name", "columns"), [("checkpoints", CHECKPOINT), ("reference_readings", REFERENCE), ("known_weights", WEIGHT)])
def test_every_reading_comes_back_with_all_that_it_was(repository, tmp_path, name, columns):
    beside = beside_runs(repository)
    rows = {"checkpoints": curve_points(repository), "reference_readings": beside.edges, "known_weights": beside.weights}[name]
    table = getattr(runs, name)(rows if name == "checkpoints" else beside)
    again = both(table, tmp_path / f"{name}.csv", lambda one: reading._record(type(rows[0]), columns, one))
    assert len(again) == len(rows) > 10
    for was, found in zip(rows, again, strict=True):
        for field in dataclasses.fields(was):
            assert same(getattr(found, field.name), getattr(was, field.name)), (was.submission, field.name)


def test_no_attribute_of_a_row_is_without_its_column():
    assert {field.name for field in dataclasses.fields(EndpointRow)} - {"pool"} == {CALLED.get(name, name) for name in RUN}
