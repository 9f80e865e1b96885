"""``edgehold report``: what it opens, what it refuses, what it judges by, and the page that it writes."""

import base64
import hashlib
import json
import re
import shutil
from pathlib import Path

import html5lib
import pytest

from edgehold.cli import ERRORS_FOUND, FINE, MISUSE, main
from edgehold.pipeline import read
from edgehold.records import load_repository
from edgehold.records.model.changes import ABSENT
from edgehold.report.opening import open_submission
from edgehold.report.table import table_used
from edgehold.results.publish.repeatability_file import repeatability_json
from edgehold.words import Reason
from tests.records.builder import correction, endpoint, make_repository, protocol, run, second, submission, values, write_change

SCRIPT = "<script>alert(1)</script>"


def more_runs(name: str = "wren-1") -> dict:
    """Four runs by two sharpeners, one of them a little duller."""
    forces = {0: 1.0, 5: 1.5, 10: 2.0, 20: 2.5, 40: 3.0}
    runs = [
        run(i, readings=[{"work": w, "values": values(round(f * by, 2), round(f * by + 0.1, 2))} for w, f in forces.items()])
        for i, by in ((1, 1.0), (2, 1.3), (3, 1.1), (4, 1.25))
    ]
    edges = [{"id": f"edge-{i}", "blade": "wren.galley", "sharpener": ("tern", "wren")[i % 2]} for i in (1, 2, 3, 4)]
    return submission({"/runs": runs, "/preparations": edges, "/id": name})


@pytest.fixture
def root(tmp_path):
    return make_repository(tmp_path / "repository", [more_runs(), second()])


def reported(root, capsys, *words) -> str:
    capsys.readouterr()
    assert main(["report", *map(str, words), "--root", str(root)]) == FINE
    return capsys.readouterr().out


def published(root: Path) -> Path:
    """The table of the whole repository as `edgehold pool` publishes it, this submission among the rest."""
    from edgehold.endpoints import endpoint_rows
    from edgehold.estimates import repeatability_table
    from edgehold.results.publish.repeatability import publish

    repository = read(root)
    file = root / "table.json"
    file.write_bytes(repeatability_json(publish(repeatability_table(endpoint_rows(repository), repository.protocols), repository)))
    return file


def test_an_id_a_path_and_a_file_elsewhere_give_the_same_report(root, capsys, tmp_path):
    file = root / "submissions/measured/small-rope/wren-1.json"
    table = published(root)
    elsewhere = Path(shutil.copy(file, tmp_path / "mine.json"))
    texts = {reported(root, capsys, named, "--table", table) for named in ("wren-1", file, elsewhere)}
    assert len(texts) == 1
    assert Reason("report.file", id="wren-1", title="A small test method", version="1.0.0", month="2026-05") in texts.pop()


def test_one_file_and_one_table_give_the_same_bytes_though_the_repository_moves_on(root, capsys, tmp_path):
    table = published(root)
    first, later = tmp_path / "first.html", tmp_path / "later.html"
    text = reported(root, capsys, "wren-1", "--table", table, "--html", first)
    sent_in = root / "submissions/measured/small-rope/auk-1.json"
    sent_in.write_text(json.dumps(more_runs("auk-1")), encoding="utf-8")
    assert reported(root, capsys, "wren-1", "--table", table, "--html", later) == text
    assert first.read_bytes() == later.read_bytes()
    assert json.loads(table.read_text())["sha256"] in text


def test_nobody_is_judged_by_themselves(root):
    record, rules = open_submission(root, "wren-1").record, open_submission(root, "wren-1").protocol.record
    alone = table_used(root, record, rules)
    named = table_used(root, record, rules, published(root))
    assert named.plain["endpoints"] == alone.plain["endpoints"]
    assert alone.submissions == 0 and alone.plain["endpoints"]["early"]["source"] == "assumed"
    twin = json.dumps(more_runs("auk-1") | {"month": "2026-04"})
    (root / "submissions/measured/small-rope/auk-1.json").write_text(twin, encoding="utf-8")
    assert table_used(root, record, rules).submissions == 1


def test_the_table_of_the_last_build_is_taken_where_there_is_one(root, capsys):
    def judged_by(table):
        return Reason("report.table_assumed", table=Reason(table)) in " ".join(reported(root, capsys, "wren-1").split())

    assert judged_by("report.table_computed")
    folder = root / "build" / "results"
    folder.mkdir(parents=True)
    shutil.copy(published(root), folder / "repeatability.json")
    assert judged_by("report.table_built")


@pytest.mark.parametrize("place", ["inside", "outside"])
def test_a_file_with_errors_gets_the_findings_of_the_check(place, root, capsys, tmp_path):
    broken = submission({"/id": "wren-1", "/runs/0/tester": "nobody", "/runs/1/work_unit": "furlong"})
    file = root / "submissions/measured/small-rope/wren-1.json" if place == "inside" else tmp_path / "mine.json"
    file.write_text(json.dumps(broken), encoding="utf-8")
    assert main(["report", str(file), "--root", str(root)]) == ERRORS_FOUND
    told = capsys.readouterr().out
    (root / "submissions/measured/small-rope/wren-1.json").write_text(json.dumps(broken), encoding="utf-8")
    checked = [f for f in load_repository(root).findings if f.file.endswith("small-rope/wren-1.json")]
    assert {f.code for f in checked} == {"unknown-person", "wrong-unit"}
    assert told.startswith("2 errors:")
    for finding in checked:
        assert f"{finding.code}: {finding.message}" in told and finding.pointer in told


