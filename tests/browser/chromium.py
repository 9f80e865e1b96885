"""Where the browser is, and how it is started: a real Chromium that reaches nothing but this machine."""

from __future__ import annotations

import os
import shutil

NAMES = ("chromium", "chromium-browser")
SWITCHES = [
    "--no-sandbox",  # tests may run as root in a container
    "--disable-gpu",
    "--disable-background-networking",
    "--no-first-run",
    "--host-resolver-rules=MAP * ~NOTFOUND, EXCLUDE 127.0.0.1",
]


def chromium_path() -> str:
    """The executable named in ``EDGEHOLD_CHROMIUM``, or the first of the usual names on the path.

    Raises
    ------
    FileNotFoundError : with what to do about it. Browser tests fail without a browser; they are never skipped.
    """
    named = os.environ.get("EDGEHOLD_CHROMIUM", "")
    found = next(filter(None, map(shutil.which, [named] if named else NAMES)), None)
    if found is None:
        looked = f"EDGEHOLD_CHROMIUM names {named!r}, which is no program" if named else f"none of {', '.join(NAMES)} is on the path"
        raise FileNotFoundError(
            f"the browser tests need Chromium, and {looked}. "
            "Install it (tests/browser/install does on Debian), or name one in EDGEHOLD_CHROMIUM."
        )
    return found
