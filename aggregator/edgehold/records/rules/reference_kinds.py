"""Kinds of rules about reference edges and known weights; ``site/pages/assets/form/reference_kinds.js`` asks the same."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Any

from edgehold.records.canonical import CanonicalReading
from edgehold.records.model.base import Quantity
from edgehold.records.model.submission import Reference
from edgehold.records.quantities import base_value
from edgehold.records.units import canonical_value, find_unit
from edgehold.words import Reason

from .sight import Around, Kind, Sight
from .table import Entry


def _edges(around: Around) -> Iterator[tuple[int, Reference, tuple[CanonicalReading, ...]]]:
    """Reference edges that could be converted."""
    pairs = zip(around.record.references or (), around.references, strict=True)
    return ((n, reference, read) for n, (reference, read) in enumerate(pairs) if read)


def _reference_work(entry: Entry, around: Around) -> Iterator[Sight]:
    wanted = entry["wanted"]
    for number, reference, read in _edges(around):
        works = [reading.work for reading in read]
        if len(works) != 2 or works[0] != 0 or abs(works[1] - wanted) > entry["within"] * wanted:
            told = " and ".join(f"{work:g}" for work in works)
            yield Sight((number,), reference.readings, {"works": told, "wanted": wanted})


def _reference_range(entry: Entry, around: Around) -> Iterator[Sight]:
    """The first value of an edge that lies outside the range and is not marked as a limit."""
    low, high = entry["low"], entry["high"]
    for number, reference, read in _edges(around):
        for row, reading in enumerate(read):
            items = reference.readings[row].values or ()
            pairs = enumerate(zip(reading.values, items, strict=True))
            odd = next((cell for cell, (value, item) in pairs if item.limit is None and not low <= value <= high), None)
            if odd is None:
                continue
            written = items[odd].written
            shown = {"value": _text(written), "unit": reference.reading_unit or "", "number": reading.values[odd], "goal": entry["goal"]}
            told = Reason("questions.reference_range", which=row + 1, low=low, high=high, **shown)
            yield Sight((number,), None, below=f"/{row}/values/{odd}/written", told=told)
            break


def _reference_order(entry: Entry, around: Around) -> Iterator[Sight]:
    """An edge whose second reading is much sharper than its first."""
    for number, _, read in _edges(around):
        if len(read) != 2 or any(limit for reading in read for limit in reading.limits):
            continue
        before, after = (sum(map(math.log, reading.values)) / len(reading.values) for reading in read)
        times = math.exp(before - after if entry["keener"] == "lower" else after - before)
        if times > entry["factor"]:
            yield Sight((number,), None, told=Reason("questions.reference_sharper", times=times))


def _weight(entry: Entry, around: Around) -> Iterator[Sight]:
    for number, weight in enumerate(around.record.weights or ()):
        known, read = _force(weight.known), _force(weight.read)
        if not known or not read or known < 0 or read < 0 or 1 / entry["factor"] <= read / known <= entry["factor"]:
            continue
        fits = [unit for unit in entry["units"] if 1 / entry["near"] <= read / known * _times(unit, weight.read.unit) <= entry["near"]]
        shown, times = {"read": _quantity(weight.read), "known": _quantity(weight.known)}, read / known
        code = "questions.weight_unit" if fits else "questions.weight"
        told = Reason(code, fits=" or ".join(fits), times=times, **shown)
        yield Sight((number,), None, told=told)


def _force(quantity: Quantity) -> float | None:
    """Newtons; None where that cannot be read, or is another kind of quantity: both are problems of their own."""
    unit = find_unit(quantity.unit)
    return base_value(quantity) if unit is not None and unit.kind == "force" else None


def _times(unit: str, written: str) -> float:
    """How many times larger a figure is in one unit of force than in another."""
    own = find_unit(written)
    return canonical_value(1, unit, "N") / canonical_value(1, own.id, "N") if own else 1.0


def _quantity(quantity: Quantity) -> str:
    return f"{_text(quantity.written)} {quantity.unit}"


def _text(written: Any) -> str:
    return written if isinstance(written, str) else f"{written:g}"


REFERENCE_KINDS: dict[str, Kind] = {
    "reference work": _reference_work,
    "reference range": _reference_range,
    "reference order": _reference_order,
    "weight": _weight,
}
