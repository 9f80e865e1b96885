"""Hashes of values: the same in every process, another one for every other value."""

import os
import subprocess
import sys
from dataclasses import dataclass, replace
from enum import Enum
from functools import partial
from pathlib import Path
from types import MappingProxyType

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from edgehold.engine.digest import Digests
from edgehold.numerics.attempt import NotFitted
from edgehold.pooling.probes.register import PROBES
from edgehold.words import Reason


@dataclass(frozen=True)
class Held:
    name: str
    parts: tuple[object, ...]


class Kind(Enum):
    ONE = 1
    TWO = 2


Kind.__module__ = "tests.engine.test_digest"  # by whichever name it is imported


REASON = Reason("disk.not_text", path="a", start=1)
VALUES = [
    None, True, False, 0, 1, 1.0, -0.0, 0.0, float("inf"), "", "1", b"1", "None", (), [], {}, frozenset(),
    (1, 2), [1, 2], (1, (2,)), ((1,), 2), ("12",), ("1", "2"), {"a": 1, "b": 2}, {"b": 2, "a": 1}, {"a": {"b": 1}}, {"a": "b"},
    frozenset({"a", "b", "c"}), Kind.ONE, Kind.TWO, Path("a"), partial(min, 1), min, max, *PROBES[:3],
    np.zeros(2), np.zeros((2, 1)), np.zeros(2, dtype=np.float32), np.array([0, 0]), np.float64(0.5), np.array(["a", "b"]),
    np.array(["a", None]), REASON, str(REASON), NotFitted("disk.not_text", path="a", start=1), Reason("disk.not_text", path="b", start=1),
]  # fmt: skip


def test_no_two_values_share_one():
    digests, values = Digests(), [*VALUES, Held, Held("a", ()), Held("", ("a",))]
    found = [digests.of(value) for value in values]
    assert len(set(found)) == len(values)
    assert [Digests().of(value) for value in values] == found


def test_another_process_with_another_seed_finds_the_same():
    words = "from tests.engine.test_digest import VALUES, Digests; print([Digests().of(v).hex() for v in VALUES])"
    environment = os.environ | {"PYTHONHASHSEED": "17", "PYTHONPATH": str(Path(__file__).parents[2])}
    told = subprocess.run([sys.executable, "-c", words], env=environment, capture_output=True, text=True, check=True)
    assert told.stdout.strip() == str([Digests().of(value).hex() for value in VALUES])


def test_it_is_the_value_that_counts_and_not_the_object():
    name = "".join(["a", "b"])
    shared, apart = (name, name), ("ab", "".join(["a", "b"]))
    assert Digests().of(shared) == Digests().of(apart)
    assert Digests().of(MappingProxyType({"a": 1})) == Digests().of({"a": 1})


@given(st.recursive(st.none() | st.floats() | st.text() | st.integers(), lambda one: st.lists(one) | st.dictionaries(st.text(), one)))
def test_a_value_inside_others_changes_them(value):
    digests, held = Digests(), Held("a", (value,))
    assert digests.of(held) == digests.of(replace(held)) != digests.of(replace(held, parts=(value, 0)))


def test_what_has_no_name_or_says_nothing_of_itself_is_refused():
    for value in (lambda: 0, object(), (1, object()), iter([])):
        with pytest.raises(TypeError, match=r"wanted"):
            Digests().of(value)
