"""A slice of the attack in every test run, and that it sees what gives way: planted faults have to be counted."""

import random
import re
from collections import Counter

import pytest

from edgehold.errors import InputError
from tests.fuzz import readers as fuzz
from tests.fuzz.readers import LOST, OVER_MEMORY, OVER_TIME, TRACEBACK, Complaint

from . import acts, attack, moves, site, table
from .attack import KINDS, batches, drawn
from .cases import COLUMNS, SCRIPT, UNSAID, Row, told, watch
from .kept import KEPT, ROOT

SLICE = {
    "files of a repository": 60,
    "sheets, CSV and XLSX": 150,
    "finished files, blocks of letters": 150,
    "tables of repeatability, results": 200,
    "answers for a draft": 80,
    "bodies and drawings": 250,
    "whole commands": 120,
    "requests: in whose name": 16,
    "requests: floods of objections": 8,
}
FIRST = 1_000_000_000  # of the seeds of the slice, which the whole attack does not reach


@pytest.mark.parametrize("name", SLICE)
def test_nothing_gives_way(name):
    found = drawn(name, FIRST, SLICE[name])
    assert len(found) == SLICE[name]
    assert not [case for case in found if case.complaint], "\n\n".join(told(case for case in found if case.complaint))


def test_a_drawn_repository_that_the_check_passes_becomes_a_site(tmp_path):
    root = site.hostile_repository(tmp_path / "drawn", random.Random(FIRST), texts=1)
    built = site._tried(root, FIRST)
    assert not built.complaint, built.complaint
    assert len(list((root / "build" / "site").rglob("*.html"))) > 50


# --- what is planted is seen


def raises(error):
    raise error


@pytest.mark.parametrize(
    ("call", "kind"),
    [
        (lambda: raises(KeyError("x")), TRACEBACK),
        (lambda: raises(RecursionError()), TRACEBACK),
        (lambda: raises(InputError("got this, wanted that")), None),
        (lambda: raises(InputError("")), TRACEBACK),
        (lambda: Complaint(LOST, "gone"), LOST),
        (lambda: sum(range(10**6)) and None, OVER_TIME),
        (lambda: None, None),
    ],
)
def test_a_case_is_judged_by_how_it_ends(call, kind, monkeypatch):
    monkeypatch.setattr(fuzz, "MOST_SECONDS", 0.005)
    case = watch("planted", call)
    assert (case.complaint.kind if case.complaint else None) == kind


def test_memory_that_a_case_takes_is_seen(monkeypatch):
    held = []
    monkeypatch.setattr(fuzz, "MOST_BYTES", 10**6)
    case = watch("planted", lambda: held.append(bytearray(b"x") * (fuzz.peak_bytes() + 10**7)) or None)
    assert case.complaint.kind == OVER_MEMORY


def test_a_reader_that_loses_a_submission_in_silence_is_seen(tmp_path, monkeypatch):
    real = fuzz.load_repository

    def forgetful(root, **more):
        found = real(root, **more)
        return type(found)(**{**vars(found), "submissions": found.submissions[1:]})

    root = fuzz.repository(tmp_path)
    monkeypatch.setattr(fuzz, "load_repository", forgetful)
    good = (root / "protocols/small-rope/events/004-retired.yaml").read_bytes()
    complaint = fuzz.complaint_about(root, "protocols/small-rope/events/004-retired.yaml", good)
    assert complaint.kind == LOST and "absent now" in complaint


def test_the_repository_that_is_damaged_is_sound_and_so_can_be_pooled(tmp_path):
    found = fuzz.load_repository(fuzz.repository(tmp_path), today=fuzz.TODAY)
    assert found.errors == () and {s.record.id for s in (*found.submissions, *found.retracted)} == fuzz.SUBMISSIONS


def test_a_check_that_says_nothing_of_whose_name_it_is_is_seen(tmp_path, monkeypatch):
    class Silent:
        findings = ()

    monkeypatch.setattr(acts, "checked", lambda *_, **__: Silent)
    found = Counter(case.complaint.kind for case in acts.acts(tmp_path, FIRST, 12) if case.complaint)
    assert found[UNSAID] >= 6


def test_a_check_that_takes_every_objection_is_seen(tmp_path, monkeypatch):
    real = acts.checked

    def blind(*words, **more):
        found = real(*words, **more)
        return type("Blind", (), {"findings": (), "repository": found.repository})

    monkeypatch.setattr(acts, "checked", blind)
    found = [case for case in acts.floods(tmp_path, FIRST, 8) if case.complaint]
    assert len(found) >= 2 and {case.complaint.kind for case in found} == {UNSAID}


