"""The one room of words: patterns of what results, reports, plans, pages and forms say, by code.

``catalogue/`` holds the patterns as plain JSON, a file for each group of codes; Python and the browser read the same files. A code is
``<file>.<name>``. Nothing outside this folder spells such a text, and no code decides by reading one.
"""

from .catalogue import Argument, filled_in, group, pattern_codes
from .joining import capital, listed, small, together
from .nearest import nearest
from .reason import Reason, arguments_of, code_of

__all__ = [
    "Argument", "Reason", "arguments_of", "capital", "code_of", "filled_in", "group", "listed", "nearest", "pattern_codes", "small",
    "together",
]  # fmt: skip
