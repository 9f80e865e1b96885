"""What puts a version in review: two events, the first with the hash of its bytes, and a list of what its adoption still needs."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from edgehold.records.model.review import EVENT_FORMAT
from edgehold.records.read.session import sha256
from edgehold.words import Reason

from .answer_lines import Tree, spaced
from .writing import yaml_text


@dataclass(frozen=True)
class Review:
    """Who puts a version in review, when, and what that rests on."""

    by: str
    month: str
    evidence: str = ""


def review_files(name: str, version: str, data: bytes, tree: Tree, review: Review, first: int) -> Iterator[tuple[str, bytes]]:
    """Both events that put a version in review, the first with the hash of its bytes, and what its adoption still needs."""
    who: Tree = {"version": version, "by": review.by, "month": review.month}
    released: Tree = {"format": EVENT_FORMAT, "kind": "released", **who, "sha256": sha256(data)}
    opened: Tree = {"format": EVENT_FORMAT, "kind": "opened for review", **who}
    opened |= {"evidence": review.evidence} if review.evidence else {}
    for number, event in enumerate((released, opened), first):
        called = f"{str(event['kind']).replace(' ', '-')}-{version.replace('.', '-')}"
        yield f"protocols/{name}/events/{number:03d}-{called}.yaml", yaml_text(event).encode()
    yield f"protocols/{name}/README.md", adoption_text(name, version, tree, review.by).encode()


def adoption_text(name: str, version: str, tree: Tree, by: str) -> str:
    """What an adoption still needs, as a list to be ticked off."""
    named = {"id": name, "version": version, "by": by}
    lines = [Reason("method_draft.adoption_pilot")]
    lines += (
        [Reason("method_draft.adoption_drawing", line=_entry(need, "item")) for need in _built(tree)] if not tree.get("figures") else []
    )
    lines += [Reason("method_draft.adoption_open", line=f"{_entry(t, 'threat')}: {_entry(t, 'text')}") for t in _left_open(tree)]
    lines += [Reason("method_draft.adoption_objections"), Reason("method_draft.adoption_spread")]
    lines += [Reason("method_draft.adoption_other", **named), Reason("method_draft.adoption_command", **named)]
    return "\n\n".join([Reason("method_draft.adoption_head", **named), Reason("method_draft.adoption_told"), "\n".join(lines)]) + "\n"


def _entries(tree: Tree, name: str) -> list[Mapping[str, object]]:
    found = tree.get(name)
    return [entry for entry in found if isinstance(entry, dict)] if isinstance(found, list) else []


def _entry(entry: Mapping[str, object], name: str) -> str:
    return spaced(str(entry.get(name, "")))


def _built(tree: Tree) -> list[Mapping[str, object]]:
    return [need for need in _entries(tree, "needs") if need.get("where") == "made"]


def _left_open(tree: Tree) -> list[Mapping[str, object]]:
    return [threat for threat in _entries(tree, "threats") if not threat.get("steps")]
