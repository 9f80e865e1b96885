"""``results.json``: JSON, UTF-8, keys in the order of the schema, a line for each of them and for each item of their lists.

So a pool, a submission or a protocol is one line, which line-based programs find, count and compare, and nothing else is spent on white
space. What stands in the longest lists is written once, and kept beside what it was written from.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from edgehold.results.model.results import Pool, Results, SubmissionResult

LISTS = ("pools", "submissions", "retracted")
Item = Pool | SubmissionResult
Texts = Mapping[tuple[str, ...], str]
"""JSON of items of these lists, by what they are called."""


@dataclass(frozen=True)
class Written:
    """The file, taken apart.

    Attributes
    ----------
    rest : the file without what stands in these lists.
    items : what stands in them, by name.
    """

    rest: bytes
    items: Mapping[str, Sequence[str]]

    def whole(self) -> bytes:
        """The file."""
        text = self.rest.decode()
        for name, items in self.items.items():
            if items:
                text = text.replace(f'\n"{name}":[]', f'\n"{name}":{_lines(items, "[]")}', 1)
        return text.encode()


def written(results: Results, texts: Texts | None = None) -> Written:
    """The results as a file.

    Parameters
    ----------
    results : the results.
    texts : items that were written before.
    """
    known = texts or {}
    items: dict[str, Iterable[Item]] = {name: getattr(results, name) for name in LISTS}
    rest = results.model_copy(update=dict.fromkeys(LISTS, ())).model_dump(mode="json")
    lines = [
        f"{_json(name)}:{_lines(map(_json, value), '[]') if isinstance(value, list) and value else _json(value)}"
        for name, value in rest.items()
    ]
    file = f"{_lines(lines, '{}')}\n".encode()
    return Written(file, {name: [known.get(_called(one)) or _item(one) for one in of_list] for name, of_list in items.items()})


def texts_of(items: Iterable[Item]) -> dict[tuple[str, ...], str]:
    """Some items as they are written."""
    return {_called(one): _item(one) for one in items}


def _called(one: Item) -> tuple[str, ...]:
    return (one.protocol, str(one.major), one.origin) if isinstance(one, Pool) else (one.id,)


def _item(one: Item) -> str:
    return _json(one.model_dump(mode="json"))


def _lines(parts: Iterable[str], ends: str) -> str:
    """Parts between two brackets, each on a line."""
    return ends[0] + "\n" + ",\n".join(parts) + "\n" + ends[1]


def _json(plain: object) -> str:
    return json.dumps(plain, ensure_ascii=False, allow_nan=False, separators=(",", ":"))
