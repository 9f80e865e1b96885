"""Which handle is shown for which: aliases, and several handles of one person.

An alias stands in for a handle everywhere, also as the owner's part of keys. Handles of one person become one handle wherever
somebody does something; their keys stay apart, for two people's blades of one name are two blades.
"""

from __future__ import annotations

import functools
import re
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import TypeVar

from pydantic import BaseModel

from .model.submission import Person, Submission

RecordType = TypeVar("RecordType", bound=BaseModel)

PERSON_FIELDS = frozenset({"submitted_by", "handle", "person", "sharpener", "tester", "coder"})
KEY_FIELDS = frozenset({"key", "blade", "batch", "lot", "reading_lot", "instrument", "pack", "segment"})
TEXT_FIELDS = frozenset({"note", "says", "condition"})


@dataclass(frozen=True)
class Names:
    """Handles as published.

    Attributes
    ----------
    people : handle in files -> handle shown for the person; only those that differ.
    aliases : handle in files -> its own alias; only those that have one.
    """

    people: dict[str, str] = field(default_factory=dict)
    aliases: dict[str, str] = field(default_factory=dict)

    def person(self, handle: str) -> str:
        """The handle shown for whoever has this one."""
        return self.people.get(handle, handle)

    def key(self, key: str) -> str:
        """A key with its owner's alias."""
        owner, _, name = key.partition(".")
        return f"{self.aliases[owner]}.{name}" if owner in self.aliases else key

    def text(self, text: str) -> str:
        """A text in which no handle stands that an alias stands for."""
        return _pattern(tuple(sorted(self.aliases))).sub(lambda found: self.aliases[found[0].lower()], text) if self.aliases else text

    def submission(self, record: Submission) -> Submission:
        """A submission with handles as shown; one in which all are shown as they are comes back as it is."""
        known = self.people.keys() | self.aliases.keys()
        if not known or known.isdisjoint(handles_of(record)):
            return record
        renamed = _renamed(record, self)
        return renamed.model_copy(update={"people": _once(renamed.people)})


@functools.lru_cache(maxsize=8)
def _pattern(handles: tuple[str, ...]) -> re.Pattern[str]:
    either = "|".join(map(re.escape, sorted(handles, key=len, reverse=True)))
    return re.compile(rf"(?<![a-z0-9-])(?:{either})(?![a-z0-9-])", re.IGNORECASE)


def handles_of(record: BaseModel) -> Iterator[str]:
    """Every handle in a record, owners of keys included."""
    for name in type(record).model_fields:
        value = getattr(record, name)
        if name in PERSON_FIELDS and isinstance(value, str):
            yield value
        elif name in KEY_FIELDS and isinstance(value, str):
            yield value.partition(".")[0]
        elif isinstance(value, BaseModel):
            yield from handles_of(value)
        elif isinstance(value, tuple):
            for item in value:
                if isinstance(item, BaseModel):
                    yield from handles_of(item)


def _renamed(record: RecordType, names: Names) -> RecordType:
    return record.model_copy(update={name: _value(name, getattr(record, name), names) for name in type(record).model_fields})


def _value(name: str, value: object, names: Names) -> object:
    if isinstance(value, BaseModel):
        return _renamed(value, names)
    if isinstance(value, tuple):
        return tuple(_renamed(item, names) if isinstance(item, BaseModel) else item for item in value)
    if not isinstance(value, str):
        return value
    if name in PERSON_FIELDS:
        return names.person(value)
    if name in KEY_FIELDS:
        return names.key(value)
    return names.text(value) if name in TEXT_FIELDS else value


def _once(people: tuple[Person, ...]) -> tuple[Person, ...]:
    """Each handle once; whoever stands under two keeps the first statement about practice."""
    kept: dict[str, Person] = {}
    for person in people:
        if person.handle not in kept or kept[person.handle].sharpening is None:
            kept[person.handle] = person
    return tuple(kept.values())
