"""``results.json``: all of the results, on a line for each pool, submission and protocol, the same whichever way it is put together."""

import json

import pytest
from sample import results

from edgehold.results.publish.written import LISTS, texts_of, written


def lines(found, name):
    """The lines of a list of the file."""
    text = written(found).whole().decode()
    begin, end = f'\n"{name}":[\n', "\n]"
    return text.partition(begin)[2].partition(end)[0].split(",\n")


def test_the_file_is_the_results():
    found = results(measured=3, simulated=2)
    whole = written(found).whole()
    assert json.loads(whole) == found.model_dump(mode="json")
    assert type(found).model_validate_json(whole) == found
    assert whole.endswith(b"\n}\n") and list(json.loads(whole)) == list(type(found).model_fields)


@pytest.mark.parametrize("name", ["pools", "submissions", "protocols", "steels"])
def test_each_item_of_a_list_is_one_line(name):
    found = results(measured=3, simulated=2)
    assert [json.loads(line) for line in lines(found, name)] == [one.model_dump(mode="json") for one in getattr(found, name)]


def test_nothing_but_the_ends_of_lines_is_spent_on_white_space():
    found = results(measured=3, simulated=2)
    plain = json.dumps(found.model_dump(mode="json"), ensure_ascii=False, separators=(",", ":"))
    assert written(found).whole().decode().replace("\n", "") == plain


def test_what_was_written_before_is_taken_as_it_is():
    found = results(measured=3, simulated=0)
    items = [one for name in LISTS for one in getattr(found, name)]
    assert written(found, texts_of(items)).whole() == written(found).whole()
    assert b"known before" in written(found, dict.fromkeys(texts_of(items[:1]), '"known before"')).whole()


def test_a_text_that_looks_like_an_empty_list_is_left_alone():
    found = results(measured=2, simulated=0)
    told = '\n"submissions":[]'
    steels = (found.steels[0].model_copy(update={"note": told}), *found.steels[1:])
    read = json.loads(written(found.model_copy(update={"steels": steels})).whole())
    assert read["steels"][0]["note"] == told and len(read["submissions"]) == len(found.submissions)


def test_what_is_empty_stays_a_list():
    found = results(measured=0, simulated=0)
    assert json.loads(written(found).whole()) == found.model_dump(mode="json")
