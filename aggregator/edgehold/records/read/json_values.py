"""Values inside a JSON tree: found, put and taken out by JSON pointer (RFC 6901)."""

from __future__ import annotations

import re

import rfc8785
from pydantic import JsonValue

from edgehold.records.model.changes import ABSENT

_INDEX = re.compile(r"0|[1-9][0-9]{0,8}")


class NoSuchPlace(Exception):
    """A pointer leads nowhere; the message says how far it leads."""


def parts_of(pointer: str) -> list[str]:
    """The reference tokens of a pointer (RFC 6901 section 4)."""
    return [part.replace("~1", "/").replace("~0", "~") for part in pointer.split("/")[1:]]


def value_at(tree: JsonValue, pointer: str) -> JsonValue:
    """The value at a pointer; ``ABSENT`` where its parent is there and has no such member.

    Raises
    ------
    NoSuchPlace
        There is no parent, or the place is neither a member's name nor at most one behind the end of a list.
    """
    inside, last = _parent(tree, pointer)
    if isinstance(inside, dict):
        return inside.get(last, ABSENT)
    number = _index(inside, last, pointer)
    return inside[number] if number < len(inside) else ABSENT


def put(tree: JsonValue, pointer: str, value: JsonValue) -> None:
    """Set the value at a pointer in place; ``ABSENT`` takes it out, and what stood behind it in a list moves up.

    Raises
    ------
    NoSuchPlace
        As for `value_at`.
    """
    inside, last = _parent(tree, pointer)
    if isinstance(inside, dict):
        if same(value, ABSENT):
            inside.pop(last, None)
        else:
            inside[last] = value
        return
    number = _index(inside, last, pointer)
    if same(value, ABSENT):
        del inside[number : number + 1]
    else:
        inside[number : number + 1] = [value]


def same(one: JsonValue, other: JsonValue) -> bool:
    """Whether two JSON values say the same: canonical JSON (RFC 8785), in which 1 and 1.0 are one number and true is none."""
    return rfc8785.dumps(one) == rfc8785.dumps(other)


def _parent(tree: JsonValue, pointer: str) -> tuple[dict[str, JsonValue] | list[JsonValue], str]:
    *parents, last = parts_of(pointer)
    inside, so_far = tree, ""
    for part in parents:
        inside = _member(inside, part, so_far)
        so_far = f"{so_far}/{part}"
    if not isinstance(inside, dict | list):
        raise NoSuchPlace(f"what stands at {so_far!r} has no members")
    return inside, last


def _member(inside: JsonValue, part: str, so_far: str) -> JsonValue:
    if isinstance(inside, dict) and part in inside:
        return inside[part]
    if isinstance(inside, list) and _INDEX.fullmatch(part) and int(part) < len(inside):
        return inside[int(part)]
    raise NoSuchPlace(f"{so_far or 'the file'} has no member {part!r}")


def _index(inside: list[JsonValue], last: str, pointer: str) -> int:
    if _INDEX.fullmatch(last) and int(last) <= len(inside):
        return int(last)
    raise NoSuchPlace(f"the list at {pointer.rpartition('/')[0]!r} has {len(inside)} entries, numbered from 0")
