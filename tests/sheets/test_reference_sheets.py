"""Where the protocol asks for a reference edge, its sheet has tables of reference edges and known weights; where it does not, none."""

import json

import pytest

from edgehold.records.model.protocol import Protocol
from edgehold.sheets.intake import sheet_from_bytes
from edgehold.sheets.lines import sheet_rules
from edgehold.sheets.printed import printed_sheet
from edgehold.sheets.ready import ready_plan
from tests.forms.corpus import REFERENCE
from tests.records.builder import make_repository, protocol
from tests.sheets.filling import TODAY, Rows, csv_text, filled, filled_with_references, load_repository

ASKED = REFERENCE["/reference"] | {"weights": "A litre of water"}


@pytest.fixture(scope="module")
def small(tmp_path_factory):
    root = tmp_path_factory.mktemp("references")
    make_repository(root, [], [protocol({"/format": "protocol/1.2.0", "/reference": ASKED})])
    return load_repository(root, today=TODAY)


def taken(rows: Rows, small):
    return sheet_from_bytes(csv_text(rows).encode(), small, TODAY)


def test_a_sheet_without_the_setting_has_no_such_tables():
    rules = sheet_rules(Protocol.model_validate_json(json.dumps(protocol())))
    assert set(rules["tables"]) == {"people", "blades"} and "thread or paper" not in rules["lines"]
    assert not any(row and row[0] in ("References", "Weights") for row in filled())


def test_reference_edges_and_weights_come_back_as_written(small):
    intake = taken(filled_with_references(ASKED), small)
    assert intake.questions == ()
    start, end = intake.submission["references"]
    assert (start["when"], end["when"]) == ("start", "end") and start["segment"] == "wren.segment-1"
    assert [reading["work"] for reading in start["readings"]] == [0, 10]
    assert [value["written"] for value in end["readings"][1]["values"]] == [1.5, 1.6]
    (weight,) = intake.submission["weights"]
    assert (weight["known"], weight["read"]) == ({"written": 500, "unit": "g"}, {"written": 5.4, "unit": "N"})
    uses = {lot["key"]: lot.get("use") for lot in intake.submission["lots"]}
    assert uses == {"wren.coil": None, "wren.reel": "read on", "wren.segments": "reference edges"}
    assert [one["key"] for one in intake.submission["instruments"]] == ["wren.scale"]


def test_an_edge_that_was_not_read_is_none_and_one_read_once_keeps_its_one_reading(small):
    rows = filled_with_references(ASKED)
    end = rows.find("References") + 3
    rows[end][2:] = [""] * len(rows[end][2:])
    (only,) = taken(rows, small).submission["references"]
    assert only["when"] == "start"
    rows = filled_with_references(ASKED)
    after = rows[rows.find("References") + 1].index("After 1")
    rows[end][after : after + 2] = ["", ""]
    assert [[reading["work"] for reading in edge["readings"]] for edge in taken(rows, small).submission["references"]] == [[0, 10], [0]]


def test_the_printed_sheet_has_a_row_for_each_edge_and_no_such_part_where_none_is_asked_for():
    fronts = (protocol({"/reference": ASKED}), protocol())
    asked, plain = (Protocol.model_validate_json(json.dumps(front)) for front in fronts)
    printed = printed_sheet(ready_plan(asked), asked, {})
    assert printed.count('<th scope="row">start') == printed.count('<th scope="row">end') == 1
    assert "A litre of water. Hang each" in printed and "make 10 cuts in the medium" in printed
    assert "Reference edge" not in printed_sheet(ready_plan(plain), plain, {})
