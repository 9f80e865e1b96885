"""The one room of words: patterns of everything that a stage gives as a reason, a method or a caveat, by code.

``catalogue/`` holds the patterns as plain JSON, a file for each group of codes; Python and the browser read the same files. A code is
``<file>.<name>``. Nothing outside this folder spells such a text, and no code decides by reading one.
"""

from .catalogue import Argument, filled_in, group, pattern_codes
from .nearest import nearest
from .reason import Reason, arguments_of, code_of

__all__ = ["Argument", "Reason", "arguments_of", "code_of", "filled_in", "group", "nearest", "pattern_codes"]
