"""A protocol's draft: a copy of a version with the next number, or a skeleton in which every field says what it is for."""

from __future__ import annotations

import re
import types
import typing
from collections.abc import Iterator
from pathlib import Path
from typing import Annotated, get_args, get_origin

from pydantic import BaseModel, TypeAdapter, ValidationError
from pydantic_core import PydanticUndefined

from edgehold.errors import InputError
from edgehold.records.layout import RESERVED_IDS, RESERVED_PROTOCOLS, walk
from edgehold.records.model.base import Record, Slug, Version
from edgehold.records.model.described import descriptions
from edgehold.records.model.protocol import PROTOCOL_FORMAT, Protocol, version_order
from edgehold.records.read.form import read_record
from edgehold.records.read.opening import decode, read_bytes
from edgehold.records.read.yaml_reading import parse_yaml, split_front_matter
from edgehold.records.report import harmless
from edgehold.records.rules.settings_tables import asking_for_tables
from edgehold.words import Reason

from .drafts import Draft
from .writing import markdown_text, yaml_text

FIRST_VERSION = "1.0.0"
TO_FILL = str(Reason("drafts.to_fill"))
_ID, _NUMBER = (TypeAdapter(kind, config=Record.model_config) for kind in (Slug, Version))


def protocol_draft(root: Path, name: str, source: str | None = None, version: str | None = None) -> Draft:
    """A protocol version that nobody released yet.

    Parameters
    ----------
    root : the repository's folder.
    name : the protocol's id, that of the source for a new version of the same method.
    source : ID@VERSION to start from; None: a skeleton to be filled in.
    version : its number; None: the next MINOR of the id, or 1.0.0 for the first version.

    Raises
    ------
    InputError
        A name or number is out of form, there is no such source, or the version is there already.
    """
    if not _fits(_ID, name):
        raise InputError(f"{harmless(name)!r} is no id; wanted lower-case letters, digits and hyphens, two at least")
    if name in RESERVED_IDS | RESERVED_PROTOCOLS:
        raise InputError(f"{name!r} is a name that some system or this site keeps for itself; choose another id")
    known = [path.split("/")[2].removesuffix(".md") for path in walk(root).protocols if path.split("/")[1] == name]
    number = version or next_minor(known)
    if not _fits(_NUMBER, number):
        raise InputError(f"{harmless(number)!r} is no version; wanted a number like 1.2.0")
    if number in known:
        raise InputError(f"version {number} of {name!r} is there already; the next one may be {next_minor(known)}")
    path = f"protocols/{name}/{number}.md"
    if source is None:
        return Draft(path, skeleton(name, number))
    return _copy(root, path, source)


def _fits(kind: TypeAdapter[str], text: str) -> bool:
    try:
        return kind.validate_python(text) == text
    except ValidationError:
        return False


def next_minor(known: list[str]) -> str:
    """The version after the newest of some: its MINOR one larger; 1.0.0 where there is none."""
    if not known:
        return FIRST_VERSION
    first, second, _ = version_order(max(known, key=version_order))
    return f"{first}.{second + 1}.0"


def _copy(root: Path, path: str, source: str) -> Draft:
    name, _, version = source.partition("@")
    origin = f"protocols/{name}/{version}.md"
    if origin not in walk(root).protocols:
        raise InputError(f"--from {harmless(source)!r} is no version of a protocol; wanted one like two-sharpeners-rope@1.1.0")
    text = decode(read_bytes(root / origin, "protocol")[0])[0]
    parts = split_front_matter(text)
    tree = parse_yaml(parts[0]).tree if parts else None
    if parts is None or not isinstance(tree, dict):
        raise InputError(f"{origin} cannot be read; run 'edgehold check' and put that right first")
    now = {"id": path.split("/")[1], "version": path.split("/")[2].removesuffix(".md"), "changes": TO_FILL}
    beside = () if now["id"] == name else tuple(_drawings(root, tree, name, now["id"]))
    record, _ = read_record(Protocol, tree)
    body = parts[1] if record is None else asking_for_tables(record, parts[1])
    return Draft(path, _with(now, tree, parts[0], body), beside)


