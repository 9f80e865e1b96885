"""Taking out of kept builds what must not be seen any more. What held it becomes a gap that says so, at the same address.

Two things ask for it: a submission that was taken out of the repository, and a handle that is shown as another. A file of a build goes as
a whole; no figure in it is made anew. Files that held nothing of it stay, pages of pooled figures among them: those name no
submission and nobody (``edgehold.pages.archived``).
"""

from __future__ import annotations

import csv
import gzip
import io
import json
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from string import Template
from typing import Any

from edgehold.words import Reason

RESULTS = "data/results.json.gz"
PAGE = Path(__file__).with_name("gap.html")
PERSON_COLUMNS = frozenset(
    {
        *("submitted_by", "people", "person", "handle", "by", "coder", "sharpener", "tester", "hand", "guessed_sharpener"),
        *("blade", "guessed_blade", "batch", "lot", "reading_lot", "instrument", "pack", "segment", "key"),
    }
)
"""Columns of tables, and members of the results, that hold handles, or keys that begin with one."""


@dataclass(frozen=True)
class Wanted:
    """What must not be seen.

    Attributes
    ----------
    submissions : ids of submissions.
    people : handles, and keys of things such as blades.
    """

    submissions: frozenset[str]
    people: frozenset[str]


def holds(path: str, content: bytes, wanted: Wanted) -> bool:
    """Whether a file of a build holds anything of what is wanted.

    Tables and JSON are read cell by cell, for a handle may be a word of everyday; of a page or any other text an id counts where it
    stands as a part of an address or alone in an element.
    """
    if path.endswith(".gz"):
        return holds(path.removesuffix(".gz"), gzip.decompress(content), wanted)
    if path.endswith(".parquet"):
        return any(_named(name, value, wanted) for name, value in _texts(content))
    text = content.decode(errors="replace")
    if path.endswith(".json"):
        return any(_named(name, value, wanted) for name, value in _strings("", json.loads(text)))
    if path.endswith(".csv"):
        rows = csv.DictReader(io.StringIO(text))
        return any(_named(name or "", value, wanted) for row in rows for name, value in row.items() if isinstance(value, str))
    return any(f"/{one}/" in text or f"/{one}." in text or f">{one}<" in text for one in wanted.submissions)


def _named(name: str, value: str, wanted: Wanted) -> bool:
    if value in wanted.submissions or any(value.endswith(f"/{one}.json") or f"/{one}/" in value for one in wanted.submissions):
        return True
    return name in PERSON_COLUMNS and any(value == one or value.startswith(f"{one}.") for one in wanted.people)


def _strings(name: str, value: Any) -> Iterator[tuple[str, str]]:
    """Every text of a JSON tree, with the name of the member that it stands in."""
    if isinstance(value, str):
        yield name, value
    elif isinstance(value, dict):
        for key, inner in value.items():
            yield from _strings(key, inner)
    elif isinstance(value, list):
        for inner in value:
            yield from _strings(name, inner)


def _texts(content: bytes) -> Iterator[tuple[str, str]]:
    """Every text of a Parquet file once a batch, with the name of its column."""
    import pyarrow.parquet as pq  # what archives is installed with it, while the check of a request is not

    for batch in pq.ParquetFile(io.BytesIO(content)).iter_batches():
        for name in batch.schema.names:
            yield from ((name, value) for value in batch.column(name).unique().to_pylist() if isinstance(value, str))


def only_of(results: bytes, submissions: frozenset[str]) -> frozenset[str]:
    """Handles and keys that a build's results name in these submissions and in no other.

    Parameters
    ----------
    results : ``results.json`` as kept, packed.
    submissions : their ids.
    """
    found = json.loads(gzip.decompress(results))
    everything = [*found.get("submissions", ()), *found.get("retracted", ())]
    mine, others = (
        {value for s in everything if (s["id"] in submissions) is of_mine for name, value in _strings("", s) if name in PERSON_COLUMNS}
        for of_mine in (True, False)
    )
    return frozenset(mine - others)


def gap(path: str, month: str, reason: str) -> bytes:
    """What stands at the address of a file that was withdrawn: a file of the same kind that says so.

    Parameters
    ----------
    path : of the file.
    month : when.
    reason : privacy, legal or alias.
    """
    said = Reason(f"archive.gap_{reason}", month=month)
    if path.endswith(".gz"):
        return gzip.compress(gap(path.removesuffix(".gz"), month, reason), mtime=0)
    if path.endswith(".json"):
        return (
            json.dumps({"withdrawn": {"month": month, "reason": reason, "says": str(said)}}, indent=2, ensure_ascii=False) + "\n"
        ).encode()
    if path.endswith(".csv"):
        table = io.StringIO()
        csv.writer(table, lineterminator="\n").writerows([("withdrawn", "reason", "says"), (month, reason, str(said))])
        return table.getvalue().encode()
    if path.endswith(".parquet"):
        return _parquet({"withdrawn": month, "reason": reason, "says": str(said)})
    if path.endswith(".html"):
        return Template(PAGE.read_text(encoding="utf-8")).substitute(says=str(said)).encode()
    return f"{said}\n".encode()


def _parquet(row: dict[str, str]) -> bytes:
    import pyarrow as pa
    import pyarrow.parquet as pq

    written = io.BytesIO()
    pq.write_table(pa.Table.from_pylist([row]), written)
    return written.getvalue()
