"""Which steel a blade is: the entry that its designation names, or the class that holds its composition; and what would be near."""

from __future__ import annotations

from collections.abc import Mapping

from .compositions import BALANCE, OTHER_RESIDUAL, RESIDUAL, UNTOLD, WEIGHTS, distance, limits_of, outside
from .model.registers import SteelClass, SteelEntry
from .model.submission import Steel
from .registers import Steels, find_steel


def class_of(steels: Steels, composition: Mapping[str, float], origin: str) -> SteelClass | None:
    """The class of the same origin whose windows hold a composition, None where none does; the register sees to it that no two do."""
    fits = (one for one in steels.classes.values() if one.origin == origin and not outside(limits_of(one), composition))
    return next(fits, None)


def named_fits(steels: Steels, composition: Mapping[str, float], origin: str) -> list[SteelEntry]:
    """Named steels of the same origin within whose limits a composition lies, by id."""
    known = [one for one in _limited(steels) if one.origin == origin and isinstance(one, SteelEntry)]
    return [one for one in known if not outside(limits_of(one), composition)]


def nearest(steels: Steels, composition: Mapping[str, float], origin: str) -> SteelEntry | SteelClass | None:
    """The class or named steel of the same origin that is least far off, the first by id among equals; None where there is none."""
    known = [one for one in _limited(steels) if one.origin == origin]
    return min(known, key=lambda one: distance(outside(limits_of(one), composition)), default=None)


def _limited(steels: Steels) -> list[SteelEntry | SteelClass]:
    """What can be suggested, by id: limits without a most of carbon, such as those of 420, would fit too much."""
    return [one for one in steels.by_id.values() if limits_of(one).get("C", (0.0, 100.0))[1] < 100]


def designations(steel: SteelEntry | SteelClass) -> tuple[str, ...]:
    """The label of a class, or the designations of a named steel, each with its system."""
    return (steel.label,) if isinstance(steel, SteelClass) else tuple(f"{name.system} {name.designation}" for name in steel.names)


def called(steel: SteelEntry | SteelClass) -> str:
    """What a message calls a steel."""
    return designations(steel)[0]


def steel_of(stated: Steel | None, origin: str, steels: Steels) -> str | None:
    """The id of a blade's steel: the entry that its designation names, or without one the class that holds its composition."""
    if stated is None:
        return None
    if stated.designation is not None:
        entry = find_steel(steels, stated.designation)
        return None if entry is None else entry.id
    held = class_of(steels, stated.composition_percent, origin) if stated.composition_percent else None
    return None if held is None else held.id


def composition_rules(steels: Steels) -> dict[str, object]:
    """The same as data for the browser."""
    return {
        "balance": BALANCE,
        "residual": RESIDUAL,
        "other": OTHER_RESIDUAL,
        "untold": list(UNTOLD),
        "weights": WEIGHTS,
        "steels": [_limits_rule(one) for one in _limited(steels)],
    }


def _limits_rule(steel: SteelEntry | SteelClass) -> dict[str, object]:
    limits = {element: list(both) for element, both in limits_of(steel).items()}
    return {"id": steel.id, "name": called(steel), "origin": steel.origin, "named": isinstance(steel, SteelEntry), "limits": limits}
