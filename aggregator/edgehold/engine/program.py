"""A hash of all that computes besides the values: source, interpreter, libraries and what they found of the machine."""

from __future__ import annotations

import os
import platform
import sys
from collections.abc import Iterable, Mapping
from functools import cache
from hashlib import blake2b
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path
from types import MappingProxyType

import numpy as np

_HERE = Path(__file__).resolve().parents[1]
COMPUTING = ("engine", "records", "endpoints", "estimates", "pooling", "numerics", "words", "errors", "counted", "disk", "cycles")
"""Where everything lies that a stage up to pooling may import (``tests/test_direction.py``); the rest changes none of its figures."""
EVERYTHING = (".",)
LIBRARIES = (
    *("numpy", "scipy", "pymetis", "pydantic", "jsonschema", "vl-convert-python", "openpyxl", "Jinja2", "Markdown", "nh3"),
    *("pyarrow", "rfc8785", "MarkupSafe", "mkdocs", "mkdocs-material", "PyYAML"),
)
"""What the kept parts are computed with."""
SETTINGS = ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS", "OPENBLAS_CORETYPE")


def made_by(module: str) -> bytes:
    """The hash for what a module of the program computes, in this process."""
    return _made_by(COMPUTING if module.split(".")[1:2] and module.split(".")[1] in COMPUTING else EVERYTHING)


@cache
def facts() -> Mapping[str, str]:
    """All that computes in this process, by what it is called: whoever has the same gives the same bytes."""
    source = blake2b(digest_size=32)
    _add_sources(source, EVERYTHING)
    return MappingProxyType({"source": source.hexdigest(), **_beside_the_source()})


@cache
def _made_by(parts: tuple[str, ...]) -> bytes:
    hashed = blake2b(repr(_beside_the_source()).encode(), digest_size=32)
    _add_sources(hashed, parts)
    return hashed.digest()


def _beside_the_source() -> dict[str, str]:
    """Libraries, settings, interpreter and machine."""
    return {
        **{name: _version(name) for name in LIBRARIES},
        **{name: os.environ.get(name, "") for name in SETTINGS},
        "Python": sys.version,
        "machine": platform.machine(),
        "processor": repr(_processor()),
    }


def _add_sources(hashed: blake2b, parts: tuple[str, ...]) -> None:
    for name, content in _sources(parts):
        hashed.update(f"\n{name} {len(content)}\n".encode() + content)


def _version(library: str) -> str:
    try:
        return version(library)
    except PackageNotFoundError:
        return ""


def _processor() -> object:
    """What numpy uses of the processor: with other instructions, last digits may be others."""
    known: object = np.show_config(mode="dicts")
    return known.get("SIMD Extensions", "") if isinstance(known, dict) else ""


def _sources(parts: Iterable[str]) -> list[tuple[str, bytes]]:
    """Source, data and templates of some parts of the program, by path within it, sorted."""
    found = [path for part in parts for path in (_HERE / f"{part}.py", *(_HERE / part).rglob("*"))]
    return sorted(
        (path.relative_to(_HERE).as_posix(), _HERE.joinpath(path).read_bytes())
        for path in found
        if path.suffix != ".pyc" and path.is_file()
    )
