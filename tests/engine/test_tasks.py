"""Jobs by several processes: the same results as by one, from other processes, and none lost where a process dies or none starts."""

import os
import signal
import threading
import time
from types import MappingProxyType

import pytest

from edgehold.engine import processes, tasks
from edgehold.engine.tasks import WORTH, each, side_by_side


def squared(x):
    return MappingProxyType({"value": x * x, "by": os.getpid(), "thread": threading.current_thread() is threading.main_thread()})


def squares(n):
    """A stage: its jobs go by ``each``."""
    return each(squared, [(x,) for x in range(n)], list(range(n)))


def dies_elsewhere(x, home):
    if os.getpid() != home:
        os.kill(os.getpid(), signal.SIGKILL)
    return x


def waits(go):
    while not go.exists():
        time.sleep(0.01)


def begins(begun, go):
    with begun.open("a") as stream:
        stream.write("x")
    waits(go)


def notes(log, size):
    with log.open("a") as stream:
        stream.write(f"{size}\n")


def dies_once(x, mark):
    if x == 2 and not mark.exists():
        mark.touch()
        os.kill(os.getpid(), signal.SIGKILL)
    return x, os.getpid()


def survivors(n, home):
    return each(dies_elsewhere, [(x, home) for x in range(n)], [1] * n)


def fails(x):
    raise ValueError(f"no {x}")


def failing():
    return each(fails, [(1,), (2,)], [1, 1])


@pytest.fixture
def two(monkeypatch):
    monkeypatch.setattr(tasks.os, "cpu_count", lambda: 2)


def test_results_come_in_the_order_of_the_jobs_from_other_processes(two):
    with side_by_side(WORTH) as begin:
        first, second = begin(squares, 20), begin(squares, 5)
        found = first(), second()
    for n, one in zip((20, 5), found, strict=True):
        assert [job["value"] for job in one] == [x * x for x in range(n)]
        assert os.getpid() not in {job["by"] for job in one}


@pytest.mark.parametrize(("processors", "work"), [(2, WORTH - 1), (1, 10 * WORTH)], ids=["too little work", "one processor"])
def test_where_it_does_not_pay_this_thread_of_this_process_does_the_work_when_asked(monkeypatch, processors, work):
    """What libraries keep for one thread, such as which warnings are to be hidden, is then nobody else's."""
    monkeypatch.setattr(tasks.os, "cpu_count", lambda: processors)
    with side_by_side(work) as begin:
        found = begin(squares, 4)()
    assert {(job["by"], job["thread"]) for job in found} == {(os.getpid(), True)}


def test_what_hangs_on_this_machine_is_done_by_no_cluster(two, monkeypatch):
    def cluster():
        raise AssertionError("handed to the cluster")

    monkeypatch.setattr(tasks, "_clusters", [cluster])
    with side_by_side(WORTH, here=True) as begin:
        assert os.getpid() not in {job["by"] for job in begin(squares, 4)()}
    with pytest.raises(AssertionError), side_by_side(WORTH):
        pass


def test_a_call_within_another_takes_its_processes_and_leaves_them_to_it(two):
    with side_by_side(WORTH) as begin:
        by = [job["by"] for job in begin(squares, 20)()]
        with side_by_side(WORTH) as begin_within:
            by += [job["by"] for job in begin_within(squares, 20)()]
        by += [job["by"] for job in begin(squares, 20)()]
    assert len({*by}) <= 2 and os.getpid() not in by


def test_a_mistake_within_leaves_nothing_to_be_done(two, tmp_path):
    with pytest.raises(KeyError), side_by_side(WORTH), side_by_side(WORTH) as begin:
        begin(each, begins, [(tmp_path / "begun", tmp_path / "go")] * 2, [2.0] * 2)
        while not (tmp_path / "begun").exists() or len((tmp_path / "begun").read_text()) < 2:
            time.sleep(0.01)
        begin(each, notes, [(tmp_path / "log", size) for size in (1, 1)], [1.0] * 2)
        threading.Timer(1.0, (tmp_path / "go").touch).start()
        raise KeyError
    assert not (tmp_path / "log").exists()


def test_outside_of_it_this_process_does_the_work(two):
    assert {job["by"] for job in squares(3)} == {os.getpid()}


def test_where_no_process_starts_in_time_this_one_does_the_work(two, monkeypatch):
    monkeypatch.setattr(processes, "LONGEST_START", 0.0)
    with side_by_side(WORTH) as begin:
        assert {job["by"] for job in begin(squares, 4)()} == {os.getpid()}


def test_of_all_that_waits_the_largest_is_begun_first_whichever_stage_it_is_of(two, tmp_path):
    """Both processes are held until everything is on the list."""
    with side_by_side(WORTH) as begin:
        held = begin(each, waits, [(tmp_path / "go",)] * 2, [1e9] * 2)
        small, large = (begin(each, notes, [(tmp_path / "log", size) for size in sizes], sizes) for sizes in ([1, 20, 3], [10, 2, 30]))
        time.sleep(1)
        (tmp_path / "go").touch()
        held(), small(), large()
    begun = [int(line) for line in (tmp_path / "log").read_text().split()]
    assert sorted(begun) == [1, 2, 3, 10, 20, 30]
    assert all(begun.index(size) <= place + 1 for place, size in enumerate([30, 20, 10, 3, 2, 1])), begun  # two at a time


def test_a_process_that_is_killed_once_is_started_again_and_what_was_left_is_done_by_processes(two, tmp_path):
    with side_by_side(WORTH) as begin:
        found = begin(each, dies_once, [(x, tmp_path / f"died-{x == 2}") for x in range(6)], [1] * 6)()
    assert [one[0] for one in found] == list(range(6)) and os.getpid() not in {one[1] for one in found}


def test_a_process_that_dies_costs_time_and_nothing_else(two):
    with side_by_side(WORTH) as begin:
        assert begin(survivors, 4, os.getpid())() == [0, 1, 2, 3]


def test_a_mistake_in_a_job_is_seen(two):
    with side_by_side(WORTH) as begin, pytest.raises(ValueError, match=r"no [12]"):
        begin(failing)()


def test_threads_are_limited_only_within(two, monkeypatch):
    for name in tasks.THREADS:
        monkeypatch.delenv(name, raising=False)
    with side_by_side(WORTH):
        assert all(os.environ[name] == "1" for name in tasks.THREADS)
    assert not any(name in os.environ for name in tasks.THREADS)
