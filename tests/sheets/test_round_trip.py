"""A plan goes out as a sheet, comes back filled in, and says what was drawn and read; what would give an edge away stays out."""

import csv
import io
import json
from html import unescape

import pytest
from openpyxl import load_workbook

from edgehold.cli import main
from edgehold.errors import InputError
from edgehold.records import load_repository
from edgehold.records.model.plan import Plan
from edgehold.records.model.protocol import Protocol
from edgehold.sheets import write_sheets
from edgehold.sheets.intake import sheet_from_bytes
from edgehold.sheets.ready import ready_plan
from edgehold.sheets.taking import take_in
from tests.records.builder import make_repository, protocol
from tests.sheets.filling import TODAY, VALUES, Rows, csv_text, filled, repository

RULES = Protocol.model_validate_json(json.dumps(protocol()))
ORDER = ("tern", "wren", "wren", "tern")


def plan(blinding: str = "none", **changes: object) -> Plan:
    coded = blinding != "none"
    runs = [
        {"order": n, "block": (n + 1) // 2, "evening": (n + 1) // 2, "coil_position_m": 1.5 * (n - 1), "blade": "wren.galley",
         "sharpener": sharpener, "tester": "auk", "code": "KRMT"[n - 1] if coded else None}
        for n, sharpener in enumerate(ORDER, 1)
    ]  # fmt: skip
    record = {
        "format": "plan/1.0.0",
        "id": "harbour-evening",
        "protocol": {"id": "small-rope", "version": "1.0.0"},
        "month": "2026-05",
        "seed": 7,
        "blinding": blinding,
        "runs": runs,
    }
    return Plan.model_validate_json(json.dumps(record | changes))


@pytest.fixture
def small(tmp_path):
    return repository(tmp_path / "repository")


def fill_in(rows: Rows, sharpeners: bool) -> Rows:
    rows.write("Month", "2026-05")
    rows.write("Sent in by", "auk")
    for number in range(rows.find("People") + 2, rows.find("People") + 5):
        rows[number][2:] = ["yes"]
    for run in (1, 2, 3, 4):
        rows.write("Reading unit", "N", run=run)
        rows.write("Ended", "last checkpoint", run=run)
        if sharpeners:
            rows.write("Sharpener", ORDER[run - 1], run=run)
        for work, values in VALUES.items():
            rows.write(str(work), *values, run=run)
    return rows


def sheet_of(folder) -> Rows:
    text = (folder / "sheet.csv").read_bytes().decode()
    return Rows(list(row) for row in csv.reader(io.StringIO(text)))


def test_a_plan_filled_in_on_csv_comes_back_as_drawn(tmp_path, small):
    write_sheets(plan(), RULES, tmp_path)
    intake = sheet_from_bytes(csv_text(fill_in(sheet_of(tmp_path), sharpeners=False)).encode(), small, TODAY)
    assert intake.questions == ()
    assert [p["sharpener"] for p in intake.submission["preparations"]] == list(ORDER)
    assert [run["tester"] for run in intake.submission["runs"]] == ["auk"] * 4
    assert [run["coil_position_m"] for run in intake.submission["runs"]] == [0, 1.5, 3, 4.5]
    assert [run["evening"] for run in intake.submission["runs"]] == [1, 1, 2, 2]
    assert intake.submission["plan"] == {"id": "harbour-evening"}
    assert list(intake.submission)[:6] == ["format", "id", "protocol", "origin", "licence", "submitted_by"]


def test_a_plan_filled_in_on_xlsx_comes_back_as_drawn(tmp_path, small):
    write_sheets(plan(), RULES, tmp_path)
    book = load_workbook(tmp_path / "sheet.xlsx")
    for number, cells in enumerate(fill_in(sheet_of(tmp_path), sharpeners=False), 1):
        for column, text in enumerate(cells, 1):
            if text and book.active.cell(number, column).value is None:
                book.active.cell(number, column).value = float(text) if text.replace(".", "", 1).isdigit() else text
    book.save(tmp_path / "filled.xlsx")
    intake = sheet_from_bytes((tmp_path / "filled.xlsx").read_bytes(), small, TODAY)
    assert intake.questions == ()
    assert intake.submission["runs"][3]["readings"][4]["values"] == [{"written": 3.4}, {"written": 3.5}]


