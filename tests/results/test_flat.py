"""A field of a published model is a column by itself: its name, type and description are written down once."""

from typing import Annotated, Literal

import pytest
from pydantic import Field

from edgehold.records.model.base import Record
from edgehold.results.model.ratio import RatioInterval
from edgehold.results.tables.flat import flat
from edgehold.results.tables.typed import csv_of


class Made(Record):
    """A record that no table was written for."""

    name: str
    """Its name."""
    kind: Literal["one", "two"]
    """Which
    of two."""
    n: Annotated[int, Field(ge=0)]
    """How many."""
    share: float | None
    """A share."""
    yes: bool
    """Whether."""
    words: tuple[str, ...]
    """Several."""
    result: RatioInterval | None
    """The ratio."""
    other: RatioInterval | None
    """Another ratio."""
    parts: tuple["Made", ...] = ()
    """Records of their own."""
    reason_arguments: dict[str, str | int | float] = Field(default_factory=dict)
    """Arguments."""


RATIO = RatioInterval(ratio=1.5, low=None, high=2.0, level=0.95, method="t")
ONE = Made(
    name="=a", kind="two", n=3, share=None, yes=True, words=("x", "y"), result=RATIO, other=None, reason_arguments={"b": 1, "a": "ü"}
)


def test_every_plain_field_is_a_column_in_order_with_its_type_and_description():
    made = flat(Made)
    assert list(made.columns) == [
        "name", "kind", "n", "share", "yes", "words", "ratio", "low", "high", "level", "method",
        "other_ratio", "other_low", "other_high", "reason_arguments",
    ]  # fmt: skip
    assert made.columns["kind"] == "string: Which of two." and made.columns["n"] == "integer: How many."
    assert made.cells(ONE) == ("=a", "two", 3, None, True, "x y", 1.5, None, 2.0, 0.95, "t", None, None, None, '{"a": "ü", "b": 1}')
    assert set(made.cells(None)) == {None}


def test_columns_take_other_names_and_no_name_can_be_lost():
    made = flat(Made, only=("name", "result"), rename={"name": "id"}, prefix="p_", suffix="_s")
    assert list(made.columns) == ["id", "p_ratio_s", "p_low_s", "p_high_s", "p_level_s", "p_method_s"]
    for wrong in ({"only": ("nam",)}, {"without": ("nam",)}, {"rename": {"nam": "id"}}):
        with pytest.raises(KeyError, match="nam"):
            flat(Made, **wrong)
    with pytest.raises(ValueError, match="two columns one name"):
        flat(Made, rename={"name": "n"})


def test_a_table_is_written_with_the_types_that_its_columns_state():
    made = flat(Made)
    assert (
        csv_of((made.columns, [made.cells(ONE)])).decode().splitlines()[1]
        == '\'=a,two,3,,true,x y,1.5,,2,0.95,t,,,,"{""a"": ""ü"", ""b"": 1}"'
    )
    assert csv_of((made.columns, [])).decode() == ",".join(made.columns) + "\n"


@pytest.mark.parametrize(
    ("kind", "value"),
    [("integer", 1.5), ("integer", "x"), ("integer", True), ("number", "x"), ("boolean", "x"), ("boolean", 2), ("string", 1)],
)
def test_a_cell_of_another_type_than_its_column_states_is_a_fault(kind, value):
    with pytest.raises((TypeError, ValueError)):
        csv_of(({"a": f"{kind}: a"}, [(value,)]))


def test_infinite_limits_are_written_as_the_package_says_and_missing_ones_are_empty():
    table = {"a": "number: a"}, [(float("inf"),), (float("-inf"),), (float("nan"),), (None,), (0.1234567890123,)]
    assert csv_of(table).decode().splitlines()[1:] == ["INF", "-INF", '""', '""', "0.123456789"]


def test_a_whole_number_may_be_held_as_another_kind_of_number():
    assert csv_of(({"n": "integer: n", "x": "number: x"}, [(3.0, 2), (float("nan"), 20_000_000_000)])) == b"n,x\n3,2\n,2e+10\n"
