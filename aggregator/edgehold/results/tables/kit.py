"""What an analyst takes home: all tables, their description and the two notebooks that compute the results again, in one file.

The tables are there as CSV, which the notebooks read. Parquet, packed already, lies beside the zip and would make it half as large again.
"""

from __future__ import annotations

from collections.abc import Mapping
from importlib.resources import files as package_files

from edgehold.archive.zipped import zipped

NOTEBOOKS = ("answers.Rmd", "answers.ipynb")
KIT = "edgehold-data.zip"


def notebooks() -> dict[str, bytes]:
    """The notebooks by file name."""
    folder = package_files("edgehold.results") / "notebooks"
    return {name: (folder / name).read_bytes() for name in NOTEBOOKS}


def kit(files: Mapping[str, bytes]) -> bytes:
    """A zip of files by name; the same files give the same bytes."""
    return zipped({f"edgehold-data/{name}": content for name, content in files.items()})