def back_in_turn(tmp_path, how, runs, **settings):
    """A plan of runs in turn as its sheet gives it back, and the printed sheet."""
    in_turn = protocol({"/design/side_by_side": how} | settings)
    make_repository(tmp_path / "repository", [], [in_turn])
    folder = tmp_path / "sheets"
    folder.mkdir()
    write_sheets(plan(runs=runs, format="plan/1.2.0"), Protocol.model_validate_json(json.dumps(in_turn)), folder)
    small = load_repository(tmp_path / "repository", today=TODAY)
    intake = sheet_from_bytes(csv_text(fill_in(sheet_of(folder), sharpeners=False)).encode(), small, TODAY)
    assert intake.questions == ()
    assert [run["partner"] for run in intake.submission["runs"]] == ["run-2", "run-1", "run-4", "run-3"]
    return intake.submission, (folder / "sheet.html").read_text(encoding="utf-8")


def partnered():
    """The runs of the plan, each with its neighbour."""
    return [run | {"partner": n + (0 if n % 2 else 2)} for n, run in enumerate(plan().model_dump(mode="json")["runs"])]


def in_conditions(blinding="none"):
    """A plan in which the same person's edges are compared, and another's."""
    runs = plan(blinding).model_dump(mode="json")["runs"]
    told = [run | {"condition": ("before", "now")[n // 2] if run["sharpener"] == "wren" else None} for n, run in enumerate(runs)]
    return plan(blinding, runs=told, format="plan/1.3.0")


def test_conditions_of_one_person_come_back_as_drawn(tmp_path, small):
    drawn = in_conditions()
    write_sheets(drawn, RULES, tmp_path)
    intake = sheet_from_bytes(csv_text(fill_in(sheet_of(tmp_path), sharpeners=False)).encode(), small, TODAY)
    assert intake.questions == ()
    told = [(p["sharpener"], p.get("condition")) for p in intake.submission["preparations"]]
    assert told == [(run.sharpener, run.condition) for run in drawn.runs] and {("wren", "before"), ("wren", "now")} < set(told)
    assert "wren (before)" in unescape((tmp_path / "sheet.html").read_text(encoding="utf-8"))


def test_a_condition_is_hidden_under_codes(tmp_path):
    write_sheets(in_conditions("helper coded"), RULES, tmp_path)
    cells = [row[1:] for row in sheet_of(tmp_path) if row and row[0].startswith(("Condition", "Sharpener"))]
    assert len(cells) == 8 and not any(any(row) for row in cells)
    assert "wren (before)" not in unescape((tmp_path / "sheet.html").read_text(encoding="utf-8"))
    assert "wren (before)" in unescape((tmp_path / "key.html").read_text(encoding="utf-8"))


def test_halves_cut_in_turn_come_back_as_drawn(tmp_path):
    runs = [run | {"edge_part": ("heel", "tip")[n % 2]} for n, run in enumerate(partnered())]
    submission, printed = back_in_turn(tmp_path, "halves", runs)
    assert [p["edge_part"] for p in submission["preparations"]] == ["heel", "tip", "heel", "tip"]
    assert printed.count("<dt>Cut in turn with run</dt>") == 4


def test_two_blades_cut_in_turn_come_back_as_drawn_and_the_sheet_says_which_begins(tmp_path):
    submission, printed = back_in_turn(tmp_path, "blades", partnered(), **{"/format": "protocol/1.3.0"})
    assert not any("edge_part" in p for p in submission["preparations"])
    assert printed.count("this one begins") == printed.count("that one begins") == 2 and "Half of the edge" not in printed


def test_the_workbook_offers_the_words_allowed_and_marks_its_cells_as_text(tmp_path):
    write_sheets(plan(), RULES, tmp_path)
    sheet = load_workbook(tmp_path / "sheet.xlsx").active
    offered = {str(cells): rule.formula1 for rule in sheet.data_validations.dataValidation for cells in rule.sqref.ranges}
    labels = {cell.value.partition(" (")[0]: cell.row for cell in sheet["A"] if cell.value}
    assert offered[f"B{labels['Ended']}"] == '"last checkpoint,dull,medium ran out,tester stopped,edge damaged,edge touched up"'
    assert offered[f"B{labels['Reading unit']}"] == '"N,gf"'
    people = labels["People"]
    assert offered[f"B{labels['Tester']}"] == f"$A${people + 2}:$A${people + 5}"
    assert sheet.cell(labels["40"], 2).number_format == sheet.cell(labels["Month"], 2).number_format == "@"
    headings = [cell.value for cell in sheet["A"] if cell.value]
    assert {"Angle (degrees)", "Sharpening took (minutes)", "Humidity (%)", "Temperature (°C)", "Work done (cut)"} <= set(headings)


@pytest.mark.parametrize("blinding", ["helper coded", "sealed"])
def test_nothing_on_a_coded_sheet_tells_whose_edge_is_whose(tmp_path, blinding):
    """Rows of a run differ between plans of opposite orders in nothing; the people stand in the order of the alphabet."""
    one, other = tmp_path / "one", tmp_path / "other"
    write_sheets(plan(blinding), RULES, one)
    opposite = [
        {**run, "sharpener": "wren" if run["sharpener"] == "tern" else "tern"} for run in plan(blinding).model_dump(mode="json")["runs"]
    ]
    write_sheets(plan(blinding, runs=opposite, seed=8), RULES, other)
    for name in ("sheet.html", "sheet.csv", "sheet.xlsx"):
        assert (one / name).read_bytes() == (other / name).read_bytes(), name
    assert (one / "key.html").read_text() != (other / "key.html").read_text()
    assert "tern" in (one / "key.html").read_text()
    assert not (tmp_path / "open").exists() and "key.html" not in {path.name for path in write_sheets(plan(), RULES, tmp_path / "open")}


def test_the_plan_says_whose_edge_is_whose_where_a_coded_sheet_leaves_it_open(tmp_path, small):
    write_sheets(plan("helper coded"), RULES, tmp_path)
    data = csv_text(fill_in(sheet_of(tmp_path), sharpeners=False)).encode()
    alone = sheet_from_bytes(data, small, TODAY)
    assert [question.code for question in alone.questions] == ["missing-field"] * 4
    intake = sheet_from_bytes(data, small, TODAY, plan("helper coded"))
    assert intake.questions == ()
    assert [p["sharpener"] for p in intake.submission["preparations"]] == list(ORDER)
    assert {run["blinding"] for run in intake.submission["runs"]} == {"helper coded"}


def test_a_sheet_that_says_otherwise_than_its_plan_is_asked_about(tmp_path, small):
    write_sheets(plan(), RULES, tmp_path)
    rows = fill_in(sheet_of(tmp_path), sharpeners=True)
    rows.write("Sharpener", "wren", run=1)
    found = sheet_from_bytes(csv_text(rows).encode(), small, TODAY, plan()).questions
    assert [(q.cell, q.code) for q in found] == [(f"B{rows.find('Sharpener', 1) + 1}", "plan-disagrees")]


def test_a_sheet_of_another_plan_is_asked_about(tmp_path, small):
    write_sheets(plan(), RULES, tmp_path)
    rows = fill_in(sheet_of(tmp_path), sharpeners=True)
    found = sheet_from_bytes(csv_text(rows).encode(), small, TODAY, plan(id="another-evening")).questions
    assert [(q.cell, q.code) for q in found] == [(f"B{rows.find('Plan') + 1}", "plan-disagrees")]


def test_the_same_plan_gives_the_same_bytes(tmp_path):
    for name in ("one", "two"):
        write_sheets(plan("sealed"), RULES, tmp_path / name)
    for path in (tmp_path / "one").iterdir():
        assert path.read_bytes() == (tmp_path / "two" / path.name).read_bytes()


def test_a_sheet_of_another_protocol_is_not_written(tmp_path):
    with pytest.raises(InputError, match=r"follows small-rope 9.9.9; wanted a plan for small-rope 1.0.0"):
        write_sheets(plan(protocol={"id": "small-rope", "version": "9.9.9"}), RULES, tmp_path)


def test_no_cell_of_a_sheet_can_start_a_formula(tmp_path):
    hostile = Protocol.model_validate_json(json.dumps(protocol({"/title": '=HYPERLINK("x")', "/cautions": ["@SUM(1)", "+1", "-2"]})))
    write_sheets(plan(), hostile, tmp_path)
    cells = [cell for row in sheet_of(tmp_path) for cell in row]
    assert [cell for cell in cells if cell.startswith(("=", "+", "-", "@", "\t"))] == []
    sheet = load_workbook(tmp_path / "sheet.xlsx").active
    assert {cell.data_type for row in sheet.iter_rows() for cell in row if cell.value} == {"s"}


def test_markup_in_a_protocol_is_text_on_the_printed_sheet(tmp_path):
    hostile = Protocol.model_validate_json(json.dumps(protocol({"/title": "<script>alert(1)</script>", "/cautions": ["</ul><img src=x>"]})))
    write_sheets(plan(), hostile, tmp_path)
    html = (tmp_path / "sheet.html").read_text()
    assert "<script" not in html and "<img" not in html


@pytest.mark.parametrize("factor", ["sharpener", "steel"])
def test_a_ready_drawn_sheet_holds_either_edge_alike_and_says_its_seed(factor):
    rules = Protocol.model_validate_json(json.dumps(protocol({"/question/factor": factor, "/design/least_runs": 8})))
    drawn = ready_plan(rules)
    edges = [run.sharpener if factor == "sharpener" else run.blade for run in drawn.runs]
    assert sorted(edges) == sorted(2 * sorted(edges)[::2])
    assert drawn == ready_plan(rules) and drawn.seed.isdigit()
    if factor == "sharpener":
        assert all({edges[n], edges[n + 1]} == {"A", "B"} for n in range(0, 8, 2))
        assert [edges[n] == edges[n + 3] for n in (0, 4)] == [True, True]


def written_sheet(tmp_path, **changes: str):
    rows = filled()
    for label, text in changes.items():
        rows.write(label, text, run=1)
    (tmp_path / "evening.csv").write_text(csv_text(rows), encoding="utf-8")
    return tmp_path / "evening.csv"


def test_the_command_writes_a_file_that_the_check_accepts_and_never_over_another(tmp_path, small, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    file = written_sheet(tmp_path)
    intake, target = take_in(small.root, file, today=TODAY)
    assert intake.whole and target.name == f"{intake.submission['id']}.json"
    place = small.root / "submissions" / "measured" / "small-rope" / target.name
    place.parent.mkdir(parents=True)
    place.write_bytes(target.read_bytes())
    assert main(["check", "--root", str(small.root)]) == 0
    before = target.read_bytes()
    with pytest.raises(InputError, match="is there already"):
        take_in(small.root, file, today=TODAY)
    assert target.read_bytes() == before
    capsys.readouterr()
    assert main(["intake", str(file), "--root", str(small.root)]) == 2
    assert "is there already; name another file with --output" in capsys.readouterr().err


def test_the_command_writes_nothing_while_it_must_ask_but_a_draft_when_told(tmp_path, small, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    file = written_sheet(tmp_path, Ended="chipped")
    assert main(["intake", str(file), "--root", str(small.root)]) == 1
    said = capsys.readouterr().out
    assert "'chipped' is none of the words for this" in said and "nothing was written" in said
    assert list(tmp_path.glob("*.json")) == []
    assert main(["intake", str(file), "--draft", "--json", "--root", str(small.root)]) == 1
    told = json.loads(capsys.readouterr().out)
    assert told["written"] == "evening-half-done.json" and told["questions"][0]["code"] == "unknown-word"
    assert json.loads((tmp_path / "evening-half-done.json").read_text())["runs"][0]["ended"] == "chipped"


def test_what_is_no_file_or_no_plan_is_misuse(tmp_path, small, capsys):
    assert main(["intake", str(tmp_path / "none.csv"), "--root", str(small.root)]) == 2
    assert "wanted a filled-in sheet, CSV or XLSX" in capsys.readouterr().err
    (tmp_path / "plan.json").write_text("{}")
    assert main(["intake", str(written_sheet(tmp_path)), "--plan", str(tmp_path / "plan.json"), "--root", str(small.root)]) == 2
    assert "is no plan" in capsys.readouterr().err


def test_a_factory_edge_is_nobody_in_the_table_of_people_and_comes_back_as_one(tmp_path):
    make_repository(tmp_path / "repository", [], [protocol()])
    drawn = plan().model_dump(mode="json")["runs"]
    runs = [run | ({"sharpener": "factory"} if run["sharpener"] == "tern" else {}) for run in drawn]
    folder = tmp_path / "sheets"
    folder.mkdir()
    write_sheets(plan(runs=runs), RULES, folder)
    small = load_repository(tmp_path / "repository", today=TODAY)
    rows = fill_in(sheet_of(folder), sharpeners=False)
    rows[rows.find("People") + 4][2:] = []  # two people and no third
    intake = sheet_from_bytes(csv_text(rows).encode(), small, TODAY)
    assert intake.questions == () and "factory" not in {person["handle"] for person in intake.submission["people"]}
    edges = {(edge["sharpener"], edge.get("start_state") == "factory") for edge in intake.submission["preparations"]}
    assert edges == {("wren", False), ("factory", True)}