def _with(now: dict[str, str], tree: dict[str, object], front: str, body: str) -> str:
    """The text with some fields of its front matter exchanged, all else as it stood; written anew where that cannot be done."""
    for field, value in now.items():
        line = yaml_text({field: value}).replace("\\", r"\\")
        front = re.sub(rf"^{field}:.*\n(?:[ \t]+.*\n|[ \t]*\n)*", line, front, count=1, flags=re.MULTILINE)
    wanted = tree | now
    read = parse_yaml(front)
    return f"---\n{front}---\n{body}" if read.tree == wanted and not read.problems else markdown_text(wanted, body)


def _drawings(root: Path, tree: dict[str, object], name: str, new: str) -> Iterator[tuple[str, bytes]]:
    """The drawings that the source names, for the folder of another protocol."""
    layout = walk(root)
    figures = tree.get("figures")
    for figure in figures if isinstance(figures, list) else ():
        path = f"protocols/{name}/{figure.get('file') if isinstance(figure, dict) else ''}"
        if path in layout.figures:
            yield f"protocols/{new}/{path.split('/', 2)[2]}", read_bytes(root / path, "figure")[0]


def skeleton(name: str, version: str = FIRST_VERSION) -> str:
    """The text of a protocol in which nothing is filled in, and every field says what it is for."""
    given = {"format": PROTOCOL_FORMAT, "id": name, "version": version, "changes": "first version"}
    lines = [
        Reason("drafts.skeleton_head"),
        *_fields(Protocol, given, ""),
    ]
    return "---\n" + "\n".join(lines) + f"\n---\n\n{Reason('drafts.body')}\n"


def _fields(model: type[BaseModel], given: dict[str, str], indent: str) -> Iterator[str]:
    """Lines of one record: above each field what it is for and the words allowed."""
    for name, field in model.model_fields.items():
        kind, needed = _kind(field.annotation), field.is_required()
        words = f" One of: {', '.join(map(str, get_args(kind)))}." if get_origin(kind) is typing.Literal and name not in given else ""
        yield f"{indent}# {descriptions(model)[name]}{words}"
        if name in given:
            yield indent + yaml_text({name: given[name]}).rstrip("\n")
        elif not needed:
            yield f"{indent}{name}: {_default(field.default)}"
        elif isinstance(kind, type) and issubclass(kind, BaseModel):
            yield f"{indent}{name}:"
            yield from _fields(kind, {}, f"{indent}  ")
        elif get_origin(kind) is tuple:
            yield from _entries(name, _kind(get_args(kind)[0]), indent)
        else:
            yield f"{indent}{name}:"


def _entries(name: str, item: object, indent: str) -> Iterator[str]:
    """A list with one entry where the entries are records, else an empty one."""
    if not (isinstance(item, type) and issubclass(item, BaseModel)):
        yield f"{indent}{name}: []"
        return
    yield f"{indent}{name}:"
    inside = list(_fields(item, {}, f"{indent}    "))
    comment, first, *rest = inside
    yield comment
    yield f"{indent}  - {first.strip()}"
    yield from rest


def _kind(annotation: object) -> object:
    """What a field holds, without limits and without "or null"."""
    while True:
        if get_origin(annotation) is Annotated:
            annotation = get_args(annotation)[0]
        elif get_origin(annotation) in (typing.Union, types.UnionType):
            annotation = next(a for a in get_args(annotation) if a is not type(None))
        else:
            return annotation


def _default(value: object) -> str:
    if value is None or value is PydanticUndefined:
        return "null"
    if value == ():
        return "[]"
    return yaml_text({"x": value})[3:].rstrip("\n")
