"""What all tests share: examples drawn alike on every machine, no deadline on a busy one, one thread a worker."""

import gc
import os
from pathlib import Path

for name in ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS"):  # before numpy: several workers with threads of their own stand in line
    os.environ.setdefault(name, "1")

os.environ.setdefault("EDGEHOLD_TRACEBACK", "1")  # a fault of the program shows where it arose, as everywhere in the tests

import pytest  # noqa: E402
from hypothesis import settings  # noqa: E402

settings.register_profile("project", deadline=None, derandomize=True, database=None)
settings.load_profile("project")


LONGEST = "tests/notebooks/"


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """The longest tests first, so that nothing waits for them at the end."""
    items.sort(key=lambda item: not item.nodeid.startswith(LONGEST))


@pytest.hookimpl(trylast=True)
def pytest_collection_finish() -> None:
    """What stays to the end, modules and thousands of tests, is not searched for garbage again and again."""
    gc.collect()
    gc.freeze()


@pytest.fixture(scope="session")
def common(tmp_path_factory: pytest.TempPathFactory, worker_id: str) -> Path:
    """A folder that all processes of this test session share."""
    base = tmp_path_factory.getbasetemp()
    return (base if worker_id == "master" else base.parent) / "common"