@pytest.mark.parametrize("content", ["", "null", "[]", "{", "\ufeff{}", '{"format": "submission/9.9.9"}'])
def test_what_is_no_submission_is_a_finding_and_no_crash(content, root, capsys, tmp_path):
    file = tmp_path / "mine.json"
    file.write_text(content, encoding="utf-8")
    assert main(["report", str(file), "--root", str(root)]) == ERRORS_FOUND
    assert "mine.json:1" in capsys.readouterr().out


def test_misuse_is_said_and_writes_nothing(root, capsys, tmp_path):
    precious = tmp_path / "precious.json"
    precious.write_text("{}")
    for words, message in (
        (["nobody-1"], Reason("report.no_submission", text="'nobody-1'", folder=str(root / "submissions"))),
        (["wren-1", "--table", str(precious)], "wanted a repeatability table"),
        (["wren-1", "--html", str(precious)], "is there already and is no page"),
        (["wren-1", "--html", str(tmp_path / "no" / "page.html")], "cannot be written"),
        (["wren-1", "--cuts-a-week", "0"], "got 0 cuts a week, wanted more than 0"),
        (["wren-1", "--cuts-a-week", "nan"], "got nan cuts a week"),
    ):
        assert main(["report", *words, "--root", str(root)]) == MISUSE
        assert message in capsys.readouterr().err
    assert precious.read_text() == "{}"


def test_a_table_that_was_touched_is_refused(root, capsys):
    table = published(root)
    table.write_text(table.read_text().replace("0.25", "0.05"), encoding="utf-8")
    assert main(["report", "wren-1", "--table", str(table), "--root", str(root)]) == MISUSE
    assert "whose hash is not that of its content" in capsys.readouterr().err


def test_corrections_count_and_a_retracted_submission_has_no_report(root, capsys):
    file = {"id": "wren-1", "title": "A small test method", "version": "1.0.0", "month": "2026-05"}
    plain = reported(root, capsys, "wren-1")
    write_change(root, 1, correction(("/note", ABSENT, "a damp evening")))
    corrected = reported(root, capsys, "wren-1")
    assert Reason("report.file_corrected", **file) in " ".join(corrected.split()) and Reason("report.file", **file) in plain
    assert main(["retract", "wren-1", "--why", "read wrong", "--by", "wren", "--root", str(root)]) == FINE
    assert main(["report", "wren-1", "--root", str(root)]) == MISUSE
    assert Reason("report.retracted", id="wren-1") in capsys.readouterr().err


def page_of(root, capsys, tmp_path, name="wren-1") -> str:
    target = tmp_path / "page.html"
    reported(root, capsys, name, "--html", target)
    reported(root, capsys, name, "--html", target)  # an older page may be written over
    return target.read_text(encoding="utf-8")


def test_the_page_needs_nothing_else_and_its_policy_allows_nothing_else(root, capsys, tmp_path):
    html = page_of(root, capsys, tmp_path)
    html5lib.HTMLParser(strict=True).parse(html)
    style = re.search(r"<style>(.*?)</style>", html, re.DOTALL).group(1)
    digest = base64.b64encode(hashlib.sha256(style.encode()).digest()).decode()
    policy = f"default-src 'none'; style-src 'sha256-{digest}'; base-uri 'none'; form-action 'none'"
    assert f'http-equiv="Content-Security-Policy" content="{policy}"' in html
    assert html.index("Content-Security-Policy") < html.index("<style>")
    for wanting in ("<script", "<link", "<img", "<iframe", " src=", "href=", "url(", "@import", " style=", "http://", "https://"):
        assert wanting not in html.lower()
    assert "@media print" in style and "prefers-color-scheme: dark" in style
    assert html.count("<svg") >= 3


def test_texts_of_strangers_stay_text_on_the_page_and_in_the_terminal(capsys, tmp_path):
    front = protocol(
        {"/title": SCRIPT, "/question/text": f"Is it {SCRIPT}?", "/endpoints/0/title": f"\\x1b {SCRIPT}", "/medium/name": f"rope{SCRIPT}"}
    )
    told = more_runs() | {"lots": None}
    for each in told["runs"]:
        each.pop("lot")
    told["answers"] = [{"pointer": f"/{SCRIPT}", "code": SCRIPT, "says": "what was this?"}]
    root = make_repository(tmp_path / "repository", [told], [front])
    html = page_of(root, capsys, tmp_path)
    assert "<script" not in html and "alert" in html
    tree = html5lib.HTMLParser(strict=True, namespaceHTMLElements=False).parse(html)
    assert [element.tag for element in tree.iter() if element.tag == "script"] == []
    assert "\x1b" not in reported(root, capsys, "wren-1")


def test_json_is_json_and_has_every_part(root, capsys):
    found = json.loads(reported(root, capsys, "wren-1", "--json"))
    assert found["format"] == "report/0.1.0" and found["submission"]["id"] == "wren-1"
    assert {"headline", "figures", "settle", "curves", "start", "guesses", "reach", "limits", "among", "answer"} <= found.keys()
    assert [len(r["repeats"]) for curve in found["curves"] for r in curve["readings"]] == [2] * 20


def test_a_simulated_submission_is_marked_so_everywhere(capsys, tmp_path):
    root = make_repository(tmp_path / "repository", [more_runs() | {"origin": "simulated", "blades": [{"key": "wren.galley"}]}])
    assert reported(root, capsys, "wren-1").startswith(Reason("report.simulated"))
    assert page_of(root, capsys, tmp_path).count("imulated") >= 4


def test_a_submission_without_anything_to_compare_says_so(capsys, tmp_path):
    alone = submission({"/preparations/1/sharpener": "wren"})
    root = make_repository(tmp_path / "repository", [alone], [protocol({"/endpoints": [endpoint()]})])
    assert Reason("report.nothing_compared") in " ".join(reported(root, capsys, "wren-1").split())
    html5lib.HTMLParser(strict=True).parse(page_of(root, capsys, tmp_path))
