"""`edgehold draft`: put a draft where it belongs, check everything with it, and say what was found."""

from __future__ import annotations

import argparse
import sys
from dataclasses import dataclass
from pathlib import Path

from edgehold.disk import read_file, write_file, write_files
from edgehold.errors import ERROR, Finding, InputError
from edgehold.records import load_repository
from edgehold.records.read.placing import put_if_sound
from edgehold.records.report import findings_text

from .drafts import Draft, event_draft, objection_draft, outcome_draft, response_draft
from .method_drafts import method_draft, read_answers, review_draft
from .options import OPTIONS
from .protocol_drafts import protocol_draft

REWRITTEN = "/README.md"
"""A file that a draft may write over: what an adoption still needs is told anew for every version."""
_TEXTS = ("statement", "text", "reason")
_ABOUT = {
    "protocol": "a version that nobody released yet: a copy of another one, or a skeleton to be filled in",
    "objection": "a flaw in a method or in the analysis, under the next number",
    "response": "an answer to an objection",
    "outcome": "what was decided of an objection",
    "review": "both events that put a version in review, with its hash, and what its adoption still needs",
    "event": "a step in the life of a protocol's version, for maintainers: released with the file's hash, adopted with its pilot",
}


@dataclass(frozen=True)
class Placed:
    """A draft that was written, or would have been.

    Attributes
    ----------
    draft : path and text.
    findings : errors it would bring, and then nothing was written; else what is worth a look in it. A protocol's draft stays whatever
        is found, for it is there to be edited.
    kept : whether the file stands.
    """

    draft: Draft
    findings: tuple[Finding, ...]
    kept: bool

    @property
    def paths(self) -> tuple[str, ...]:
        """Every file that it is made of."""
        return (self.draft.path, *(path for path, _ in self.draft.beside))


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """The words that `edgehold draft` understands."""
    kinds = parser.add_subparsers(title="kinds", required=True, metavar="KIND", dest="draft")
    for kind, about in _ABOUT.items():
        one = kinds.add_parser(kind, help=about, description=f"{about[0].upper()}{about[1:]}.")
        one.add_argument("--root", default=argparse.SUPPRESS, metavar="DIR", help="the repository (default: the one you are in)")
        if kind == "protocol":
            one.add_argument("id", metavar="ID", help="the protocol's id")
            one.add_argument("--from", dest="source", metavar="ID@VERSION", help="the version to start from (default: a skeleton)")
            one.add_argument("--version", metavar="X.Y.Z", help="its number (default: the next MINOR, or 1.0.0)")
            one.add_argument("--questions", action="store_true", help="write nothing: print what the author of a method is asked")
            one.add_argument(
                "--answers", metavar="FILE", help="write the protocol, its events and what its adoption needs from answers to them"
            )
            one.add_argument(
                "--card", action="store_true", help="write nothing: print the version that is there in at most 1,000 characters"
            )
        elif kind != "objection":
            one.add_argument("protocol", metavar="PROTOCOL", help="the protocol's id, or analysis for an objection to it")
            what = ("version", str, "the version") if kind in ("event", "review") else ("number", int, "the objection's number")
            one.add_argument(what[0], type=what[1], metavar=what[0].upper(), help=what[2])
        for option in OPTIONS.get(kind, ()):
            action = "append" if option.many else "store"
            one.add_argument(f"--{option.name}", metavar=option.metavar, help=option.told, action=action)
        one.add_argument("--print", action="store_true", help="write to standard output and change no file")


def draft_of(root: Path, arguments: argparse.Namespace) -> Draft:
    """The draft that the words of the command ask for. Raises as the functions of `drafts` and `protocol_drafts`."""
    kind, given = arguments.draft, vars(arguments)
    given = given | {name: sys.stdin.read() for name in _TEXTS if given.get(name) == "-"}
    if kind == "protocol" and arguments.answers:
        return method_draft(root, arguments.id, read_answers(Path(arguments.answers)))
    if kind == "review":
        return review_draft(root, arguments.protocol, arguments.version, given)
    if kind == "protocol":
        return protocol_draft(root, arguments.id, arguments.source, arguments.version)
    if kind == "objection":
        return objection_draft(root, given)
    if kind == "event":
        return event_draft(root, arguments.protocol, arguments.version, given)
    return (response_draft if kind == "response" else outcome_draft)(root, arguments.protocol, arguments.number, given)


def put(root: Path, draft: Draft, kind: str) -> Placed:
    """Write a draft and check the repository with it; what does not fit is taken away again, but for a protocol's draft.

    Raises
    ------
    InputError
        Something is there already.
    RepositoryError
        As `load_repository`.
    """
    if kind in ("protocol", "review"):
        return _put_all(root, draft, keep=kind == "protocol")
    found = put_if_sound(root, draft.path, draft.text, chosen=None if kind in ("event", "review") else ())
    return Placed(draft, found, not any(f.severity == ERROR for f in found))


def told(placed: Placed) -> str:
    """What was found, for a terminal; places of a protocol's draft that are still empty are counted only."""
    errors = sum(f.severity == ERROR for f in placed.findings)
    if placed.kept and errors:
        return f"{errors} places are still to be filled in or put right: edgehold check {placed.draft.path}"
    return findings_text(placed.findings) if placed.findings else ""


def _put_all(root: Path, draft: Draft, *, keep: bool) -> Placed:
    """Write all files of a draft; what was found in them. They are taken away again where they bring an error, but with ``keep``."""
    files = [(draft.path, draft.text.encode()), *draft.beside]
    standing = [path for path, _ in files if not path.endswith(REWRITTEN) and ((root / path).exists() or (root / path).is_symlink())]
    if standing:
        raise InputError(f"{standing[0]} is there already, and is not written over")
    with_before = {path: read_file(root / path) for path, _ in files if (root / path).is_file()}
    write_files({root / path: data for path, data in files}, folders=True)
    own = {path for path, _ in files}
    found = tuple(f for f in load_repository(root, chosen=()).findings if f.file in own)
    kept = keep or not any(f.severity == ERROR for f in found)
    for path in () if kept else own:
        (root / path).unlink()
        if path in with_before:
            write_file(root / path, with_before[path])
    return Placed(draft, found, kept)
