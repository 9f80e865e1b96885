"""Stage 1: files that people wrote -> validated records, or findings.

In: a folder. Out: a `Repository` of frozen records with canonical numbers, and every finding. This is the only code
that reads what people wrote, and nothing is computed here but units. In the order of the data::

    layout          which files there are
    opening         bytes, size, encoding: limits before parsing
    json_reading, yaml_reading     text -> plain values
    form            plain values -> records (``model``)
    canonical_runs  numbers and units -> canonical numbers
    rules           what needs two fields, or two files
    neighbours      the other submissions that have something to do with some that were named or changed
    findings        problems -> findings with line and cure (``codes``, ``report``)

What rules and pages both ask of records read::

    threads         the state of an objection, and the versions it stands against
    differences     what differs between two versions of a protocol
    bumps           which part of the version's number must grow for that

A request to add or change files is held against its base on the same way::

    git_reading     git's answers, and nothing else of git
    proposal        the working tree against a commit -> what is changed
    union           base and proposal together, where the base has moved on
    against         the whole check of a request (``rules.additions``, ``request_report``)
"""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from .read.loading import load_repository

__all__ = ["load_repository"]


def __getattr__(name: str) -> object:
    """What this stage offers, imported when it is asked for: its small modules are wanted by programs that read no file (PEP 562)."""
    if name not in __all__:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    from .read import loading

    return loading.load_repository
