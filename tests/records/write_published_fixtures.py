"""Write the fixtures of the published formats again: what the program makes of the other fixtures."""

import shutil
import tempfile
from pathlib import Path

from aggregator.pipeline import pool

from .test_fixtures import FIXTURES, assembled


def write() -> None:
    with tempfile.TemporaryDirectory() as folder:
        root = assembled(Path(folder), "objection-1.0.0", "tombstone-1.0.0", "person-1.0.0")
        pool(root)
        for name in ("results", "repeatability"):
            target = FIXTURES / f"{name}-1.0.0" / f"{name}.json"
            target.parent.mkdir(parents=True, exist_ok=True)
            shutil.copyfile(root / f"build/results/{name}.json", target)


if __name__ == "__main__":
    write()
