"""White space that shows nothing, taken out of a finished page: the indentation of templates, and their empty lines.

A browser shows a run of white space as one space, or as nothing between blocks; a run that holds a line's end becomes that line's end.
Where white space counts it stays: in what is set as written (``pre``, ``textarea``), in scripts, whose hashes the policy names, in styles,
in comments, and in values of attributes.
"""

from __future__ import annotations

import re
from collections.abc import Callable

# Each begins with a character of its own, so that it is looked for at the speed of a plain search.
_AS_WRITTEN = re.compile(r"<(?:(?i:(pre|textarea|script|style)\b.*?</\1\s*>)|!--.*?-->)", re.DOTALL)
_VALUE = re.compile(r"""=(?:\s*"[^"\n]*\n[^"]*"|\s*'[^'\n]*\n[^']*')""")
_RUN = re.compile(r"\n[ \t\r\n\f]+")


def without_indentation(html: str) -> str:
    """The same page with one line's end where there were several, and nothing in front of a line."""
    return _outside(_AS_WRITTEN, html, lambda text: _outside(_VALUE, text, lambda plain: _RUN.sub("\n", plain)))


def _outside(kept: re.Pattern[str], text: str, change: Callable[[str], str]) -> str:
    """``text``, changed where it is not kept."""
    parts, at = [], 0
    for found in kept.finditer(text):
        parts += [change(text[at : found.start()]), found[0]]
        at = found.end()
    return "".join([*parts, change(text[at:])])
