"""Cells and tables of the CSV files.

A cell of text can never start a formula in a spreadsheet; numbers, negative ones too, stay numbers.
"""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Iterable, Sequence

from edgehold.results.model.numbers import PUBLISHED_DIGITS

FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r", "|", "%")

Cell = str | float | int | bool | None
Table = tuple[dict[str, str], Sequence[tuple[Cell, ...]]]
"""A table: column name to its description (with the type before a colon), and the rows."""


def cell(value: Cell) -> str:
    """One cell as text.

    Text that a spreadsheet could take for a formula gets an apostrophe in front; numbers are written with ten significant
    digits; missing is empty.
    """
    if value is None:
        return ""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, (int, float)):
        if isinstance(value, float) and math.isnan(value):
            return ""
        if isinstance(value, float) and math.isinf(value):
            return "INF" if value > 0 else "-INF"
        return f"{value:.{PUBLISHED_DIGITS}g}" if isinstance(value, float) else str(value)
    return f"'{value}" if value.lstrip().startswith(FORMULA_STARTS) or value.startswith(FORMULA_STARTS) else value


def csv_bytes(columns: Iterable[str], rows: Iterable[tuple[Cell, ...]]) -> bytes:
    """A CSV file (RFC 4180, UTF-8, LF line ends)."""
    return csv_of_texts(columns, (map(cell, row) for row in rows))


def csv_of_texts(columns: Iterable[str], rows: Iterable[Iterable[str]]) -> bytes:
    """The same of cells that are texts already."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(columns)
    writer.writerows(rows)
    return out.getvalue().encode("utf-8")


POOL_COLUMNS = {
    "origin": "string: measured, or simulated (invented by a program)",
    "protocol": "string: protocol id",
    "major": "integer: MAJOR version; different ones are never pooled",
}
ENDPOINT_COLUMNS = POOL_COLUMNS | {"endpoint": "string: endpoint id"}
