"""A submission's page says every ratio once, and has a column of outcomes where a reading has one."""

import re

import pytest
from sample import results

from edgehold.pages.submission_pages import submission_pages


def page_of(**changed):
    """The page of the first submission with these changes."""
    found = results(measured=3, simulated=0)
    first = found.submissions[0].model_copy(update=changed)
    whole = found.model_copy(update={"submissions": (first, *found.submissions[1:])})
    return next(page.html for page in submission_pages(whole) if page.title == f"Submission {first.id}")


def rows(html):
    """The rows of the table of contrasts."""
    return re.findall(r"<tr><th scope=\"row\">.*?</tr>", html.partition('id="answers"')[2].partition("</table>")[0], re.DOTALL)


@pytest.fixture
def answer():
    return next(one for one in results(measured=3, simulated=0).submissions[0].answers if one.result is not None)


def test_two_people_and_their_practice_are_one_row(answer):
    people = answer.model_copy(update={"factor": "sharpener", "first": "gull", "second": "tern"})
    practice = answer.model_copy(update={"factor": "practice", "first": "practised", "second": "novice", "sentence": "The same again."})
    (row,) = rows(page_of(answers=(people, practice)))
    assert "sharpener: gull against tern; practice: practised against novice" in row
    assert row.count("<svg") == 1 and people.sentence in row and practice.sentence not in row


def test_another_ratio_verdict_or_endpoint_is_a_row_of_its_own_and_so_is_each_without_a_ratio(answer):
    wider = answer.result.model_copy(update={"high": 99.0})
    others = [{"result": wider}, {"verdict": "another"}, {"endpoint": "another"}, {"result": None}, {"result": None}]
    assert len(rows(page_of(answers=(answer, *(answer.model_copy(update=one) for one in others))))) == 1 + len(others)


def test_outcomes_have_a_column_where_a_reading_has_one():
    run = results(measured=3, simulated=0).submissions[0].runs[0]
    plain, failed = (tuple(one.model_copy(update={"outcome": word}) for one in run.readings) for word in ("", "fail"))
    html = page_of(runs=(run.model_copy(update={"id": "a", "readings": plain}), run.model_copy(update={"id": "b", "readings": failed})))
    first, second = re.findall(r"<details>.*?</details>", html.partition('id="readings"')[2], re.DOTALL)
    assert "Outcome" not in first and first.count("<td>") == 3 * len(plain)
    assert "Outcome" in second and second.count("<td>fail</td>") == len(failed) and second.count("<td>") == 4 * len(failed)
