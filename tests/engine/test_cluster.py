"""Jobs by the workers of a real cluster: the same results, none lost where workers die, and no job for a worker that computes otherwise."""

import asyncio
import os
import shutil
import signal
import subprocess
import sys
import time

import pytest

pytest.importorskip("distributed", reason="the extra 'cluster' is not installed")

from distributed import Client

from edgehold.engine import cluster, tasks
from edgehold.engine.tasks import each, kept_in, on_cluster, side_by_side
from edgehold.errors import ClusterError
from edgehold.words import code_of
from tests.whole_path.test_incremental import repository

from .jobs import kills_once, notes_program
from .local_cluster import ROOT, TESTS, local_cluster, worker
from .test_tasks import dies_elsewhere, dies_once, failing, notes, squares, waits

SOURCE = ROOT / "aggregator" / "edgehold"


@pytest.fixture(scope="module", autouse=True)
def no_loop():
    """None of the event loops that browser tests before it keep running: the cluster has its own, and begins none within another."""
    running = asyncio._get_running_loop()
    asyncio._set_running_loop(None)
    yield
    asyncio._set_running_loop(running)


@pytest.fixture(scope="module")
def three(no_loop):
    with local_cluster(3) as local:
        yield local


@pytest.fixture
def told(three):
    """Within it the cluster does the work; what was said of it."""
    said = []
    with on_cluster(three.address, said.append):
        yield said


def test_results_come_in_the_order_of_the_jobs_and_are_those_of_one_process(told):
    with side_by_side(1) as begin:
        first, second = begin(squares, 20), begin(squares, 5)
        found = first(), second()
    for n, one in zip((20, 5), found, strict=True):
        assert [job["value"] for job in one] == [x * x for x in range(n)]
        assert os.getpid() not in {job["by"] for job in one}
    assert [code_of(one) for one in told] == ["cluster.workers"]


def test_outside_of_side_by_side_this_process_does_the_work(told):
    assert {job["by"] for job in squares(3)} == {os.getpid()}


def test_of_all_that_waits_the_largest_is_begun_first(told, tmp_path):
    """As many jobs are held as the cluster takes at once, until everything is on the list."""
    held_at_once = 3 * cluster.AHEAD
    with side_by_side(1) as begin:
        held = begin(each, waits, [(tmp_path / "go",)] * held_at_once, [1e9] * held_at_once)
        time.sleep(1)
        small, large = (begin(each, notes, [(tmp_path / "log", size) for size in sizes], sizes) for sizes in ([1, 20, 3], [10, 2, 30]))
        time.sleep(1)
        (tmp_path / "go").touch()
        held(), small(), large()
    begun = [int(line) for line in (tmp_path / "log").read_text().split()]
    assert sorted(begun) == [1, 2, 3, 10, 20, 30]
    assert begun.index(30) <= 3 and begun.index(1) >= 2, begun  # three at a time


def test_a_worker_killed_in_the_middle_loses_nothing(told, three, tmp_path):
    with Client(three.address, set_as_default=False) as client:
        pid = max(client.run(os.getpid).values())
    with side_by_side(1) as begin:
        found = begin(each, kills_once, [(x, tmp_path / "killed", pid) for x in range(40)], [1] * 40)()
    assert (tmp_path / "killed").exists()
    assert [x for x, _ in found] == list(range(40)) and os.getpid() not in {by for _, by in found}


def test_a_job_whose_worker_dies_under_it_goes_to_another(told, tmp_path):
    with side_by_side(1) as begin:
        found = begin(each, dies_once, [(x, tmp_path / f"died-{x == 2}") for x in range(6)], [1] * 6)()
    assert [one[0] for one in found] == list(range(6)) and os.getpid() not in {one[1] for one in found}


def test_a_job_that_kills_every_worker_is_done_by_this_process(told):
    with side_by_side(1) as begin:
        assert begin(each, dies_elsewhere, [(7, os.getpid())], [1])() == [7]


def test_a_mistake_in_a_job_is_seen_and_the_next_goes_on(told):
    with side_by_side(1) as begin, pytest.raises(ValueError, match=r"no [12]"):
        begin(failing)()
    with side_by_side(1) as begin:
        assert len(begin(squares, 4)()) == 4


def test_the_cache_is_asked_first_and_keeps_what_the_workers_did(told, tmp_path):
    for computed in (4, 0):
        with kept_in(tmp_path, print), side_by_side(1) as begin:
            found = begin(squares, 4)()
            assert tasks._caches[-1].computed == computed
        assert [one["value"] for one in found] == [0, 1, 4, 9] and os.getpid() not in {one["by"] for one in found}


def gone(three):
    """Wait until the cluster has its own three workers alone."""
    with Client(three.address, set_as_default=False) as client:
        while len(client.nthreads()) > 3:
            time.sleep(0.1)


