"""One build of the archive: its files, their list of hashes, and the name that follows from that."""

from __future__ import annotations

import hashlib
import json
import re
from collections.abc import Mapping
from dataclasses import dataclass

from edgehold.errors import InputError

SUMS = "SHA256SUMS"
FACTS = "build.json"
READABLE = frozenset({"html", "csv", "parquet", "json", "gz", "txt", "md", "ipynb", "Rmd"})
"""Kinds of files that can be looked into when something must be taken out; a build has no other."""
LENGTH = 12  # letters of the hash in an address: 48 bits, which nobody meets twice by chance among some thousands of builds
UNDATED = "undated"
NAME = re.compile(rf"(?:[0-9]{{4}}-[0-9]{{2}}|{UNDATED})-[0-9a-f]{{{LENGTH}}}")
PATH = re.compile(r"(?:[A-Za-z0-9_-][A-Za-z0-9._-]*/)*[A-Za-z0-9_-][A-Za-z0-9._-]*")
_LINE = re.compile(r"([0-9a-f]{64})  (.+)")


@dataclass(frozen=True)
class Facts:
    """Where a build's figures come from.

    Attributes
    ----------
    month : the newest month in its data; empty where no file names one.
    program_version, commit, inputs_sha256, input_files : as in the provenance of its results.
    removed : ids of submissions that had been taken out when it was made.
    results_sha256 : SHA-256 of its ``results.json``, unpacked; empty in builds from before this was noted.
    """

    month: str
    program_version: str
    commit: str
    inputs_sha256: str
    input_files: int
    removed: tuple[str, ...] = ()
    results_sha256: str = ""


@dataclass(frozen=True)
class Build:
    """A build as it is kept.

    Attributes
    ----------
    name : folder and address, such as ``2026-10-3f9a0c41be27``.
    facts : where its figures come from.
    files : content by path within it, its list of hashes among them.
    """

    name: str
    facts: Facts
    files: Mapping[str, bytes]


def make_build(facts: Facts, files: Mapping[str, bytes]) -> Build:
    """A build of these files, and one with its facts.

    Raises
    ------
    InputError
        A path is none that an address can have, or is one of the two that are made here; or a file is of a kind that nobody could look
        into when something must be taken out of it.
    """
    for path in files:
        if not PATH.fullmatch(path) or ".." in path or path in (SUMS, FACTS):
            raise InputError(f"got the path {path!r} for a file of a build, wanted letters, digits, full stops, hyphens and slashes")
        if path.rpartition(".")[2] not in READABLE:
            raise InputError(f"got {path!r} for a file of a build, wanted one of the kinds {', '.join(sorted(READABLE))}")
    whole = {**files, FACTS: facts_json(facts)}
    sums = sums_of(whole)
    return Build(build_name(facts.month, sums), facts, whole | {SUMS: sums})


def build_name(month: str, sums: bytes) -> str:
    """The name that a list of hashes gives."""
    return f"{month or UNDATED}-{hashlib.sha256(sums).hexdigest()[:LENGTH]}"


def sums_of(files: Mapping[str, bytes]) -> bytes:
    """Lines of hash and path, by path, as ``sha256sum`` writes and checks them."""
    return "".join(f"{hashlib.sha256(files[path]).hexdigest()}  {path}\n" for path in sorted(files)).encode()


def read_sums(sums: bytes) -> dict[str, str]:
    """Hashes by path.

    Raises
    ------
    InputError
        It is no such list.
    """
    lines = [_LINE.fullmatch(line) for line in sums.decode(errors="replace").splitlines()]
    if not all(line is not None and PATH.fullmatch(line[2]) and ".." not in line[2] for line in lines):
        raise InputError("got lines that are no hash and path, wanted what sha256sum writes")
    return {line[2]: line[1] for line in lines if line is not None}


def facts_json(facts: Facts) -> bytes:
    """The facts as a file."""
    return (json.dumps(vars(facts) | {"removed": list(facts.removed)}, indent=2, ensure_ascii=False) + "\n").encode()


def read_facts(content: bytes) -> Facts:
    """The facts out of their file, whose hash was verified."""
    found = json.loads(content)
    return Facts(**(found | {"removed": tuple(found["removed"])}))
