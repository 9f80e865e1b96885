"""Beside the path: a plan out as paper, CSV or XLSX, and a filled-in sheet back in as a submission.

Out::

    lines       every line that a sheet asks for, as data; the form's script gets the same
    rows        a plan -> rows of cells
    printed     a plan -> a print page
    files       rows -> CSV and XLSX files
    ready       the commonest case, drawn for every protocol version

In::

    csv_table, workbook     bytes -> rows of texts, limits before parsing
    interpret               rows -> a submission as plain values, what must be asked, and a tally of all rows
    intake                  a file -> a submission that the check accepts, or questions with sheet and cell

What a cell says is kept as written. Nothing is guessed: what has two meanings is asked.
"""

from .files import write_sheets
from .intake import Intake, read_sheet

__all__ = ["Intake", "read_sheet", "write_sheets"]
