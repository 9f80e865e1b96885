"""Objections, responses, outcomes and events as files: the next number, the name, the front matter, the body."""

from __future__ import annotations

import datetime
import json
import re
import unicodedata
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from pydantic import BaseModel

from edgehold.errors import InputError
from edgehold.records.layout import ANALYSIS, Layout, walk
from edgehold.records.model.review import EVENT_FORMAT, OBJECTION_FORMAT, Event, Objection, Outcome, Response
from edgehold.records.read.form import read_record
from edgehold.records.read.opening import SURROGATE, read_bytes
from edgehold.records.read.session import sha256
from edgehold.records.report import harmless
from edgehold.words import Reason

from .options import option_at, refuse_missing
from .writing import markdown_text, yaml_text

MOST_THREADS, MOST_ENTRIES = 999, 99  # their numbers have three and two digits
LONGEST_NAME = 50

Given = Mapping[str, object]
"""What was said, by option; hyphens are underscores, None where nothing was said."""


@dataclass(frozen=True)
class Draft:
    """A file that does not stand yet: its path relative to the root, its text, and drawings that come with it."""

    path: str
    text: str
    beside: tuple[tuple[str, bytes], ...] = ()


def objection_draft(root: Path, given: Given) -> Draft:
    """An objection under the next number of its protocol, or of the analysis.

    Parameters
    ----------
    root : the repository's folder.
    given : against, step, endpoint, title, threat, severity, statement, change, evidence, interest, by, month, duplicate_of.

    Raises
    ------
    InputError
        Something needed is missing or out of form; there is no such protocol.
    """
    refuse_missing("objection", given)
    layout = walk(root)
    protocol, against = _against(layout, given)
    front = {
        "format": OBJECTION_FORMAT,
        "kind": "objection",
        "against": against,
        "title": given["title"],
        "threat": given["threat"],
        "severity": given["severity"],
        "proposed_change": given.get("change"),
        "evidence": _evidence(given),
        "interest": given.get("interest"),
        **_who(given),
        "duplicate_of": _whole(given.get("duplicate_of"), "--duplicate-of"),
    }
    number = 1 + max(_threads(layout, protocol), default=0)
    _refuse_beyond(number, MOST_THREADS, "objections")
    folder = f"protocols/{protocol}/objections/{number:03d}-{name_of(str(given['title']))}"
    return Draft(f"{folder}/00-objection.md", _file("objection", Objection, front, given["statement"]))


def response_draft(root: Path, protocol: str, number: int, given: Given) -> Draft:
    """The next entry of a thread, a response: kind, evidence, revised_in, text, interest, by, month. Raises as `objection_draft`."""
    refuse_missing("response", given)
    front = {
        "format": OBJECTION_FORMAT,
        "kind": "response",
        "response": given["kind"],
        "revised_in": given.get("revised_in"),
        "evidence": _evidence(given),
        "interest": given.get("interest"),
        **_who(given),
    }
    return Draft(f"{_next_entry(root, protocol, number)}-response.md", _file("response", Response, front, given["text"]))


def outcome_draft(root: Path, protocol: str, number: int, given: Given) -> Draft:
    """The next entry of a thread, an outcome: outcome, reason, by, month. Raises as `objection_draft`."""
    refuse_missing("outcome", given)
    front = {"format": OBJECTION_FORMAT, "kind": "outcome", "outcome": given["outcome"], **_who(given)}
    return Draft(f"{_next_entry(root, protocol, number)}-outcome.md", _file("outcome", Outcome, front, given["reason"]))


def event_draft(root: Path, protocol: str, version: str, given: Given) -> Draft:
    """The next event in a protocol's life: kind, by, month, pilot, evidence; a release comes with the file's hash.

    Raises
    ------
    InputError
        Something needed is missing or out of form; there is no such version.
    """
    refuse_missing("event", given)
    layout = walk(root)
    path = f"protocols/{protocol}/{version}.md"
    if path not in layout.protocols:
        raise InputError(f"there is no version {harmless(version)!r} of a protocol {harmless(protocol)!r}; {_known(layout)}")
    released = given["kind"] == "released"
    front = {
        "format": EVENT_FORMAT,
        "kind": given["kind"],
        "version": version,
        **_who(given),
        "sha256": sha256(read_bytes(root / path, "protocol")[0]) if released else None,
        "pilot": given.get("pilot"),
        "evidence": given.get("evidence"),
    }
    tree = _sound("event", Event, front)
    numbers = [int(place.split("/")[3][:3]) for place in layout.events if place.split("/")[1] == protocol]
    number = 1 + max(numbers, default=0)
    _refuse_beyond(number, MOST_THREADS, "events")
    name = f"{str(given['kind']).replace(' ', '-')}-{version.replace('.', '-')}"
    return Draft(f"protocols/{protocol}/events/{number:03d}-{name}.yaml", yaml_text(tree))


