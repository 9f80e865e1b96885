"""Quantities that stand alone, a value beside its own unit: thickness behind the edge, an instrument's resolution."""

from __future__ import annotations

from collections.abc import Iterator

from edgehold.errors import WrittenError
from edgehold.words import Reason

from .canonical_runs import CANONICAL_TOLERANCE
from .model.base import Quantity
from .problem import Problem, pointer, shown
from .registers import load_units
from .units import canonical_value, find_unit


def base_unit(kind: str) -> str:
    """The unit of a kind in which canonical values are kept: the one whose factor is 1."""
    return next(u.id for u in load_units().units if u.kind == kind and u.factor == "1" and u.offset == "0")


def base_value(quantity: Quantity) -> float | None:
    """The value in the base unit of its kind, or None where it cannot be read (a problem of its own)."""
    unit = find_unit(quantity.unit)
    try:
        return None if unit is None else canonical_value(quantity.written, quantity.unit, base_unit(unit.kind))
    except WrittenError:
        return None


def quantity_problems(quantity: Quantity, place: tuple[str | int, ...], kinds: set[str]) -> Iterator[Problem]:
    """What is wrong with a quantity whose unit must be of one of ``kinds``."""
    unit = find_unit(quantity.unit)
    if unit is None or unit.kind not in kinds:
        no_unit = Reason("reading.no_unit", unit=shown(quantity.unit), names=" or ".join(sorted(kinds)))
        yield Problem(pointer(*place, "unit"), "wrong-unit", no_unit, Reason("reading.use_registered_unit"))
        return
    try:
        value = canonical_value(quantity.written, quantity.unit, base_unit(unit.kind))
    except WrittenError as error:
        yield Problem(pointer(*place, "written"), "not-a-number", error.problem, error.cure)
        return
    if value < 0:
        yield Problem(pointer(*place, "written"), "negative-value", f"{shown(quantity.written)} is below 0")
    given = quantity.canonical
    if given is not None and abs(given - value) > CANONICAL_TOLERANCE * abs(value):
        message = f"{shown(quantity.written)} {quantity.unit} is {value:.9g} {base_unit(unit.kind)}, not {given:.9g}"
        yield Problem(pointer(*place, "canonical"), "canonical-disagrees", message)
