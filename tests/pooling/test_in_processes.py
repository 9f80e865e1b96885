"""Jobs by several processes: the same results as by one, from other processes, and none lost where a process dies."""

import os
import signal
from types import MappingProxyType

import pytest

from aggregator.pooling import in_processes
from aggregator.pooling.in_processes import each, processes


def squared(x):
    return MappingProxyType({"value": x * x, "by": os.getpid()})


def dies_elsewhere(x, home):
    if os.getpid() != home:
        os.kill(os.getpid(), signal.SIGKILL)
    return x


def fails(x):
    raise ValueError(f"no {x}")


@pytest.fixture
def two(monkeypatch):
    monkeypatch.setattr(in_processes.os, "cpu_count", lambda: 2)


def test_results_come_in_the_order_of_the_jobs_from_other_processes(two):
    with processes():
        found = each(squared, [(x,) for x in range(20)], list(range(20)), 1)
    assert [one["value"] for one in found] == [x * x for x in range(20)]
    assert os.getpid() not in {one["by"] for one in found}


@pytest.mark.parametrize(("jobs", "worth"), [([(3,)], 1), ([(3,), (4,)], 100)], ids=["one job", "too little work"])
def test_where_it_does_not_pay_this_process_does_the_work(two, jobs, worth):
    with processes():
        assert {one["by"] for one in each(squared, jobs, [1] * len(jobs), worth)} == {os.getpid()}


def test_outside_of_processes_this_one_does_the_work(two):
    assert {one["by"] for one in each(squared, [(1,), (2,)], [5, 5], 1)} == {os.getpid()}


def test_a_process_that_dies_costs_time_and_nothing_else(two):
    with processes():
        assert each(dies_elsewhere, [(x, os.getpid()) for x in range(4)], [1] * 4, 1) == [0, 1, 2, 3]


def test_a_mistake_in_a_job_is_seen(two):
    with processes(), pytest.raises(ValueError, match="no 1"):
        each(fails, [(1,), (2,)], [1, 1], 1)


def test_threads_are_limited_only_within(two, monkeypatch):
    for name in in_processes.THREADS:
        monkeypatch.delenv(name, raising=False)
    with processes():
        assert all(os.environ[name] == "1" for name in in_processes.THREADS)
    assert not any(name in os.environ for name in in_processes.THREADS)
