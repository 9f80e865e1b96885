"""What a reader of sheets in another language needs, as JSON values: the form opens a filled-in CSV with it."""

from __future__ import annotations

from edgehold.records.model.protocol import Protocol
from edgehold.words import group

from .cell_values import DECIMAL, LIMIT, LIMIT_SIGNS, PLAIN_NUMBER
from .cells import LONGEST_CELL, MOST_BYTES, MOST_COLUMNS, MOST_ROWS
from .csv_table import ENCODINGS, FIRST_CELL, LOOKED_AT, SEPARATOR_LINE, SEPARATORS
from .interpret import DIGIT, LABEL, REPEAT, RUN, VERSION
from .lines import BEGINS, LISTED, NAME_COLUMNS, sheet_rules


def browser_rules(protocol: Protocol) -> dict[str, object]:
    """The lines of the protocol's sheet, tables, limits, patterns (Python's) and the texts that a reader says."""
    patterns = {"plain": PLAIN_NUMBER, "decimal": DECIMAL, "limit": LIMIT, "label": LABEL, "run": RUN, "repeat": REPEAT, "version": VERSION}
    patterns |= {"digit": DIGIT, "separator_line": SEPARATOR_LINE, "first_cell": FIRST_CELL}
    return {
        **sheet_rules(protocol),
        "names": NAME_COLUMNS,
        "listed": LISTED,
        "begins": BEGINS,
        "patterns": {name: pattern.pattern for name, pattern in patterns.items()},
        "limit_signs": LIMIT_SIGNS,
        "separators": SEPARATORS,
        "encodings": ENCODINGS,
        "limits": {"bytes": MOST_BYTES, "rows": MOST_ROWS, "columns": MOST_COLUMNS, "cell": LONGEST_CELL, "looked_at": LOOKED_AT},
        "says": group("sheets"),
    }
