"""Many files as one, the same bytes for the same files."""

from __future__ import annotations

import io
import zipfile
from collections.abc import Mapping

NO_TIME = (1980, 1, 1, 0, 0, 0)  # the earliest that the format can write: no clock is asked
ORDINARY = 0o100644 << 16
UNIX = 3


def zipped(files: Mapping[str, bytes]) -> bytes:
    """A ZIP archive of files by path, sorted, without times and owners."""
    made = io.BytesIO()
    with zipfile.ZipFile(made, "w") as archive:
        for path in sorted(files):
            entry = zipfile.ZipInfo(path, NO_TIME)
            entry.compress_type, entry.external_attr, entry.create_system = zipfile.ZIP_DEFLATED, ORDINARY, UNIX
            archive.writestr(entry, files[path])
    return made.getvalue()
