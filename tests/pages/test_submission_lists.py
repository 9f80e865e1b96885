"""The list of submissions, few of them and many."""

import re
from itertools import chain

import pytest
from sample import results, retracted, submission

from edgehold.pages.submission_lists import LISTED, submission_lists

LINK = re.compile(r'<th scope="row"><a href="(/submissions/[^"]+)"')
TURN = re.compile(r'<a href="([^"]+)" rel="(prev|next)">')


def listed(measured: int, simulated: int, gone: int = 0):
    """Pages of the list by address; measured ones of one protocol, simulated ones of another."""
    met = [submission(n, "measured") for n in range(1, measured + 1)] + [
        submission(n, "simulated", "cards") for n in range(1, simulated + 1)
    ]
    years = [one.model_copy(update={"id": f"{one.id}-{n}", "month": f"{2020 + n // 240}-{n % 12 + 1:02d}"}) for n, one in enumerate(met)]
    left_out = tuple(retracted("measured") for _ in range(gone))
    found = results().model_copy(update={"submissions": tuple(years), "retracted": left_out})
    return found, {page.address: page for page in submission_lists(found)}


def test_few_submissions_stand_on_one_page():
    _, pages = listed(3, LISTED - 4, 1)
    assert list(pages) == ["/submissions/"]
    html = pages["/submissions/"].html
    assert len(LINK.findall(html)) == LISTED and "rel=" not in html


@pytest.fixture(scope="module")
def many():
    return listed(2 * LISTED + 1, 7, 1)


def test_many_stand_on_a_list_of_each_protocol_in_parts_and_every_one_on_exactly_one(many):
    found, pages = many
    folder = f"/submissions/measured/{found.submissions[0].protocol}/"
    older = folder.replace("/measured/", "/older/measured/")
    assert list(pages) == ["/submissions/", folder, f"{older}2/", f"{older}3/", "/submissions/simulated/cards/"]
    front = LINK.findall(pages["/submissions/"].html)
    assert front == [folder, "/submissions/simulated/cards/"], "the first page leads to the lists and to nothing else"
    assert f'<td class="number">{2 * LISTED + 2}</td>' in pages["/submissions/"].html
    links = [LINK.findall(page.html) for address, page in pages.items() if address != "/submissions/"]
    assert [len(some) for some in links] == [LISTED, LISTED, 2, 7]
    every = [link for some in links for link in some]
    assert len(every) == len(set(every)) == len(found.submissions) + 1
    assert all(len(page.html) < 400_000 for page in pages.values())


def test_parts_lead_to_one_another_newest_first(many):
    _, pages = many
    (_, first, second, third, other) = pages.values()
    assert TURN.findall(first.html) == [(second.address, "next")]
    assert TURN.findall(second.html) == [(first.address, "prev"), (third.address, "next")]
    assert TURN.findall(third.html) == [(second.address, "prev")]
    assert TURN.findall(other.html) == []
    months = [re.findall(r'<td data-sort="(\d{4}-\d{2})">', page.html) for page in (first, second, third)]
    together = list(chain.from_iterable(months))
    assert together == sorted(together, reverse=True)
    assert f"{LISTED + 1} to {2 * LISTED} of {2 * LISTED + 2}" in second.html


def test_a_list_of_simulated_ones_says_so_and_one_of_measured_ones_does_not(many):
    _, pages = many
    assert "imulated" in pages["/submissions/simulated/cards/"].html
    assert "imulated" not in [page for address, page in pages.items() if "/measured/" in address][1].html
