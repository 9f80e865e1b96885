"""The tables that grow with every submission as Parquet (Apache Parquet, an open standard), typed, beside their CSV files.

Columns, their types and descriptions are those of the CSV files, and so are the values: numbers with as many digits, nothing where a cell
is empty. Text is as it was written, for no program takes a cell of Parquet for a formula. Rows go through in batches, so that writing
takes the memory of a batch, however many they are. The same rows give the same bytes by one version of pyarrow, which writes its name and
version into every file.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping
from itertools import islice
from typing import IO

import pyarrow as pa
import pyarrow.parquet as pq

from edgehold.results.model.numbers import PUBLISHED_DIGITS

from .cells import Cell

BATCH = 16_384  # rows that are held at once; each batch is a row group of the file
TYPES: Mapping[str, pa.DataType] = {"string": pa.string(), "integer": pa.int64(), "number": pa.float64(), "boolean": pa.bool_()}


def write_parquet(columns: Mapping[str, str], rows: Iterable[tuple[Cell, ...]], sink: IO[bytes], key: tuple[str, ...] = ()) -> None:
    """Write a table.

    Parameters
    ----------
    columns : name to "type: description", as in ``cells.Table``.
    rows : cells under these columns, taken one after the other.
    sink : where to write, from its beginning to its end.
    key : columns that are never empty.

    Raises
    ------
    ValueError, TypeError : a cell is not of its column's type; those of pyarrow are of these classes.
    """
    schema = _schema(columns, key)
    with pq.ParquetWriter(sink, schema, compression="zstd", version="2.6", write_statistics=True) as writer:
        for batch in _batches(rows):
            by_column = zip(zip(*batch, strict=True), schema.types, strict=True)
            arrays = [pa.array([_value(cell, kind) for cell in cells], kind) for cells, kind in by_column]
            writer.write_batch(pa.RecordBatch.from_arrays(arrays, schema=schema), row_group_size=BATCH)


def _schema(columns: Mapping[str, str], key: tuple[str, ...]) -> pa.Schema:
    told = {name: text.split(": ", 1) for name, text in columns.items()}
    return pa.schema([pa.field(name, TYPES[kind], name not in key, {"description": text}) for name, (kind, text) in told.items()])


def _batches(rows: Iterable[tuple[Cell, ...]]) -> Iterator[list[tuple[Cell, ...]]]:
    left = iter(rows)
    while batch := list(islice(left, BATCH)):
        yield batch


def _value(cell: Cell, kind: pa.DataType) -> Cell:
    """A value as its CSV cell says it."""
    if isinstance(cell, float):
        if math.isnan(cell):
            return None
        if kind == TYPES["integer"] and not cell.is_integer():
            raise ValueError(f"got {cell!r}, wanted a whole number")
        return float(f"{cell:.{PUBLISHED_DIGITS}g}")
    return None if cell == "" else cell