def name_of(title: str, otherwise: str = "objection") -> str:
    """A folder's name from a title: lower-case letters, digits and hyphens, whole words only; ``otherwise`` where none is left.

    >>> name_of("Rope gets harder, along the coil")
    'rope-gets-harder-along-the-coil'
    """
    plain = "".join(c for c in unicodedata.normalize("NFKD", title) if not unicodedata.combining(c)).lower()
    words = re.findall(r"[a-z0-9]+", plain)
    kept = words[:1]
    for word in words[1:]:
        if len("-".join([*kept, word])) > LONGEST_NAME:
            break
        kept.append(word)
    return "-".join(kept)[:LONGEST_NAME] or otherwise


def _against(layout: Layout, given: Given) -> tuple[str, dict[str, object]]:
    """The protocol's folder, and what the objection is against."""
    target = str(given["against"])
    named = {name: given[name] for name in ("step", "endpoint") if given.get(name)}
    if target == ANALYSIS:
        if named:
            raise InputError(f"--{min(named)} belongs to a protocol's version; the analysis has none")
        return ANALYSIS, {}
    protocol, _, version = target.partition("@")
    if not version or protocol not in {path.split("/")[1] for path in layout.protocols}:
        raise InputError(f"--against {harmless(target)!r} is no version of a protocol; {_known(layout)}, or write analysis")
    return protocol, {"protocol": protocol, "version": version, **named}


def _known(layout: Layout) -> str:
    known = [f"{path.split('/')[1]}@{path.split('/')[2].removesuffix('.md')}" for path in layout.protocols]
    return f"there are {', '.join(known)}" if known else Reason("drafts.none_yet")


def _threads(layout: Layout, protocol: str) -> dict[int, str]:
    """Folders of a protocol's objections by number."""
    folders = {path.rpartition("/")[0] for path in layout.entries if path.split("/")[1] == protocol}
    return {int(folder.split("/")[3][:3]): folder for folder in sorted(folders)}


def _next_entry(root: Path, protocol: str, number: int) -> str:
    """The path of a thread's next entry up to its number."""
    layout = walk(root)
    threads = _threads(layout, protocol)
    if number not in threads:
        known = f"there are {', '.join(map(str, sorted(threads)))}" if threads else Reason("drafts.none_yet")
        raise InputError(f"there is no objection {number} to {harmless(protocol)!r}; {known}")
    folder = threads[number]
    entries = [int(path.split("/")[4][:2]) for path in layout.entries if path.startswith(f"{folder}/")]
    _refuse_beyond(1 + max(entries), MOST_ENTRIES, "entries")
    return f"{folder}/{1 + max(entries):02d}"


def _refuse_beyond(number: int, most: int, what: str) -> None:
    if number > most:
        raise InputError(f"{number} {what} are more than the {most} that their numbers can count")


def _who(given: Given) -> dict[str, object]:
    return {"by": given["by"], "month": given.get("month") or f"{datetime.date.today():%Y-%m}"}


def _whole(text: object, option: str) -> int | None:
    if text is None:
        return None
    try:
        return int(str(text))
    except ValueError:
        raise InputError(f"{option} {harmless(str(text))!r} is no number; wanted the number of an objection") from None


def _evidence(given: Given) -> list[dict[str, str]]:
    found, texts = [], given.get("evidence")
    for text in texts if isinstance(texts, list | tuple) else ():
        kind, mark, what = str(text).partition(":")
        if kind not in ("probe", "submission", "citation") or not mark or not what.strip():
            raise InputError(f"--evidence {harmless(str(text))!r} is none; wanted probe:NAME, submission:ID or citation:TEXT")
        found.append({kind: what.strip()})
    return found


def _file(kind: str, model: type[BaseModel], front: dict[str, object], body: object) -> str:
    if SURROGATE.search(str(body)):
        raise InputError("the text holds bytes that are no text; wanted UTF-8")
    return markdown_text(_sound(kind, model, front), str(body))


def _sound(kind: str, model: type[BaseModel], front: dict[str, object]) -> dict[str, object]:
    """The front matter without what was left open; every error of its form is told at once."""
    tree = {name: value for name, value in front.items() if value is not None and value != []}
    if SURROGATE.search(json.dumps(tree, ensure_ascii=False)):
        raise InputError("a text holds bytes that are no text; wanted UTF-8")
    record, problems = read_record(model, tree)
    if record is None:
        lines = "\n".join(f"  {option_at(kind, p.pointer)}: {p.message}; {p.cure}" for p in problems)
        raise InputError(f"the draft is out of form:\n{lines}")
    return tree
