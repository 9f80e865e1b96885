"""Columns and cells of a published model: a field is written down once, in its model, and stands in every table of it.

A field that is a text, a number or a yes or no is a column of its name with the field's description; a ratio with its interval is
its columns ``ratio``, ``low`` and ``high``, with the field's name before them (bare, and with ``level`` and ``method``, where the
field is called ``result``); several texts are one cell with spaces between them, arguments of a reason one cell of JSON.
What is a record or a row of records is no column: it has a table of its own.
"""

from __future__ import annotations

import json
import types
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Annotated, Generic, Literal, Protocol, TypeVar, Union, get_args, get_origin

from edgehold.records.model.base import Record
from edgehold.records.model.described import descriptions
from edgehold.results.model.moves import PoolLog
from edgehold.results.model.ratio import RatioInterval
from edgehold.results.model.results import Pool, SubmissionResult

from .cells import Cell

Model = TypeVar("Model", bound=Record)
Getter = Callable[[object], Cell]

KINDS: dict[object, str] = {str: "string", bool: "boolean", int: "integer", float: "number"}
BETWEEN = {"path": " > ", "names": "; ", "fixed": "; ", "not_held": "; "}  # what stands between the texts of a field; a space elsewhere


@dataclass(frozen=True)
class Flat(Generic[Model]):
    """A model as columns.

    Attributes
    ----------
    columns : name to "type: description", in the order of the fields.
    """

    columns: dict[str, str]
    _getters: tuple[Getter, ...]

    def cells(self, record: Model | None) -> tuple[Cell, ...]:
        """The cells of one record under the columns; of none, empty ones."""
        return tuple(None if record is None else get(record) for get in self._getters)


def flat(
    model: type[Model],
    *,
    only: tuple[str, ...] = (),
    without: tuple[str, ...] = (),
    rename: Mapping[str, str] | None = None,
    prefix: str = "",
    suffix: str = "",
) -> Flat[Model]:
    """The columns of a model.

    Parameters
    ----------
    model : a published model.
    only, without : fields that alone, or that not, become columns; ``only`` empty: all that can.
    rename : names of columns that are to have another.
    prefix, suffix : what stands before and behind every name that is not renamed.

    Raises
    ------
    KeyError
        A name in ``only``, ``without`` or ``rename`` that the model has not, so that a renamed field cannot leave a table unseen.
    ValueError
        Two columns of one name.
    """
    unknown = ({*only, *without} - set(model.model_fields)) or set()
    found = [
        (column, kind, description, get)
        for field, info in model.model_fields.items()
        if (not only or field in only) and field not in without
        for column, kind, description, get in _of_field(field, info.annotation, " ".join(descriptions(model).get(field, "").split()))
    ]
    names = dict(rename or {})
    unknown |= set(names) - {column for column, *_ in found}
    if unknown:
        raise KeyError(f"{model.__name__} has no field or column {', '.join(sorted(unknown))}")
    columns = {names.get(column, f"{prefix}{column}{suffix}"): f"{kind}: {description}" for column, kind, description, _ in found}
    if len(columns) < len(found):
        raise ValueError(f"{model.__name__} gives two columns one name: {', '.join(column for column, *_ in found)}")
    return Flat(columns, tuple(get for *_, get in found))


class Pooled(Protocol):
    """What holds pools and submissions as published."""

    @property
    def pools(self) -> tuple[Pool, ...]: ...

    @property
    def submissions(self) -> tuple[SubmissionResult, ...]: ...


def pool_cells(pool: Pool | PoolLog) -> tuple[Cell, ...]:
    """The cells under ``cells.POOL_COLUMNS``."""
    return (pool.origin, pool.protocol, pool.major)


def _of_field(field: str, annotation: object, description: str) -> list[tuple[str, str, str, Getter]]:
    """Columns of one field, each with its type, its description and how to get its cell; none for records."""
    inner = _without_none(annotation)
    if inner is RatioInterval:
        return _of_ratio(field, description)
    if get_origin(inner) is tuple and get_args(inner)[0] is str:
        between = BETWEEN.get(field, " ")
        return [(field, "string", description, lambda record: between.join(getattr(record, field)))]
    if get_origin(inner) is dict and field.endswith("_arguments"):
        return [(field, "string", f"{description} As JSON.", lambda record: _json(getattr(record, field)))]
    kind = KINDS.get(str if get_origin(inner) is Literal else inner)
    return [(field, kind, description, lambda record: getattr(record, field))] if kind else []


def _of_ratio(field: str, description: str) -> list[tuple[str, str, str, Getter]]:
    def part(name: str) -> Getter:
        return lambda record: None if (ratio := getattr(record, field)) is None else getattr(ratio, name)

    before = "" if field == "result" else f"{field}_"
    ends = [
        (f"{before}ratio", "number", description),
        (f"{before}low", "number", "Lower end of its interval; empty where unbounded."),
        (f"{before}high", "number", "Upper end of its interval; empty where unbounded."),
    ]
    how = [("level", "number", "Coverage of the interval."), ("method", "string", "How the interval was made.")] if not before else []
    return [(column, kind, text, part(column.removeprefix(before))) for column, kind, text in (*ends, *how)]


def _without_none(annotation: object) -> object:
    """The type itself where it is one or nothing, without what is said beside it."""
    if get_origin(annotation) is Annotated:
        return _without_none(get_args(annotation)[0])
    if get_origin(annotation) in (Union, types.UnionType):
        inner = [one for one in get_args(annotation) if one is not type(None)]
        return _without_none(inner[0]) if len(inner) == 1 else annotation
    return annotation


def _json(arguments: Mapping[str, object]) -> str:
    return json.dumps(arguments, ensure_ascii=False, sort_keys=True) if arguments else ""
