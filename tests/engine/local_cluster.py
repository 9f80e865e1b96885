"""A cluster of processes on this machine, in a process of its own: a scheduler and workers as Dask starts them.

Run as ``python -m tests.engine.local_cluster WORKERS``: it tells its address in one line, and ends when its standard input does.
"""

import os
import subprocess
import sys
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).parents[2]
TESTS = f"{ROOT}{os.pathsep}{ROOT / 'tests'}"
"""Where workers find the jobs of the tests."""
SETTINGS = {
    "DASK_DISTRIBUTED__SCHEDULER__ALLOWED_FAILURES": "1",
    "DASK_DISTRIBUTED__COMM__TIMEOUTS__CONNECT": "2s",  # so long a result is asked for where its worker has died
    "DASK_LOGGING__DISTRIBUTED": "critical",
    "PYTHONPATH": f"{ROOT / 'aggregator'}{os.pathsep}{TESTS}",
}


@dataclass(frozen=True)
class Local:
    """A cluster as it was started: the scheduler's address and process."""

    address: str
    scheduler: int


@contextmanager
def local_cluster(workers: int, also: str = "") -> Iterator[Local]:
    """A cluster with workers of one thread each, by this program's own source; ``also``: where else they find modules."""
    path = os.pathsep.join(filter(None, [SETTINGS["PYTHONPATH"], also]))
    words = [sys.executable, "-m", "tests.engine.local_cluster", str(workers)]
    started = subprocess.Popen(
        words,
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL,
        cwd=ROOT,
        env=os.environ | SETTINGS | {"PYTHONPATH": path},
        text=True,
    )
    with started as process:
        try:
            yield Local(process.stdout.readline().strip(), process.pid)
        finally:
            process.stdin.close()
            try:
                process.wait(30)
            except subprocess.TimeoutExpired:
                process.kill()


@contextmanager
def worker(address: str, environment: Mapping[str, str], threads: int = 1) -> Iterator[None]:
    """One more worker, with an environment of its own."""
    words = [sys.executable, "-m", "distributed.cli.dask_worker", address, "--no-nanny", "--no-dashboard", f"--nthreads={threads}"]
    limits = dict.fromkeys(("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS"), "1")  # as a nanny would set them
    process = subprocess.Popen(
        words, env=os.environ | limits | SETTINGS | environment, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL
    )
    try:
        yield
    finally:
        process.kill()
        process.wait()


def main() -> None:
    from distributed import LocalCluster

    with LocalCluster(n_workers=int(sys.argv[1]), threads_per_worker=1, processes=True, dashboard_address=None) as cluster:
        print(cluster.scheduler_address, flush=True)
        sys.stdin.read()


if __name__ == "__main__":
    main()
