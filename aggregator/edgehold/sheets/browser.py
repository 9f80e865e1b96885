"""What a reader of sheets in another language needs, as JSON values: the form opens a filled-in CSV with it."""

from __future__ import annotations

from edgehold.records.model.protocol import Protocol

from .cell_values import DECIMAL, LIMIT, LIMIT_SIGNS, PLAIN_NUMBER
from .cells import LONGEST_CELL, MOST_BYTES, MOST_COLUMNS, MOST_ROWS
from .interpret import DIGIT, LABEL, REPEAT, RUN, VERSION
from .lines import sheet_rules


def browser_rules(protocol: Protocol) -> dict[str, object]:
    """The lines of the protocol's sheet, patterns (Python's; the whole text must match) and limits."""
    patterns = {"plain": PLAIN_NUMBER, "decimal": DECIMAL, "limit": LIMIT, "label": LABEL, "run": RUN, "repeat": REPEAT, "version": VERSION}
    return {
        **sheet_rules(protocol),
        "patterns": {name: pattern.pattern for name, pattern in patterns.items()},
        "digit": DIGIT.pattern,
        "limit_signs": LIMIT_SIGNS,
        "limits": {"bytes": MOST_BYTES, "rows": MOST_ROWS, "columns": MOST_COLUMNS, "cell": LONGEST_CELL},
    }
