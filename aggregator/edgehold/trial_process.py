"""The process in which a proposal is tried out: it bounds itself, says what it begins, and ends.

Run by `edgehold.trial`, which gives the task as JSON on the standard input and reads the names of what is begun, one a line; a last
line that begins with ``!`` says what was raised.
"""

from __future__ import annotations

import json
import sys
from collections.abc import Iterable
from pathlib import Path
from typing import TypedDict

FAILED = 3
"""Exit status where something was raised."""


class Task(TypedDict):
    """What is to be tried.

    Attributes
    ----------
    megabytes, seconds : of memory and of processor time that the process may take.
    methods : methods to lay out, each with its path, settings, text, and drawings as SVG by path beside it.
    root : a repository to pool; empty: none.
    pools : ids of the protocols whose pools are meant.
    """

    megabytes: int
    seconds: int
    methods: list[Method]
    root: str
    pools: list[str]


class Method(TypedDict):
    """A method to lay out."""

    path: str
    record: str
    body: str
    figures: dict[str, str]


def main() -> int:
    task: Task = json.load(sys.stdin)
    _bound(task["megabytes"], task["seconds"])
    try:
        _lay_out(task["methods"])
        if task["root"]:
            _pool(Path(task["root"]), frozenset(task["pools"]))
    except BaseException as error:  # whatever it is, whoever asked is told
        told = " ".join(f"{type(error).__name__}: {error}".split())[:300]
        print(f"!{told}", flush=True)
        return FAILED
    return 0


def _bound(megabytes: int, seconds: int) -> None:
    """Bound this process and those that it begins; where the system cannot, whoever asked watches the clock alone."""
    try:
        import resource
    except ImportError:
        return
    for what, most in ((resource.RLIMIT_AS, megabytes << 20), (resource.RLIMIT_CPU, seconds), (resource.RLIMIT_CORE, 0)):
        _, hard = resource.getrlimit(what)
        most = most if hard == resource.RLIM_INFINITY else min(most, hard)
        resource.setrlimit(what, (most, most))


def _lay_out(methods: Iterable[Method]) -> None:
    """As the pages do: the text with its drawings, and what the hands need of it."""
    from .pages.hands import hands_of
    from .pages.safe_text import drawing, headings, protocol_body
    from .records.model.protocol import Protocol

    for method in methods:
        print(method["path"], flush=True)
        record = Protocol.model_validate_json(method["record"])
        captions = {figure.file: figure.caption for figure in record.figures}
        drawings = {file: drawing(svg, f"d{n}-", captions.get(file, "")) for n, (file, svg) in enumerate(method["figures"].items())}
        protocol_body(method["body"], drawings)
        headings(method["body"])
        hands_of(record, method["body"], method["figures"], "hands-")


def _pool(root: Path, protocols: frozenset[str]) -> None:
    """Pool what belongs to some protocols, and make the pages of it that need no drawing library."""
    from dataclasses import replace

    from .everything import find_everything
    from .pages.objection_pages import objection_pages
    from .pages.protocol_pages import protocol_pages
    from .records import load_repository
    from .results.publish.assemble import assemble

    print(".", flush=True)
    repository = load_repository(root, earlier=True)
    chosen = tuple(s for s in repository.submissions if s.record.protocol.id in protocols)
    results = assemble(find_everything(replace(repository, submissions=chosen)))
    tuple(protocol_pages(results, {}))
    tuple(objection_pages(results))


if __name__ == "__main__":
    sys.exit(main())
