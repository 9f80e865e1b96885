"""The grade of a submission's evidence where people meet it: its own page, the list, the table, the explorer's file."""

import json
from html import unescape

from sample import results

from edgehold.pages.submission_pages import submission_pages
from edgehold.results.model.grades import GradeResult
from edgehold.results.tables.evidence import evidence_files
from edgehold.results.tables.tables import EVIDENCE
from edgehold.words import Reason

OTHER = "dove-2026-05-k3f"
WHY = (Reason("grades.has_guesses"), Reason("grades.has_travelled"))
GRADED = GradeResult(
    grade=4,
    name=Reason("grades.name_4"),
    kinds=("guesses", "travelled"),
    read_in=(OTHER,),
    why=WHY,
    raised_by=(Reason("grades.wants_sealed"),),
)


def graded_results(graded=GRADED):
    found = results()
    first, *others = found.submissions
    return found.model_copy(update={"submissions": (first.model_copy(update={"evidence": graded}), *others)})


def pages_of(found):
    return {page.address: unescape(page.html) for page in submission_pages(found)}


def test_the_page_says_which_grade_why_and_what_would_raise_it():
    found = graded_results()
    first = found.submissions[0]
    folder = f"/submissions/{first.origin}/{first.protocol}"
    html = pages_of(found)[f"{folder}/{first.id}/"]
    assert '<a href="#evidence">Evidence: grade 4 of 5</a>, read by a stranger as well.' in html
    told, _, raised = html.partition('<h2 id="evidence">')[2].partition('<h3 id="raise">')
    assert all(why in told for why in WHY) and f'href="{folder}/{OTHER}/"' in told
    assert GRADED.raised_by[0] in raised
    highest = GRADED.model_copy(update={"grade": 5, "raised_by": ()})
    assert "Nothing: it is the highest." in pages_of(graded_results(highest))[f"{folder}/{first.id}/"]


def test_one_without_a_grade_says_nothing_of_it():
    found = results()
    pages = pages_of(found)
    assert not any("How hard this would be to invent" in html for html in pages.values())


def test_the_table_has_grade_and_kinds_and_the_explorer_the_grade():
    found = graded_results()
    first, second = found.submissions[:2]
    told = dict(zip(EVIDENCE.columns, EVIDENCE.cells(first.evidence), strict=True))
    assert [told[name] for name in ("grade", "evidence", "read_in")] == [4, "guesses travelled", OTHER]
    assert set(EVIDENCE.cells(second.evidence)) == {None}
    found = found.model_copy(update={"submissions": tuple(s.model_copy(update={"evidence": GRADED}) for s in found.submissions)})
    grades = {one["id"]: one["grade"] for content in evidence_files(found).values() for one in json.loads(content)["submissions"]}
    assert set(grades.values()) == {4}
