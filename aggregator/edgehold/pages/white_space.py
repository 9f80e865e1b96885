"""White space that shows nothing, taken out of a finished page: the indentation of templates, and their empty lines.

A browser shows a run of white space as one space, or as nothing between blocks; a run that holds a line's end becomes that line's end.
Where white space counts it stays: in what is set as written (``pre``, ``textarea``), in scripts, whose hashes the policy names, in styles,
in comments, and in values of attributes.
"""

from __future__ import annotations

import re

_RUN = re.compile(
    r"""(<(pre|textarea|script|style)\b.*?</\2\s*>|<!--.*?-->|=\s*"[^"\n]*\n[^"]*"|=\s*'[^'\n]*\n[^']*')|\n[ \t\r\n\f]+""",
    re.DOTALL | re.IGNORECASE,
)


def without_indentation(html: str) -> str:
    """The same page with one line's end where there were several, and nothing in front of a line."""
    return _RUN.sub(_shorter, html)


def _shorter(found: re.Match[str]) -> str:
    return found[1] or "\n"