@pytest.mark.browser
def test_a_script_in_a_page_is_seen(tmp_path):
    page = "<!doctype html><link rel='icon' href='data:,'><title>t</title><h1>t</h1><article><p>t</p>{}</article>"
    (tmp_path / "index.html").write_text(page.format("<script>window.scriptRan = 1</script>"), encoding="utf-8")
    (tmp_path / "other.html").write_text(page.format("<img alt='' src='http://elsewhere.invalid/x.png'>"), encoding="utf-8")
    (tmp_path / "fine.html").write_text(page.format(""), encoding="utf-8")
    kinds = {case.name.split(",")[0]: case.complaint.kind for case in site._visited(tmp_path, 0)}
    assert kinds == {"/": SCRIPT, "/other.html": SCRIPT, "/fine.html": ""}


# --- the table


def test_every_row_names_what_it_watches_and_kept_tests_that_exist():
    assert {column for kind in KINDS.values() for column in kind.watched} == set(COLUMNS)
    assert set(KEPT) <= set(KINDS) and sum(kind.share for kind in KINDS.values()) == pytest.approx(1, abs=0.01)
    for file in (file for files in KEPT.values() for file in files):
        path, _, name = file.partition("::")
        assert f"def {name}" in (ROOT / path).read_text(encoding="utf-8")


def test_as_many_are_drawn_as_are_asked_for_and_no_seed_twice():
    asked = list(batches(100_000, 0))
    assert sum(count for *_, count in asked) == pytest.approx(100_000, abs=50)
    seeds = [seed for _, first, count in asked for seed in range(first, first + count)]
    assert len(seeds) == len(set(seeds))


def test_what_broke_is_counted_in_its_column():
    rows = {"one": Row((TRACEBACK, LOST)), "two": Row((UNSAID,))}
    rows["one"].add([watch("a|b", lambda: raises(KeyError("x"))), watch("fine", lambda: None)])
    rows["two"].add_kept([watch("c", lambda: Complaint(UNSAID, "x"))])
    lines = list(table.counted(rows))
    assert lines[2].startswith("| one | 0 | 2 | 1 | – |") and "| two | 1 | 0 | – |" in lines[3]
    assert re.sub(r"[ *]", "", lines[4]) == "|all|1|2|1|0|0|0|1|0|0|"
    assert "a b" in "\n".join(table.longest(rows))


def test_the_command_fails_where_a_column_is_not_zero(monkeypatch, capsys):
    rows = {"one": Row((TRACEBACK,))}
    monkeypatch.setattr(attack, "rows_of", lambda *_: rows)
    monkeypatch.setattr("sys.argv", ["attack", "--pools", "0", "--inventors", "0", "--processes", "1"])
    assert attack.main() == 0
    rows["one"].add([watch("a", lambda: raises(KeyError("x")))])
    assert attack.main() == 1 and "| one | 0 | 1 | 1 |" in capsys.readouterr().out


def test_invented_files_are_sound_and_move_the_headline_their_way():
    (move,) = moves.moves(1, files=(3,), ratios=(2.0,))
    assert move.before.half < 0.3 and abs(move.before.estimate - moves.TRUE) < 1.5 * move.before.half
    assert move.after.estimate > move.before.estimate and moves.beyond([move]) == 0
    assert list(moves.table([move]))[2].startswith("| 3 | nan | ")


def said(estimate, verdict):
    return moves.Said(estimate, 0.1, verdict)


@pytest.mark.parametrize(
    ("before", "after", "turned", "lost"),
    [
        (said(-0.3, "different, size undecided"), said(-0.4, "worse"), False, False),
        (said(-0.3, "different, size undecided"), said(0.3, "different, size undecided"), True, False),
        (said(-0.3, "worse"), said(0.0, "no difference worth having"), True, False),
        (said(-0.3, "worse"), said(-0.1, "undecided"), False, True),
        (said(-0.1, "undecided"), said(0.4, "better"), False, False),
    ],
)
def test_a_verdict_is_turned_or_lost(before, after, turned, lost):
    move = moves.Move(3, 2.0, before, after)
    assert (move.turned, move.lost) == (turned, lost)
    assert moves.beyond([move]) == (turned or move.halves > moves.MOST[3])
