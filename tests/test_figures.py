"""A figure that moves between two builds is named; what differs in no figure is not."""

import json

import pytest

from tests.figures import main, moved

BEFORE = {"provenance": {"commit": "a"}, "pools": [{"ratio": 1.2, "verdict": "better", "low": None}]}


@pytest.mark.parametrize(
    ("change", "places"),
    [
        ({"ratio": 1.2 + 1e-8}, []),
        ({"ratio": 1.20001}, ["/pools/0/ratio"]),
        ({"verdict": "undecided"}, ["/pools/0/verdict"]),
        ({"low": 0.9}, ["/pools/0/low"]),
    ],
)
def test_what_moved_is_named_by_its_place(change, places, tmp_path, capsys):
    after = {"provenance": {"commit": "b"}, "pools": [BEFORE["pools"][0] | change]}
    assert [place for place, _, _ in moved(BEFORE, after)] == places
    paths = [tmp_path / "before.json", tmp_path / "after.json"]
    for path, told in zip(paths, (BEFORE, after), strict=True):
        path.write_text(json.dumps(told), encoding="utf-8")
    assert main(*map(str, paths)) == (1 if places else 0)
    assert all(place in capsys.readouterr().out for place in places)


def test_a_pool_that_is_gone_is_named():
    assert [place for place, _, _ in moved(BEFORE, {"pools": []})] == ["/pools"]
