"""Every endpoint of every protocol can be computed from the demonstration, with a natural share of censored runs."""

from __future__ import annotations

from collections import Counter

import pytest
from read_back import read_back

from edgehold.demo import generate
from edgehold.endpoints import endpoint_rows


@pytest.fixture(scope="module")
def rows():
    return endpoint_rows(read_back(generate()))


def test_every_endpoint_is_computed_from_most_of_its_runs(rows):
    runs = Counter((r.pool, r.endpoint) for r in rows)
    missing = Counter((r.pool, r.endpoint) for r in rows if r.status == "missing")
    assert {(p.protocol, p.major, endpoint) for p, endpoint in runs} == {
        *(("two-sharpeners-rope", major, e) for major in (1, 2) for e in ("early", "late", "life", "hold")),
        *(("steels-exchanged-rope", major, e) for major in (1, 2) for e in ("early", "late", "life")),
        *(("steels-exchanged-rope", 3, e) for e in ("early", "late", "life", "hold")),
        ("life-on-card", 1, "life"),
        *(("life-on-card", 2, endpoint) for endpoint in ("early", "hold", "late", "life")),
        ("first-evening-paper", 1, "life"),
        *(("finish-in-halves-rope", 1, endpoint) for endpoint in ("early", "hold", "late", "life")),
        ("strop-or-not-paper", 1, "life"),
    }
    assert all(missing[key] < 0.1 * count for key, count in runs.items())


def test_between_three_and_twenty_five_lives_in_a_hundred_are_censored(rows):
    for protocol in ("two-sharpeners-rope", "steels-exchanged-rope", "life-on-card"):
        lives = [r for r in rows if r.pool.protocol == protocol and r.endpoint == "life"]
        share = sum(r.status in ("left", "right") for r in lives) / len(lives)
        assert 0.03 <= share <= 0.25, f"{protocol}: {share:.2f}"


def test_what_went_wrong_shows_in_the_rows(rows):
    reasons = " ".join(r.reason for r in rows)
    for ended in ("edge damaged", "edge touched up", "medium ran out", "tester stopped"):
        assert ended in reasons
    assert any(r.damaged for r in rows)
    assert any(r.split_tester for r in rows)
