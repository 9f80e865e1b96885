"""What each field of a record is for: the text below it in the source.

pydantic reads the source of every record while it is imported, where ``use_attribute_docstrings`` is set: a tenth of what a short command
takes, while only schemas, tables, options and skeletons ask.
"""

from __future__ import annotations

import ast
import inspect
import sys
from collections.abc import Mapping
from functools import cache

from pydantic import BaseModel


@cache
def descriptions(model: type[BaseModel]) -> Mapping[str, str]:
    """Texts by field, in the order of the fields; one that has no text is left out."""
    found: dict[str, str] = {}
    for base in reversed(model.__mro__):
        if issubclass(base, BaseModel) and base is not BaseModel:
            found |= _written(_classes(base.__module__)[base.__name__])
    return {name: found[name] for name in model.model_fields if name in found}


@cache
def _classes(module: str) -> dict[str, ast.ClassDef]:
    """The classes of a module by their names."""
    tree = ast.parse(inspect.getsource(sys.modules[module]))
    return {part.name: part for part in tree.body if isinstance(part, ast.ClassDef)}


def _written(record: ast.ClassDef) -> dict[str, str]:
    """What stands below the fields of one class."""
    return {
        field.target.id: inspect.cleandoc(text.value.value)
        for field, text in zip(record.body, record.body[1:], strict=False)
        if isinstance(field, ast.AnnAssign)
        and isinstance(field.target, ast.Name)
        and isinstance(text, ast.Expr)
        and isinstance(text.value, ast.Constant)
        and isinstance(text.value.value, str)
    }
