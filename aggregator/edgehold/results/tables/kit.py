"""What an analyst takes home: all tables, their description and the two notebooks that compute the results again, in one file."""

from __future__ import annotations

import io
import zipfile
from collections.abc import Mapping
from importlib.resources import files as package_files

NOTEBOOKS = ("answers.Rmd", "answers.ipynb")
KIT = "edgehold-data.zip"
NO_DATE = (1980, 1, 1, 0, 0, 0)  # the earliest that a zip can hold: the same files give the same bytes


def notebooks() -> dict[str, bytes]:
    """The notebooks by file name."""
    folder = package_files("edgehold.results") / "notebooks"
    return {name: (folder / name).read_bytes() for name in NOTEBOOKS}


def kit(files: Mapping[str, bytes]) -> bytes:
    """A zip of files by name; the same files give the same bytes."""
    made = io.BytesIO()
    with zipfile.ZipFile(made, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, content in sorted(files.items()):
            one = zipfile.ZipInfo(f"edgehold-data/{name}", NO_DATE)
            one.compress_type, one.external_attr = zipfile.ZIP_DEFLATED, 0o644 << 16
            archive.writestr(one, content)
    return made.getvalue()
