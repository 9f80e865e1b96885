"""A submission as it grows out of a sheet: values by JSON pointer, the cell that each stands in, and what must be asked."""

from __future__ import annotations

from dataclasses import dataclass, field

from .cell_values import CellValue
from .cells import Asked, Question

Place = tuple[int, int]
"""Row and column of a cell, 1-based."""


@dataclass
class Filling:
    """What a sheet says.

    Attributes
    ----------
    tree : a submission as plain values, as far as it could be read.
    places : by JSON pointer, the cell that its value stands in.
    asked : JSON pointers that a question stands at already.
    questions : what must be asked.
    said : by cell, what was converted and how.
    tally : how many rows are what; together they are all rows in which anything stands.
    """

    tree: dict[str, object]
    places: dict[str, Place] = field(default_factory=dict)
    asked: set[str] = field(default_factory=set)
    questions: list[Question] = field(default_factory=list)
    said: dict[Place, str] = field(default_factory=dict)
    tally: dict[str, int] = field(default_factory=dict)

    def ask(self, place: Place, asked: Asked, pointer: str = "") -> None:
        """Ask about a cell; ``pointer`` is the value it concerns."""
        self.questions.append(Question("", *place, asked.code, asked.message, asked.cure))
        if pointer:
            self.asked.add(pointer)

    def take(self, found: CellValue, pointer: str, place: Place) -> object:
        """The value of a cell; what was converted or must be asked is kept."""
        self.places[pointer] = place
        if found.said:
            self.said[place] = found.said
        if found.asked:
            self.ask(place, found.asked, pointer)
        return found.value

    def place(self, pointer: str, place: Place) -> None:
        """Remember where a value stands; what lies around it stands there too, unless it has a place of its own."""
        self.places[pointer] = place
        while pointer.count("/") > 1:
            pointer = pointer[: pointer.rindex("/")]
            self.places.setdefault(pointer, place)

    def list_of(self, name: str) -> list[dict[str, object]]:
        """A list of the submission; made where there is none."""
        self.tree.setdefault(name, [])
        return self.entries(name)

    def entries(self, name: str) -> list[dict[str, object]]:
        """What a list of the submission holds; nothing where there is none."""
        found = self.tree.get(name, [])
        if not isinstance(found, list):
            raise TypeError(f"{name!r} is no list of a submission")
        return found

    def put(self, pointer: str, value: object) -> None:
        """Put a value into the tree; objects and lists on the way are made."""
        names = pointer.split("/")[1:]
        inside: object = self.tree
        for name, following in zip(names, [*names[1:], ""], strict=True):
            fresh: object = value if not following else [] if following.isdigit() else {}
            if isinstance(inside, list):
                if int(name) >= len(inside):
                    inside.append(fresh)
                inside = inside[int(name)]
            elif not isinstance(inside, dict):
                raise TypeError(f"{pointer!r} leads into a value that holds no others")
            elif following:
                inside = inside.setdefault(name, fresh)
            else:
                inside[name] = value

    def leave_out_run(self, run: int) -> None:
        """Take a run and its preparation out; later ones move up."""
        del self.entries("runs")[run], self.entries("preparations")[run]
        moved = {pointer: _moved(pointer, run) for pointer in [*self.places, *self.asked]}
        self.places = {moved[pointer]: place for pointer, place in self.places.items() if moved[pointer]}
        self.asked = {moved[pointer] for pointer in self.asked if moved[pointer]}

    def list_named(self, part: str, pointers: list[str], keys: list[object], use: str = "") -> None:
        """Lots and instruments are named in runs and reference edges; the submission lists each once, with its use where it has one."""
        for pointer, key in zip(pointers, keys, strict=True):
            if all(entry["key"] != key for entry in self.entries(part)):
                listed = self.list_of(part)
                listed.append({"key": key} | ({"use": use} if use else {}))
                self.places[f"/{part}/{len(listed) - 1}/key"] = self.places[pointer]


def list_in(inside: dict[str, object], name: str) -> list[object]:
    """A list in an object of the submission; made where there is none."""
    found = inside.setdefault(name, [])
    if not isinstance(found, list):
        raise TypeError(f"{name!r} is no list here")
    return found


def _moved(pointer: str, run: int) -> str:
    """A pointer after a run was taken out; empty where it led into it."""
    parts = pointer.split("/")
    if len(parts) < 3 or parts[1] not in ("runs", "preparations") or int(parts[2]) < run:
        return pointer
    return "" if int(parts[2]) == run else "/".join([*parts[:2], str(int(parts[2]) - 1), *parts[3:]])
