"""The tables as data frames, with the types that ``datapackage.json`` states of their columns."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

import numpy as np
import pandas as pd
from pandas.api.extensions import ExtensionDtype

from .cells import Table, cell, csv_of_texts

DTYPES: dict[str, ExtensionDtype | np.dtype[np.float64]] = {
    "string": pd.StringDtype(),
    "integer": pd.Int64Dtype(),
    "number": np.dtype(np.float64),
    "boolean": pd.BooleanDtype(),
}


def frame(table: Table) -> pd.DataFrame:
    """A table with typed columns.

    Raises
    ------
    TypeError, ValueError
        A cell is not of the type that its column states.
    """
    columns, rows = table
    by_column = zip(*rows, strict=True) if rows else ((),) * len(columns)
    return pd.DataFrame(
        {
            name: pd.Series(list(cells), dtype=DTYPES[text.split(": ", 1)[0]])
            for (name, text), cells in zip(columns.items(), by_column, strict=True)
        }
    )


def csv_of(table: pd.DataFrame) -> bytes:
    """A CSV file (RFC 4180, UTF-8, LF line ends); what a cell looks like is said by ``cell``."""
    return csv_of_texts(map(str, table), zip(*(_texts(column) for _, column in table.items()), strict=True))


def _texts(column: pd.Series[Any]) -> Iterable[str]:
    """The cells of a column; a text that stands there often is looked at once."""
    cells = column.astype(object).where(column.notna(), None).tolist()
    if column.dtype == DTYPES["number"]:
        return map(cell, cells)
    return map({one: cell(one) for one in set(cells)}.__getitem__, cells)
