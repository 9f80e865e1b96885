"""Front matter as text: YAML that any editor shows as it is meant, and that reads back as exactly what was written.

What a reader could take for something else (a number, a date, "no", a text with colons or quotes) stands in double quotes; a text of
several lines stands as lines. ``site/pages/assets/form/yaml.js`` writes the same bytes.
"""

from __future__ import annotations

import re
from collections.abc import Mapping

import yaml

_PLAIN = re.compile(r"[A-Za-z](?:[A-Za-z0-9 _./-]*[A-Za-z0-9_./-])?")
_WORDS = frozenset({"y", "n", "yes", "no", "on", "off", "true", "false", "null"})
_LINES = re.compile(r"(?!\s)[\x20-\x7e\xa0-\u2027\u202a-\ud7ff\ue000-\ufefe\uff00-\ufffd\n]+(?<!\s)")
_SPACE_AT_THE_END = re.compile(r" $", re.MULTILINE)


class _Writer(yaml.SafeDumper):
    """Texts in the way that suits them; what stands twice is written twice."""

    def ignore_aliases(self, data: object) -> bool:
        return True


def _text(writer: _Writer, value: str) -> yaml.ScalarNode:
    return writer.represent_scalar("tag:yaml.org,2002:str", value, style=_style(value))


def _style(value: str) -> str | None:
    if _PLAIN.fullmatch(value) and value.lower() not in _WORDS:
        return None
    as_lines = "\n" in value and _LINES.fullmatch(value) and not _SPACE_AT_THE_END.search(value)
    return "|" if as_lines else '"'


_Writer.add_representer(str, _text)


def yaml_text(tree: Mapping[str, object]) -> str:
    """A tree of plain values as YAML, in the order given."""
    return yaml.dump(dict(tree), Dumper=_Writer, sort_keys=False, allow_unicode=True, width=float("inf"))


def markdown_text(front: Mapping[str, object], body: str) -> str:
    """A file with front matter and a body; space around the body is not kept."""
    return f"---\n{yaml_text(front)}---\n\n{body.strip()}\n"
