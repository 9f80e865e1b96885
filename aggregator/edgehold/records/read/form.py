"""A tree of plain values to a record, or what its form lacks in plain words.

pydantic decides; this module only translates. Everything goes through JSON text, so that YAML, JSON and the schema
for strangers' programs are read by one and the same set of rules.
"""

from __future__ import annotations

import difflib
import json
import re
import types
import typing
from collections.abc import Mapping
from typing import Any, TypeVar

from pydantic import BaseModel, ValidationError
from pydantic_core import ErrorDetails

from edgehold.records.problem import Problem, pointer, shown
from edgehold.words import Reason

RecordType = TypeVar("RecordType", bound=BaseModel)
Context = Mapping[str, Any]
"""What pydantic says beside the kind of an error: limits, patterns, words."""

MOST_HINTS = 100  # "did you mean" is looked for in so many places; no more than that are listed anyway

_PATTERN_CURES = (
    (r"^[0-9]{4}-", Reason("reading.month_like")),
    (r"^(?:0|[1-9][0-9]{0,3})", Reason("reading.version_like")),
    (r"^[0-9a-f]{64}", Reason("reading.hash_like")),
    (r"^s[0-9]{1,3}", Reason("reading.step_like")),
    (r"^figures/", Reason("reading.figure_like")),
    (r"^[A-Z][a-z]?", Reason("reading.symbol_like")),
    (r"^[a-z0-9][a-z0-9-]{0,29}[a-z0-9]\.", Reason("reading.key_like")),
    (r"^[a-z0-9]", Reason("reading.handle_like")),
    (r"^[0-9A-Za-z]", Reason("identity.account_like")),
)
_WANTED = {
    "string_type": Reason("reading.quoted_text"),
    "float_type": "a number",
    "int_type": "a whole number",
    "int_from_float": "a whole number",
    "bool_type": Reason("reading.true_false"),
    "model_type": Reason("reading.object"),
    "model_attributes_type": Reason("reading.object"),
    "dict_type": Reason("reading.object"),
    "tuple_type": "a list",
    "list_type": "a list",
}
_RANGES = {
    "greater_than": ("above", "gt"),
    "greater_than_equal": ("at least", "ge"),
    "less_than": ("below", "lt"),
    "less_than_equal": ("at most", "le"),
}


def read_record(model: type[RecordType], tree: object, written: bytes | None = None) -> tuple[RecordType | None, list[Problem]]:
    """The record that a tree of plain JSON values describes and no problem, or None and at least one.

    ``written`` are the bytes that the tree was parsed from, where they are at hand; they need not be written again then.
    """
    try:
        return model.model_validate_json(json.dumps(tree) if written is None else written), []
    except ValidationError as error:
        details = error.errors(include_url=False, include_input=False)
        return None, _translated(model, tree, details)


def _translated(model: type[BaseModel], tree: object, details: list[ErrorDetails]) -> list[Problem]:
    """One problem a place: the branches of a union complain about the same value and are told as one."""
    by_place: dict[tuple[str | int, ...], list[ErrorDetails]] = {}
    for detail in details:
        place = _place(tree, detail)
        if not _counts_only_good_entries(detail, _value(tree, place)):
            by_place.setdefault(place, []).append(detail)
    hinted = list(by_place.items())[:MOST_HINTS]
    plain = list(by_place.items())[MOST_HINTS:]
    problems = [_problem(model, tree, place, found) for place, found in hinted]
    return problems + [_problem(model, tree, place, found, hints=False) for place, found in plain]


def _counts_only_good_entries(detail: ErrorDetails, value: object) -> bool:
    """Whether pydantic calls a list too short only because entries of it are wrong, which are told by themselves."""
    return detail["type"] == "too_short" and isinstance(value, list) and len(value) >= detail["ctx"]["min_length"]


def _place(tree: object, detail: ErrorDetails) -> tuple[str | int, ...]:
    """The place in the tree: pydantic's own, without the names of union branches."""
    place: list[str | int] = []
    for part in detail["loc"]:
        found, inside = _step(tree, part)
        if found:
            tree = inside
        elif not (detail["type"] == "missing" and part == detail["loc"][-1]):
            break
        place.append(part)
    return tuple(place)


def _step(tree: object, part: str | int) -> tuple[bool, object]:
    if isinstance(tree, dict) and part in tree:
        return True, tree[part]
    if isinstance(tree, list) and isinstance(part, int) and 0 <= part < len(tree):
        return True, tree[part]
    return False, None


def _value(tree: object, place: tuple[str | int, ...]) -> object:
    for part in place:
        tree = _step(tree, part)[1]
    return tree


