"""A hash of a value that depends on what it says and on nothing else: not on the process, on memory or on the order of a set.

Pickles and ``hash`` do not give that: a pickle writes the same string once or twice as it is one object or two, and sets and hashes of
strings go by the seed of the process.
"""

from __future__ import annotations

import struct
from collections.abc import Callable, Mapping
from dataclasses import fields, is_dataclass
from enum import Enum
from functools import partial
from hashlib import blake2b
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

    def _told(self, value: object) -> bytes:
        plain = _PLAIN.get(type(value))
        if plain is not None:
            return plain(value)
        parts = _PARTS.get(type(value))
        if parts is not None:
            return self._joined(parts, value)
        met = self._met.get(id(value))
        if met is None:
            met = value, b"#" + blake2b(self._of_kind(value), digest_size=SIZE).digest()
            if _lasting(value):
                self._met[id(value)] = met
        return met[1]

    def _joined(self, tag: bytes, values: Any) -> bytes:
        told = [self._told(one) for one in values]
        return b"".join((tag, struct.pack("<q", len(told)), *(part for one in told for part in (struct.pack("<q", len(one)), one))))

    def _of_kind(self, value: Any) -> bytes:
        """What is told of a value of a class: the name of the class, then what it holds."""
        if is_dataclass(value) and not isinstance(value, type):
            return self._joined(_named(type(value)), [getattr(value, one.name) for one in fields(value)])
        if isinstance(value, BaseModel):
            return self._joined(_named(type(value)), [getattr(value, name) for name in type(value).model_fields])
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


def _named(one: Any) -> bytes:
    """The name under which a class or function is found again."""
    if "<" in one.__qualname__:
        raise TypeError(f"got {one.__qualname__} of {one.__module__}, wanted a class or function that its module has by name")
    return f"{one.__module__}:{one.__qualname__}".encode()


def _lasting(value: object) -> bool:
    """Whether a value is always the same object while it is in use."""
    return (is_dataclass(value) and value.__dataclass_params__.frozen) or isinstance(value, BaseModel)  # type: ignore[union-attr]


_PLAIN: dict[type, Callable[[Any], bytes]] = {
    type(None): lambda _: b"N",
    bool: lambda value: b"T" if value else b"F",
    int: lambda value: b"i%d" % value,
    float: lambda value: b"f" + struct.pack("<d", value),
    str: lambda value: b"s" + value.encode("utf-8", "surrogatepass"),
    bytes: lambda value: b"b" + value,
}
_PARTS: dict[type, bytes] = {tuple: b"(", list: b"["}
