"""A grid gives the same lines by one process, by several and by the workers of a cluster."""

import json
import os
import subprocess
import sys
from functools import partial
from pathlib import Path

import pytest
from grid import spread_over
from monte_carlo import lower_bound

from tests.engine.local_cluster import ROOT, local_cluster

FOLDER = Path(__file__).parent


def test_rows_come_in_their_order_whatever_does_them_and_in_jobs_of_any_size():
    wanted = [lower_bound(n / 50, 50) for n in range(30)]
    for processes, size in ((1, 1), (1, 7), (2, 7)):
        with spread_over(processes) as workers:
            assert workers.map(lower_bound, [n / 50 for n in range(30)], [50] * 30, chunksize=size) == wanted
    with spread_over(1) as workers:
        assert workers.map(partial(lower_bound, 0.5), [10, 20]) == [lower_bound(0.5, 10), lower_bound(0.5, 20)]
        assert workers.map(lower_bound, [], []) == []


def test_a_script_draws_the_same_lines_on_a_cluster(tmp_path):
    pytest.importorskip("distributed", reason="the extra 'cluster' is not installed")
    words = [sys.executable, FOLDER / "headline_coverage.py", "--seeds", "1", "--rows", "own blades", "round 2"]
    path = os.pathsep.join([str(ROOT), str(FOLDER)])
    with local_cluster(2, also=path) as local:
        for folder, more in (("here", []), ("cluster", ["--cluster", local.address])):
            subprocess.run(
                [*words, "--out", tmp_path / folder, *more], env=os.environ | {"PYTHONPATH": path}, check=True, capture_output=True
            )
    here, there = (drawn(tmp_path / folder) for folder in ("here", "cluster"))
    assert here == there and len(here) == 2


def drawn(folder):
    """Lines of every row of a grid, without the time that they took."""
    lines = {path.name: [json.loads(line) for line in path.read_text().splitlines()] for path in folder.iterdir()}
    return {name: [{key: value for key, value in line.items() if key != "seconds"} for line in found] for name, found in lines.items()}