def _problem(
    model: type[BaseModel], tree: object, place: tuple[str | int, ...], details: list[ErrorDetails], hints: bool = True
) -> Problem:
    detail, value = details[0], _value(tree, place)
    where = pointer(*place)
    if len(details) > 1:
        return _union_problem(where, value, details)
    kind, context = detail["type"], detail.get("ctx", {})
    if detail["loc"][-1:] == ("[key]",):
        return Problem(
            where, "wrong-form", Reason("reading.no_name_for_this", place=shown(place[-1])), pattern_cure(context.get("pattern", ""))
        )
    if kind == "missing":
        return Problem(where, "missing-field", f"{place[-1]!r} is missing", f"add {place[-1]!r}")
    if kind == "extra_forbidden":
        cure = _field_cure(model, place) if hints else ""
        return Problem(where, "unknown-field", Reason("reading.no_such_field", place=shown(place[-1])), cure)
    if kind == "literal_error":
        return _word_problem(where, value, context["expected"])
    if kind == "string_pattern_mismatch":
        return _pattern_problem(where, value, context)
    if kind in ("string_too_short", "string_too_long"):
        return _length_problem(where, value, context)
    if kind in _RANGES:
        return _range_problem(where, value, kind, context)
    if kind == "too_short" and isinstance(value, list | dict):
        least = context["min_length"]
        return Problem(where, "empty-list", Reason("reading.entries", count=len(value)), Reason("reading.give_at_least", least=least))
    if kind == "too_long":
        return Problem(
            where, "out-of-range", Reason("reading.list_too_long"), Reason("reading.give_at_most", max_length=context["max_length"])
        )
    wanted = _WANTED.get(kind, Reason("reading.as_the_schema"))
    return Problem(where, "wrong-type", f"got {_kind_of(value)}, wanted {wanted}", f"write {wanted}")


def _union_problem(where: str, value: object, details: list[ErrorDetails]) -> Problem:
    """Number or text: the one union of the records."""
    if isinstance(value, str):
        fitting = next(d for d in details if d["type"].startswith("string_"))
        return _length_problem(where, value, fitting.get("ctx", {}))
    ranges = [d for d in details if d["type"] in _RANGES]
    if ranges:
        return _range_problem(where, value, ranges[0]["type"], ranges[0]["ctx"])
    message = Reason("reading.wanted_number", value=_kind_of(value))
    return Problem(where, "wrong-type", message, Reason("reading.number_like"))


def _word_problem(where: str, value: object, expected: str) -> Problem:
    words = re.findall(r"'([^']*)'", expected)
    if where == "/format":
        return Problem(where, "unknown-format", Reason("reading.unknown_format", value=shown(value)), f"write {words[0]!r}")
    listed = " or ".join(filter(None, [", ".join(map(repr, words[:-1])), repr(words[-1])]))
    close = difflib.get_close_matches(str(value)[:60].casefold(), words, n=1, cutoff=0.6)
    hint = f"; {Reason('findings.did_you_mean', close=close[0])}" if close else ""
    return Problem(where, "unknown-word", Reason("reading.not_allowed", value=_kind_of(value)), f"write {listed}{hint}")


def _pattern_problem(where: str, value: object, context: Context) -> Problem:
    text, pattern = str(value), context["pattern"]
    if text != text.lower() and re.search(pattern, text.lower()):
        return Problem(where, "wrong-case", f"{shown(value)} has capitals", f"write {text.lower()!r}")
    return Problem(where, "wrong-form", Reason("reading.wrong_form", value=shown(value)), pattern_cure(context.get("pattern", "")))


def pattern_cure(pattern: str) -> str:
    """What text of this form looks like, in plain words; empty where no words are known."""
    return next((cure for start, cure in _PATTERN_CURES if pattern.startswith(start)), "")


def _length_problem(where: str, value: object, context: Context) -> Problem:
    if "min_length" in context:
        return Problem(where, "text-length", Reason("reading.text_empty"), Reason("reading.write_or_null"))
    most = context["max_length"]
    message = Reason("reading.characters", count=len(str(value)))
    return Problem(where, "text-length", message, Reason("reading.shorten_to", most=most))


def _range_problem(where: str, value: object, kind: str, context: Context) -> Problem:
    word, key = _RANGES[kind]
    limit = f"{word} {context[key]:g}"
    return Problem(where, "out-of-range", f"{shown(value)} is not {limit}", Reason("reading.give_number", limit=limit))


def _kind_of(value: object) -> str:
    if value is None or isinstance(value, bool):
        return {None: "null", True: "true", False: "false"}[value]
    if isinstance(value, dict):
        return "an object"
    if isinstance(value, list):
        return "a list"
    return f"the text {shown(value)}" if isinstance(value, str) else f"the number {shown(value)}"


def _field_cure(model: type[BaseModel], place: tuple[str | int, ...]) -> str:
    names = list(_model_at(model, place[:-1]).model_fields)
    close = difflib.get_close_matches(str(place[-1])[:60].casefold(), names, n=1, cutoff=0.6)
    return Reason("findings.did_you_mean", close=close[0]) if close else ""


def _model_at(model: type[BaseModel], place: tuple[str | int, ...]) -> type[BaseModel]:
    """The record that describes the value at a place."""
    annotation: object = model
    for part in place:
        found = _model_in(annotation)
        if found is not None and part in found.model_fields:
            annotation = found.model_fields[part].annotation
    return _model_in(annotation) or model


def _model_in(annotation: object) -> type[BaseModel] | None:
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return annotation
    origin = typing.get_origin(annotation)
    if origin in (tuple, typing.Union, types.UnionType, typing.Annotated):
        return next(filter(None, map(_model_in, typing.get_args(annotation))), None)
    return None
