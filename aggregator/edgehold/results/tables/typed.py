"""Tables as CSV files, every cell of the type that its column states."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping

from .cells import Cell, Table, cell, csv_of_texts


def csv_of(table: Table) -> bytes:
    """A CSV file (RFC 4180, UTF-8, LF line ends); what a cell looks like is said by ``cell``.

    Raises
    ------
    TypeError, ValueError
        A cell is not of the type that its column states.
    """
    columns, rows = table
    by_column: Iterable[tuple[Cell, ...]] = zip(*rows, strict=True) if rows else ((),) * len(columns)
    kinds = (text.split(": ", 1)[0] for text in columns.values())
    texts = [_texts(cells, _TYPED[kind]) for cells, kind in zip(by_column, kinds, strict=True)]
    return csv_of_texts(columns, zip(*texts, strict=True))


def _texts(cells: tuple[Cell, ...], typed: Callable[[Cell], Cell]) -> Iterable[str]:
    """The cells of a column; a text that stands there often is looked at once."""
    if typed is not _string:
        return ["" if value is None else cell(typed(value)) for value in cells]
    known = {value: "" if value is None else cell(typed(value)) for value in {*cells}}
    return map(known.__getitem__, cells)


def _string(value: Cell) -> Cell:
    if not isinstance(value, str):
        raise TypeError(f"got {value!r}, wanted a text")
    return value


def _boolean(value: Cell) -> Cell:
    if not isinstance(value, bool):
        raise TypeError(f"got {value!r}, wanted true or false")
    return value


def _number(value: Cell) -> float:
    if value is None or isinstance(value, bool | str):
        raise TypeError(f"got {value!r}, wanted a number")
    return float(value)


def _integer(value: Cell) -> Cell:
    if isinstance(value, int) and not isinstance(value, bool):
        return value
    number = _number(value)
    if math.isnan(number):
        return None
    if not number.is_integer():
        raise ValueError(f"got {value!r}, wanted a whole number")
    return int(number)


_TYPED: Mapping[str, Callable[[Cell], Cell]] = {"string": _string, "boolean": _boolean, "number": _number, "integer": _integer}
