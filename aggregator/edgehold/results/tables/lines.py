"""Lines of a table, ready to be written: those about some pools stay as they are until something about these pools changes."""

from __future__ import annotations

import io
import pickle
from collections.abc import Sequence
from dataclasses import dataclass

from .cells import Cell, Table
from .typed import csv_of

GROWING = ("submissions", "runs", "readings", "checkpoints", "reference_readings", "known_weights", "contributions", "influence")
"""Tables with a row or more for every submission: they are there as Parquet, too."""


@dataclass(frozen=True)
class Lines:
    """A table, or what stands in it about some pools, as it is written.

    Attributes
    ----------
    columns : name to "type: description".
    csv : its lines, without that of the names.
    rows : the same cells, pickled, where they are written in another format, too; empty elsewhere.
    """

    columns: dict[str, str]
    csv: bytes
    rows: bytes = b""


def lines_of(name: str, table: Table) -> Lines:
    """The lines of a table of that name."""
    columns, rows = table
    return Lines(columns, csv_of(table).partition(b"\n")[2], _pickled(rows) if name in GROWING else b"")


def _pickled(rows: Sequence[tuple[Cell, ...]]) -> bytes:
    """The same bytes for the same cells, whether two equal texts are one object or two."""
    written = io.BytesIO()
    pickler = pickle.Pickler(written, pickle.HIGHEST_PROTOCOL)
    pickler.fast = True
    pickler.dump(rows)
    return written.getvalue()
