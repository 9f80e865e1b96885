"""What all tests share: examples drawn alike on every machine, no deadline on a busy one, one thread a worker."""

import os

for name in ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS"):  # before numpy: several workers with threads of their own stand in line
    os.environ.setdefault(name, "1")

from hypothesis import settings  # noqa: E402

settings.register_profile("project", deadline=None, derandomize=True, database=None)
settings.load_profile("project")
