"""A demonstration written into a repository of its own and read back through every check, as any other would be."""

from __future__ import annotations

from pathlib import Path
from tempfile import TemporaryDirectory

from edgehold.demo import Demonstration
from edgehold.records import load_repository
from edgehold.records.canonical import Repository
from tests.published import copy_protocols


def read_back(demonstration: Demonstration) -> Repository:
    """The demonstration with the published protocols beside it; an error in any file is a fault of the generator."""
    with TemporaryDirectory() as folder:
        root = Path(folder)
        copy_protocols(root)
        for name, data in demonstration.files.items():
            path = root / "submissions" / "simulated" / name
            path.parent.mkdir(parents=True, exist_ok=True)
            path.write_bytes(data)
        repository = load_repository(root)
    assert not repository.errors, repository.errors
    return repository
