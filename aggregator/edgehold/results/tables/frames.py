"""The tables as data frames, with the types that ``datapackage.json`` states of their columns."""

from __future__ import annotations

import numpy as np
import pandas as pd
from pandas.api.extensions import ExtensionDtype

from .cells import Table, cell

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
    texts = table.astype(object).map(lambda value: cell(None if value is pd.NA else value))
    return bytes(texts.to_csv(index=False, lineterminator="\n").encode("utf-8"))
