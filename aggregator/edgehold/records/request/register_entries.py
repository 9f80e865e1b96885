"""A register that is changed: it still reads, and every entry that is new or other is shown to the maintainer."""

from __future__ import annotations

import json
from collections.abc import Iterator

from pydantic import JsonValue, ValidationError

from edgehold.errors import WrittenError
from edgehold.records.json_places import json_places, nearest_line
from edgehold.records.model.registers import GritRegister, UnitRegister
from edgehold.records.problem import Problem, pointer, shown
from edgehold.records.registers import LARGEST_REGISTER_BYTES, first_problem, parse_classes, parse_steels
from edgehold.words import Reason

_LISTS = {"steels.json": "steels", "steel_classes.json": "classes", "units.json": "units", "grits.json": "series"}


def register_problems(path: str, before: bytes, now: bytes) -> Iterator[Problem]:
    """Problems of a register; ``before`` is empty where the base has none.

    ``steels.json`` and ``steel_classes.json`` of the working tree are read by the check itself, so only their entries are compared here.
    """
    name = path.rpartition("/")[2]
    if name not in _LISTS:
        yield Problem("", "unexpected-file", Reason("requests.no_such_register", name=shown(name)), line=1)
        return
    unreadable = _unreadable(name, now)
    if unreadable:
        yield unreadable
        return
    old, new = _entries(before, _LISTS[name]), _entries(now, _LISTS[name])
    lines = json_places(now.decode()).lines
    for key, (number, entry) in new.items():
        if key not in old or old[key][1] != entry:
            what = "is changed" if key in old else "is new"
            line = nearest_line(lines, pointer(_LISTS[name], number))
            yield Problem(pointer(_LISTS[name], number), "register-entry", f"the entry {shown(key)} {what}", line=line)
    for key in old.keys() - new.keys():
        yield Problem("", "register-entry", Reason("requests.entry_taken_out", key=shown(key)), line=1)


def _unreadable(name: str, now: bytes) -> Problem | None:
    if len(now) > LARGEST_REGISTER_BYTES:
        return Problem("", "register-unreadable", Reason("requests.bytes_read", count=len(now), most=LARGEST_REGISTER_BYTES), line=1)
    try:
        if name in ("steels.json", "steel_classes.json"):
            (parse_steels if name == "steels.json" else parse_classes)(now)
        else:
            (UnitRegister if name == "units.json" else GritRegister).model_validate_json(now)
    except WrittenError as error:
        return Problem("", "register-unreadable", error.problem, error.cure, line=1)
    except ValidationError as error:
        return Problem("", "register-unreadable", f"{name}: {first_problem(error)}", line=1)
    return None


def _entries(data: bytes, name: str) -> dict[str, tuple[int, dict[str, JsonValue]]]:
    """Entries by id; a class of steels by its label, a series of grits by its system and part."""
    if not data:
        return {}
    listed = json.loads(data).get(name, [])
    return {
        entry.get("id") or entry.get("label") or f"{entry.get('system')} {entry.get('part')}": (i, entry) for i, entry in enumerate(listed)
    }
