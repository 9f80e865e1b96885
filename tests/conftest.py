"""What all tests share: examples drawn alike on every machine, no deadline on a busy one, one thread a worker."""

import os
from pathlib import Path

for name in ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS"):  # before numpy: several workers with threads of their own stand in line
    os.environ.setdefault(name, "1")

os.environ.setdefault("EDGEHOLD_TRACEBACK", "1")  # a fault of the program shows where it arose, as everywhere in the tests

import pytest  # noqa: E402
from hypothesis import settings  # noqa: E402

settings.register_profile("project", deadline=None, derandomize=True, database=None)
settings.load_profile("project")


LONGEST = "test_the_r_notebook_computes_every_figure_again_headlines_among_them"


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """The longest test first, so that nothing waits for it at the end."""
    items.sort(key=lambda item: LONGEST not in item.nodeid)


@pytest.fixture(scope="session")
def common(tmp_path_factory: pytest.TempPathFactory, worker_id: str) -> Path:
    """A folder that all processes of this test session share."""
    base = tmp_path_factory.getbasetemp()
    return (base if worker_id == "master" else base.parent) / "common"