def other_source(tmp_path):
    """The program with one more line in one of its modules."""
    shutil.copytree(SOURCE, tmp_path / "other" / "edgehold", ignore=shutil.ignore_patterns("__pycache__"))
    shutil.copytree(SOURCE.parent / "registers", tmp_path / "other" / "registers")
    with (tmp_path / "other" / "edgehold" / "numerics" / "half_t.py").open("a", encoding="utf-8") as module:
        module.write("\nMORE = 1\n")
    return {"PYTHONPATH": f"{tmp_path / 'other'}{os.pathsep}{TESTS}"}


def other_library(tmp_path):
    """A scipy that says it is of another version."""
    (tmp_path / "scipy-0.1.dist-info").mkdir()
    (tmp_path / "scipy-0.1.dist-info" / "METADATA").write_text("Metadata-Version: 2.1\nName: scipy\nVersion: 0.1\n", encoding="utf-8")
    return {"PYTHONPATH": f"{tmp_path}{os.pathsep}{SOURCE.parent}{os.pathsep}{TESTS}"}


def no_program(tmp_path):
    """Something under the program's name that is not the program."""
    (tmp_path / "edgehold").mkdir()
    (tmp_path / "edgehold" / "__init__.py").touch()
    return {"PYTHONPATH": f"{tmp_path}"}


def threads_of_linear_algebra(_):
    return {"OPENBLAS_NUM_THREADS": "2"}


OTHERS = {
    "source": (other_source, 1, r"source \w+ \(here \w+\)"),
    "library": (other_library, 1, r"scipy 0\.1 \(here 1\.\S+\)"),
    "setting": (threads_of_linear_algebra, 1, r"OPENBLAS_NUM_THREADS 2 \(here 1\)"),
    "threads": (lambda _: {}, 2, r"nthreads 2 \(here 1\)"),
    "no program": (no_program, 1, "no Edgehold that could say what it is"),
}


@pytest.mark.parametrize("what", OTHERS)
def test_a_worker_that_computes_with_something_else_is_refused_by_name_before_any_job_is_sent(three, tmp_path, what):
    other, threads, says = OTHERS[what]
    with worker(three.address, other(tmp_path), threads), Client(three.address, set_as_default=False) as client:
        client.wait_for_workers(4, timeout=60)
        with pytest.raises(ClusterError, match=rf"1 worker .* tcp://127\.0\.0\.1:\d+ has .*{says}"), on_cluster(three.address, print):
            raise AssertionError("begun all the same")
    gone(three)


def test_a_worker_that_joins_later_and_computes_with_something_else_unpacks_no_job(three, tmp_path):
    log = tmp_path / "log"
    log.touch()
    with on_cluster(three.address, print), worker(three.address, other_source(tmp_path)):
        with Client(three.address, set_as_default=False) as client:
            client.wait_for_workers(4, timeout=60)
        with pytest.raises(ClusterError, match="source"), side_by_side(1) as begin:
            begin(each, notes_program, [(log,)] * 60, [1] * 60)()
    gone(three)
    assert set(log.read_text().splitlines()) <= {str(SOURCE)}


@pytest.mark.parametrize("address", ["tcp://127.0.0.1:1", "127.0.0.1:1", "tls://127.0.0.1:1", "nobody", "carrier://pigeon:1", ""])
def test_where_nobody_answers_it_says_so(monkeypatch, address):
    monkeypatch.setattr(cluster, "LONGEST_CONNECTING", 0.5)
    with pytest.raises(ClusterError, match=f"no cluster answers at {address} "), on_cluster(address, print):
        pass


def test_a_cluster_that_goes_away_ends_the_work_with_a_sentence(monkeypatch, tmp_path):
    monkeypatch.setattr(cluster, "LONGEST_CONNECTING", 5)
    with (
        local_cluster(1) as local,
        on_cluster(local.address, print),
        pytest.raises(ClusterError, match="has gone"),
        side_by_side(1) as begin,
    ):
        never = begin(each, waits, [(tmp_path / "never",)], [1])
        os.kill(local.scheduler, signal.SIGKILL)
        never()


def test_a_pool_is_the_same_to_the_byte_with_a_worker_killed_in_the_middle(three, tmp_path):
    one, other = (repository(tmp_path / name) for name in ("one", "other"))
    environment = os.environ | {"PYTHONPATH": str(ROOT)}
    program = [sys.executable, "-m", "edgehold", "pool", "--root"]
    subprocess.run([*program, one], env=environment, check=True, capture_output=True)
    with Client(three.address, set_as_default=False) as client:
        building = subprocess.Popen([*program, other, "--cluster", three.address], env=environment, stderr=subprocess.PIPE, text=True)
        while not (busy := [address for address, jobs in client.processing().items() if jobs]):
            assert building.poll() is None, building.stderr.read()
        (pid,) = client.run(os.getpid, workers=busy[:1]).values()
        os.kill(pid, signal.SIGKILL)
        assert building.wait() == 0, building.stderr.read()
        building.stderr.close()
    first, second = ({path.name: path.read_bytes() for path in (root / "build" / "results").iterdir()} for root in (one, other))
    assert first == second
