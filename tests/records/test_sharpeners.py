"""Who an edge is by: a person in two conditions is two sharpeners and one hand, and a factory edge is its blade's own."""

from edgehold.endpoints import endpoint_rows
from edgehold.estimates import estimate_submissions, repeatability_table
from edgehold.records import load_repository

from .builder import TODAY, make_repository, submission

BEFORE_AFTER = {
    "/preparations/0/condition": "before",
    "/preparations/1/condition": "after",
    "/preparations/1/sharpener": "wren",
}
FACTORY = {"/preparations/1": {"id": "edge-2", "blade": "wren.galley", "sharpener": "factory", "start_state": "factory"}}


def rows_of(tmp_path, changes):
    make_repository(tmp_path, [submission(changes)])
    repository = load_repository(tmp_path, today=TODAY)
    assert repository.errors == ()
    return endpoint_rows(repository), repository


def test_one_person_before_and_after_is_two_sharpeners_and_one_hand(tmp_path):
    rows, _ = rows_of(tmp_path, BEFORE_AFTER)
    assert {(row.sharpener, row.hand, row.own_sharpening) for row in rows} == {
        ("wren (before)", "wren", True),
        ("wren (after)", "wren", True),
    }


def test_a_factory_edge_is_its_blades_own_and_joins_nobody(tmp_path):
    rows, _ = rows_of(tmp_path, FACTORY)
    assert {(row.sharpener, row.hand, row.own_sharpening) for row in rows} == {
        ("wren", "wren", True),
        ("factory (wren.galley)", None, False),
    }


def test_studies_are_joined_by_the_hand_and_not_by_the_condition(tmp_path):
    rows, repository = rows_of(tmp_path, BEFORE_AFTER)
    protocols = repository.protocols
    (one,) = {estimate.sharpeners for estimate in estimate_submissions(rows, repeatability_table(rows, protocols), protocols)}
    assert one == ("wren",)
