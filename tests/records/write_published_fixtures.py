"""Write the fixtures of the published formats again: what the program makes of the other fixtures. Those of released ones stay."""

import shutil
import tempfile
from pathlib import Path

from edgehold.builds import pool
from edgehold.results.publish.schemas import released

from .test_fixtures import FIXTURES, PUBLISHED, ROOT, assembled


def write() -> None:
    with tempfile.TemporaryDirectory() as folder:
        root = assembled(Path(folder), "objection-1.0.0", "tombstone-1.0.0", "person-1.0.0")
        pool(root)
        for written in sorted(set(PUBLISHED) - {name.removesuffix(".json") for name in released(ROOT)}):
            name = written.partition("/")[0]
            target = FIXTURES / written.replace("/", "-") / f"{name}.json"
            target.parent.mkdir(parents=True, exist_ok=True)
            shutil.copyfile(root / f"build/results/{name}.json", target)


if __name__ == "__main__":
    write()
