"""``results.json``: JSON, two spaces, UTF-8, keys in the order of the schema.

What stands in its longest lists is written once, and kept beside what it was written from.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from pydantic import BaseModel

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
                text = text.replace(f'\n  "{name}": []', f'\n  "{name}": [\n    ' + ",\n    ".join(items) + "\n  ]", 1)
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
    rest = f"{_json(results.model_copy(update=dict.fromkeys(LISTS, ())))}\n".encode()
    return Written(rest, {name: [known.get(_called(one)) or _item(one) for one in of_list] for name, of_list in items.items()})


def texts_of(items: Iterable[Item]) -> dict[tuple[str, ...], str]:
    """Some items as they are written."""
    return {_called(one): _item(one) for one in items}


def _called(one: Item) -> tuple[str, ...]:
    return (one.protocol, str(one.major), one.origin) if isinstance(one, Pool) else (one.id,)


def _item(one: Item) -> str:
    return _json(one).replace("\n", "\n    ")


def _json(one: BaseModel) -> str:
    return json.dumps(one.model_dump(mode="json"), indent=2, ensure_ascii=False, allow_nan=False)
