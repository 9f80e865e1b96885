"""Tables as Parquet: the rows of the CSV files with their types, written in batches, the same bytes each time."""

import csv
import io
import math
import os
import subprocess
import sys
from pathlib import Path

import fastparquet
import pyarrow as pa
import pyarrow.parquet as pq
import pytest

from edgehold.builds import pool
from edgehold.results.tables import parquet
from edgehold.results.tables.cells import cell
from edgehold.results.tables.lines import GROWING
from edgehold.results.tables.package import PRIMARY_KEYS
from edgehold.results.tables.parquet import write_parquet
from tests.records.builder import make_repository, second, submission

COLUMNS = {"name": "string: Who.", "count": "integer: How many.", "share": "number: How much.", "whole": "boolean: Whether all."}
ROWS = [("=1+1", 3, 1 / 3, True), ("", None, math.inf, None), ("two\nlines", -4, math.nan, False), ("tern", 0, 2, None)]


def written(columns=COLUMNS, rows=ROWS, key=()):
    sink = io.BytesIO()
    write_parquet(columns, rows, sink, key)
    return sink.getvalue()


def test_cells_keep_their_types_and_say_what_the_csv_file_says():
    table = pq.read_table(io.BytesIO(written()))
    assert [str(kind) for kind in table.schema.types] == ["string", "int64", "double", "bool"]
    assert [tuple(row.values()) for row in table.to_pylist()] == [
        ("=1+1", 3, 0.3333333333, True), (None, None, math.inf, None), ("two\nlines", -4, None, False), ("tern", 0, 2.0, None),
    ]  # fmt: skip
    assert table.schema.field("share").metadata == {b"description": b"How much."}


@pytest.mark.parametrize(("column", "value"), [("name", 3), ("count", 0.5), ("count", "3"), ("share", "a lot"), ("whole", 2)])
def test_a_cell_of_another_type_is_refused(column, value):
    with pytest.raises((ValueError, TypeError)):
        written({column: COLUMNS[column]}, [(value,)])


def test_a_column_of_the_key_is_never_empty():
    assert [field.nullable for field in pq.read_schema(io.BytesIO(written(rows=ROWS[:1], key=("name", "count"))))] == [False] * 2 + [
        True
    ] * 2


def test_the_same_rows_are_the_same_bytes_whatever_gives_them_and_the_file_names_what_wrote_it():
    assert written() == written(rows=iter(ROWS)) != written(rows=ROWS[:2])
    assert pq.read_metadata(io.BytesIO(written())).created_by == f"parquet-cpp-arrow version {pa.__version__}"


def test_a_batch_is_a_row_group_and_no_row_is_lost(monkeypatch):
    monkeypatch.setattr(parquet, "BATCH", 3)
    made = pq.ParquetFile(io.BytesIO(written(rows=ROWS * 2 + ROWS[:1])))
    assert [made.metadata.row_group(i).num_rows for i in range(made.num_row_groups)] == [3, 3, 3]
    assert pq.ParquetFile(io.BytesIO(written(rows=()))).metadata.num_rows == 0


def test_every_published_table_says_the_same_as_its_csv_file_to_another_reader(tmp_path):
    """fastparquet, a reader and writer of its own that shares no code with pyarrow."""
    root = make_repository(tmp_path, [submission(), second()])
    folder = pool(root)
    assert {path.stem for path in folder.glob("*.parquet")} == set(GROWING)
    rows = 0
    for name in GROWING:
        wanted = list(csv.DictReader(io.StringIO((folder / f"{name}.csv").read_text(encoding="utf-8"), newline="")))
        found = fastparquet.ParquetFile(io.BytesIO((folder / f"{name}.parquet").read_bytes()), pandas_nulls=True).to_pandas()
        assert [{key: text(value) for key, value in row.items()} for row in found.to_dict("records")] == wanted, name
        assert not set(PRIMARY_KEYS[name]) - set(found.columns) if name in PRIMARY_KEYS else True
        rows += len(wanted)
    assert rows > 40


def text(value):
    """A value as a cell of CSV."""
    missing = value is None or (isinstance(value, float) and math.isnan(value)) or str(value) == "<NA>"
    return "" if missing else cell(value.item() if hasattr(value, "item") else value)


MANY = """
import re, sys
from edgehold.results.tables.parquet import write_parquet
columns = {f"text{i}": "string: A text." for i in range(4)} | {f"number{i}": "number: A number." for i in range(4)}
rows = ((*(f"{i}-{n}" for i in range(4)), *(n + i / 7 for i in range(4))) for n in range(int(sys.argv[1])))
with open(sys.argv[2], "wb") as sink:
    write_parquet(columns, rows, sink)
print(re.search(r"VmHWM:\\s+([0-9]+) kB", open("/proc/self/status").read())[1])  # getrusage would tell the peak of whoever started this
"""


@pytest.mark.skipif(sys.platform != "linux", reason="peak memory as Linux tells it")
def test_the_peak_of_memory_does_not_grow_with_the_rows(tmp_path):
    """Eight times as many rows; the further 280,000 would be 135 MB if they were held until the end."""
    peaks = []
    for rows in (40_000, 320_000):
        words = [sys.executable, "-c", MANY, str(rows), tmp_path / "many.parquet"]
        ended = subprocess.run(words, env=os.environ | {"PYTHONPATH": str(Path(__file__).parents[2])}, check=True, capture_output=True)
        peaks.append(int(ended.stdout) / 1024)
        assert pq.read_metadata(tmp_path / "many.parquet").num_rows == rows
    assert peaks[1] < peaks[0] + 40, peaks
