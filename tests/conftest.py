"""What all tests share: examples drawn alike on every machine, no deadline on a busy one, one thread a worker."""

import os

for name in ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS"):  # before numpy: several workers with threads of their own stand in line
    os.environ.setdefault(name, "1")

import pytest  # noqa: E402
from hypothesis import settings  # noqa: E402

settings.register_profile("project", deadline=None, derandomize=True, database=None)
settings.load_profile("project")


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Tests that share what is made once a module run in one worker, so that it is made once and not once a worker."""
    for item in items:
        made = getattr(item, "_fixtureinfo", None)
        scopes = {found.scope for several in made.name2fixturedefs.values() for found in several} if made else set()
        if "module" in scopes and item.get_closest_marker("xdist_group") is None:
            item.add_marker(pytest.mark.xdist_group(item.path.stem))
