"""CSV cells cannot start a formula; numbers stay numbers."""

import csv
import io
import math

import pytest

from edgehold.results.tables.cells import cell, csv_bytes


@pytest.mark.parametrize("text", ["=1+1", "+cmd", "-2+3", "@SUM(A1)", "\t=1", "\r=1", "  =1", '=HYPERLINK("x")'])
def test_text_that_could_start_a_formula_is_marked_as_text(text):
    assert cell(text) == f"'{text}"


@pytest.mark.parametrize("text", ["tern", "3-Jan", "0,5", "a=b", "p = .8", ""])
def test_other_text_is_left_alone(text):
    assert cell(text) == text


@pytest.mark.parametrize(("value", "text"), [(-0.25, "-0.25"), (-3, "-3"), (1e-7, "1e-07"), (0.1 + 0.2, "0.3")])
def test_negative_and_small_numbers_stay_numbers_of_ten_digits(value, text):
    assert cell(value) == text
    assert float(cell(value)) == pytest.approx(value, rel=1e-9)


def test_missing_and_unbounded_have_their_own_words():
    assert [cell(v) for v in (None, math.nan, math.inf, -math.inf, True, False)] == ["", "", "INF", "-INF", "true", "false"]


def test_a_csv_reader_gets_back_what_was_written_line_breaks_and_quotes_too():
    text = 'two\nlines, "quoted"'
    content = csv_bytes(["a", "b"], [(text, -1.5)]).decode()
    assert list(csv.reader(io.StringIO(content))) == [["a", "b"], [text, "-1.5"]]
