"""A hash of a value that depends on what it says and on nothing else: not on the process, on memory or on the order of a set.

Pickles and ``hash`` do not give that: a pickle writes the same string once or twice as it is one object or two, and sets and hashes of
strings go by the seed of the process.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, fields, is_dataclass
from enum import Enum
from functools import cache, partial
from hashlib import blake2b
from operator import attrgetter
from pathlib import PurePath
from typing import Any

import numpy as np
from pydantic import BaseModel

from edgehold.words import Reason

SIZE = 32  # bytes of a hash


class Digests:
    """Hashes of values; one that is met again and cannot change is not looked through again.

    Values that were met are held, so that none can come to lie where another one was.
    """

    def __init__(self) -> None:
        self._met: dict[int, tuple[object, bytes]] = {}

    def of(self, value: object) -> bytes:
        """The hash of a value made of numbers, texts, arrays, frozen dataclasses, models, named functions and containers of them.

        Raises
        ------
        TypeError : it holds something else.
        """
        return blake2b(self._told(value), digest_size=SIZE).digest()

    def _told(self, value: Any) -> bytes:
        plain = _PLAIN.get(type(value))
        if plain is not None:
            return plain(value)
        parts = _PARTS.get(type(value))
        if parts is not None:
            return self._joined(parts, value)
        met = self._met.get(id(value))
        if met is not None:
            return met[1]
        record = _record(type(value))  # type: ignore[arg-type]  # a class can be hashed, though of Any nobody knows
        if record is None:
            return self._of_kind(value)
        told = self._joined(record.name, record.held(value))
        if record.lasting:
            self._met[id(value)] = value, told
        return told

    def _joined(self, tag: bytes, values: Iterable[Any]) -> bytes:
        """What is told of several values: numbers and texts as Python writes them, which no two share, all else by its own hash."""
        told = repr([one if type(one) in _WRITTEN else (self._told(one),) for one in values])
        return b"#" + blake2b(tag + b" " + told.encode("utf-8", "surrogatepass"), digest_size=SIZE).digest()

    def _of_kind(self, value: Any) -> bytes:
        """What is told of a value of any other class."""
        if isinstance(value, Reason):
            return self._joined(_named(type(value)), [value.code, str(value), value.arguments])
        if isinstance(value, np.ndarray | np.generic):
            return self._of_array(np.asarray(value))
        if isinstance(value, Mapping):  # in its order, which what is made of it may follow
            return self._joined(b"mapping", [part for item in value.items() for part in item])
        if isinstance(value, set | frozenset):
            return self._joined(b"set", sorted(self._told(one) for one in value))
        if isinstance(value, Enum):
            return self._joined(_named(type(value)), [value.name])
        if isinstance(value, PurePath):
            return self._joined(b"path", [value.as_posix()])
        if isinstance(value, partial):
            return self._joined(b"partial", [value.func, value.args, value.keywords])
        if isinstance(value, tuple):  # with names
            return self._joined(_named(type(value)), tuple(value))
        if isinstance(value, type) or (callable(value) and hasattr(value, "__qualname__")):
            return _named(value)
        raise TypeError(f"got {type(value).__module__}.{type(value).__qualname__}, wanted something whose hash is known")

    def _of_array(self, array: np.ndarray[Any, Any]) -> bytes:
        held: object = array.tolist() if array.dtype.hasobject else array.tobytes()
        return self._joined(b"array", [array.dtype.str, array.shape, held])


@dataclass(frozen=True)
class _Record:
    """A class of dataclasses or models: its name, what takes one of them apart, and whether one is the same object while it is in use."""

    name: bytes
    held: Callable[[Any], tuple[Any, ...]]
    lasting: bool


@cache
def _record(one: type) -> _Record | None:
    """What is known of a class of dataclasses or models; None of any other."""
    if is_dataclass(one):
        names, lasting = [field.name for field in fields(one)], one.__dataclass_params__.frozen  # type: ignore[attr-defined]
    elif issubclass(one, BaseModel):
        names, lasting = [*one.model_fields], True
    else:
        return None
    several = attrgetter(*names) if len(names) > 1 else lambda value: tuple(getattr(value, name) for name in names)
    return _Record(_named(one), several, lasting)


def _named(one: Any) -> bytes:
    """The name under which a class or function is found again."""
    if "<" in one.__qualname__:
        raise TypeError(f"got {one.__qualname__} of {one.__module__}, wanted a class or function that its module has by name")
    return f"{one.__module__}:{one.__qualname__}".encode()


_WRITTEN = frozenset({type(None), bool, int, float, str})
_PLAIN: dict[type, Callable[[Any], bytes]] = {
    **dict.fromkeys(_WRITTEN, lambda value: repr(value).encode("utf-8", "surrogatepass")),
    bytes: lambda value: b"b" + blake2b(value, digest_size=SIZE).digest(),
}
_PARTS: dict[type, bytes] = {tuple: b"(", list: b"["}
