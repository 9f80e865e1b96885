"""The text of a method from the answers of its author: standard steps, what is particular to the method, and lines that ask for tables."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from edgehold.records.rules.settings_tables import TABLES, marker
from edgehold.words import Reason

from .answer_lines import figures_of, lines_of
from .method_settings import Told, stopping, with_steps

OWN_STEPS = ("medium", "instrument")
"""Kinds of threat whose step has a heading of its own; the others are named in it."""
BLOCKS: tuple[tuple[str, str, str], ...] = (
    ("question", "", ""),
    ("what", "", ""),
    ("standard", "", ""),
    ("levels", "levels", ""),
    ("safe", "", ""),
    ("cautions", "", ""),
    ("caution", "", "cautions"),
    ("needs", "", ""),
    ("set_up", "", ""),
    ("line", "", "set_up"),
    ("practice", "", ""),
    ("flatten", "", ""),
    ("sharpen_{compared}", "", ""),
    ("code", "", ""),
    ("cut", "", ""),
    ("stop", "", ""),
    ("write", "", ""),
    ("clean", "", ""),
    ("against", "guards", ""),
    ("against_{about}", "", "guards"),
    ("alone", "", ""),
    ("computed", "", ""),
    ("misled", "", ""),
)
"""The text in order: each block's pattern, the list that it needs to be there, and the list of which every entry fills it in."""


Entries = list[dict[str, str]]


def text_of(given: Told) -> str:
    """The text, block by block."""
    said = given.said
    lists: dict[str, Entries] = {
        "set_up": [{"line": line} for _, line in lines_of(said["set_up"])],
        "cautions": [{"line": line} for _, line in lines_of(said["cautions"])],
        "levels": [{} for _ in given.levels],
        "guards": list(_guards(given)),
    }
    values = dict(said) | {f"{name}_table": marker(name) for name in TABLES} | {"stopping": stopping(said)}
    values |= {name: _sentence(said[name]) for name in ("question", "medium", "reading", "stroke", "order", "blinding", "alone")}
    values["checkpoints"] = f"{', '.join(f'{point}' for point in (figures_of(said['checkpoints']) or [])[1:])} {said['counted']}"
    return "\n\n".join(_blocks(lists, values))


def _guards(given: Told) -> Iterator[dict[str, str]]:
    for guard, step in with_steps(given.guards):
        if step:
            about = guard.kind if guard.kind in OWN_STEPS else "other"
            yield {"step": step, "kind": guard.kind, "met": guard.met, "about": about}


def _blocks(lists: Mapping[str, Entries], values: Mapping[str, str]) -> Iterator[str]:
    for name, needs, each in BLOCKS:
        if each:
            entries = [str(Reason(f"method_draft.body_{name.format(**entry)}", **entry)) for entry in lists[each]]
            if entries:
                yield ("\n\n" if each == "guards" else "\n").join(entries)
        elif not needs or lists[needs]:
            yield str(Reason(f"method_draft.body_{name.format(**values)}", **values))


def _sentence(text: str) -> str:
    """A text that ends as a sentence does."""
    return text if text.endswith((".", "!", "?")) else f"{text}."
