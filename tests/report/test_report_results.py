"""What a report reads of the last build: the one pool that its submission is in, however the file is laid out."""

import json
from pathlib import Path

import pytest

from edgehold.records.canonical import PoolKey
from edgehold.report.among import BUILT, read_results
from edgehold.results.model.results import Results
from edgehold.results.publish.written import written
from edgehold.words import code_of

RESULTS = Results.model_validate_json((Path(__file__).parents[1] / "records" / "fixtures" / "results-2.5.0" / "results.json").read_bytes())
(POOL,) = RESULTS.pools
OTHER = POOL.model_copy(update={"major": POOL.major + 1})
KEY = PoolKey(POOL.protocol, POOL.major, POOL.origin)
LINES = written(RESULTS.model_copy(update={"pools": (OTHER, POOL)})).whole()


def read(root: Path, data: bytes, pool: PoolKey = KEY) -> tuple[Results | None, str]:
    (root / BUILT).parent.mkdir(parents=True, exist_ok=True)
    (root / BUILT).write_bytes(data)
    return read_results(root, pool)


def test_a_pool_is_found_among_others_and_nothing_else_is_read(tmp_path):
    found, why = read(tmp_path, LINES)
    assert (found.pools, why) == ((POOL,), "") and RESULTS.submissions and not found.submissions


def test_a_file_in_another_layout_says_the_same_of_the_pool(tmp_path):
    found, why = read(tmp_path, json.dumps(json.loads(LINES), indent=2).encode())
    assert POOL in found.pools and why == ""


def test_of_a_pool_that_is_not_there_nothing_is_found(tmp_path):
    found, why = read(tmp_path, LINES, PoolKey(POOL.protocol, POOL.major + 9, POOL.origin))
    assert (found.pools, why) == ((), "")


@pytest.mark.parametrize(
    "data",
    [b"", b"{}", LINES[: len(LINES) // 3], LINES.replace(b'"format":"results/', b'"format":"other/', 1), b'{\n"pools":[\nnot json\n],\n}'],
    ids=["empty", "nothing in it", "cut off", "another format", "damaged"],
)
def test_a_file_of_another_form_gives_a_reason(tmp_path, data):
    found, why = read(tmp_path, data)
    assert found is None and code_of(why) == "report.other_results"


def test_without_a_build_there_is_a_reason(tmp_path):
    found, why = read_results(tmp_path, KEY)
    assert found is None and code_of(why) == "report.no_results"
