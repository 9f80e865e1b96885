"""Green means that it builds: what is proposed is made into pages and pooled in a process of its own, and what fails is a finding."""

import json
import os
import sys
import time

import pytest

from edgehold import trial
from edgehold.cli import ERRORS_FOUND, FINE, main
from edgehold.records import load_repository
from edgehold.request import tried
from edgehold.trial import Limits, laid_out, pooled
from tests.records.builder import BODY, TODAY, protocol, second, submission, write_protocol, write_submission
from tests.words.says import says

from .requests import BASE, checked, commit, make_base

DEEP = "".join("    " * level + "- a\n" for level in range(300))
BRACKETS = "[" * 200_000
MEANT = "protocols/other-rope/1.0.0.md"


@pytest.fixture
def root(tmp_path):
    return make_base(tmp_path / "repository", submissions=[submission()])


TOO_MUCH = [DEEP, BRACKETS, "[a](" * 2_000, "<a " * 500, "> " * 20 + "a\n", "1. " * 40, "## a\n\n" * 600]


@pytest.mark.parametrize("text", TOO_MUCH, ids=lambda text: text[:6])
def test_a_text_that_stopped_every_publication_is_a_finding_with_its_place(root, text, capsys):
    write_protocol(root, protocol({"/id": "other-rope"}), body=f"{BODY}\n{text}\n")
    found = [f for f in load_repository(root, today=TODAY).findings if f.code == "body-beyond-limits"]
    assert found and {f.file for f in found} == {MEANT} and all(f.line > 20 and f.severity == "error" for f in found)
    assert main(["check", "--root", str(root), str(root / MEANT)]) == ERRORS_FOUND
    assert "body-beyond-limits" in capsys.readouterr().out


@pytest.mark.parametrize("text", ["<script>a()</script>", "Write <b>bold</b>.", "<!-- hidden -->", '<img src="x">', "an <owner> of it"])
def test_a_tag_is_a_finding(root, text):
    write_protocol(root, protocol({"/id": "other-rope"}), body=f"{BODY}\n{text}\n")
    assert [(f.code, f.file) for f in load_repository(root, today=TODAY).findings if f.code == "raw-html"] == [("raw-html", MEANT)]


@pytest.mark.parametrize(
    "text", ["below <5 N and > 3", "a < b", "<https://example.org/a>", "`<owner>.<name>`", "    <b>code</b>", "x <y@example.org>"]
)
def test_what_only_looks_like_one_is_none(root, text):
    write_protocol(root, protocol({"/id": "other-rope"}), body=f"{BODY}\n{text}\n")
    assert [f.code for f in load_repository(root, today=TODAY).findings if f.code in ("raw-html", "body-beyond-limits")] == []


def planted(monkeypatch, code):
    """Let the process do something else than its work."""
    begun = f"import sys\nfrom edgehold import trial_process as t\n{code}\nsys.exit(t.main())"
    monkeypatch.setattr(trial, "_command", lambda: [sys.executable, "-c", begun])


SLOW = "import time\nt._lay_out = lambda methods: (print(methods[0]['path'], flush=True), time.sleep(60))"
BUSY = "def spin(methods):\n    print(methods[0]['path'], flush=True)\n    while True: pass\nt._lay_out = spin"
LARGE = "t._lay_out = lambda methods: (print(methods[0]['path'], flush=True), bytearray(10**10))"
DEEPER = "t._lay_out = lambda methods: (print(methods[0]['path'], flush=True), deep(0))\ndef deep(n): return deep(n + 1)"
KILLED = "import os, signal\nt._lay_out = lambda methods: (print(methods[0]['path'], flush=True), os.kill(os.getpid(), signal.SIGKILL))"
CHILD = "from subprocess import run\nt._lay_out = lambda methods: (print(methods[0]['path'], flush=True), run(['sleep', '60']))"


@pytest.mark.skipif(os.name != "posix", reason="limits as on Unix")
@pytest.mark.parametrize(
    ("code", "why"),
    [
        (SLOW, "bodies.too_long"),
        (BUSY, "bodies.too_long"),
        (CHILD, "bodies.too_long"),
        (LARGE, "bodies.too_much"),
        (DEEPER, "bodies.raised"),
        (KILLED, "bodies.ended"),
    ],
    ids=["slow", "busy", "child", "large", "deep", "killed"],
)
def test_whatever_the_process_comes_to_is_told_at_the_file_it_was_at(root, monkeypatch, code, why):
    planted(monkeypatch, code)
    repository, before = load_repository(root, today=TODAY), time.monotonic()
    (path,) = {loaded.path for loaded in repository.protocols.values()}
    (finding,) = laid_out(repository, [path], Limits(5, 2_000))
    assert (finding.file, finding.code, finding.severity) == (path, "not-laid-out", "error")
    assert says(finding.message, why)
    assert time.monotonic() - before < 20


def test_one_that_fails_does_not_hide_the_next(root, monkeypatch):
    write_protocol(root, protocol({"/id": "other-rope"}))
    write_protocol(root, protocol({"/id": "third-rope"}))
    planted(
        monkeypatch,
        "real = t._lay_out\ndef some(methods):\n    for m in methods:\n        print(m['path'], flush=True)\n"
        "        if 'third' not in m['path']: raise ValueError('no')\nt._lay_out = some",
    )
    repository = load_repository(root, today=TODAY)
    paths = {loaded.path for loaded in repository.protocols.values()}
    assert {f.file for f in laid_out(repository, paths)} == {path for path in paths if "third" not in path}


def test_sound_methods_are_laid_out_in_silence(root):
    repository = load_repository(root, today=TODAY)
    assert laid_out(repository, {loaded.path for loaded in repository.protocols.values()}) == ()
    assert laid_out(repository, ()) == ()


def test_a_request_is_pooled_where_that_is_asked_for(root):
    write_submission(root, second())
    found = checked(root)
    assert tried(found, pool=True).findings == found.findings
    paths = [path for path in found.touched if path.startswith("submissions/")]
    assert pooled(root, found.repository, paths, Limits(600, 8_000)) == ()


@pytest.mark.skipif(os.name != "posix", reason="limits as on Unix")
def test_a_proposal_that_cannot_be_pooled_is_red(root, monkeypatch, capsys):
    write_submission(root, second())
    commit(root)
    planted(monkeypatch, "def fails(*_): raise ArithmeticError('numbers that nobody thought of')\nt._pool = fails")
    assert main(["check", "--root", str(root), "--against", BASE, "--pool", "--json"]) == ERRORS_FOUND
    told = json.loads(capsys.readouterr().out)
    (finding,) = [f for f in told["findings"] if f["code"] == "not-pooled"]
    assert "numbers that nobody thought of" in finding["message"] and finding["file"].startswith("submissions/measured/")
    assert main(["check", "--root", str(root), "--against", BASE]) == FINE


def test_pooling_without_a_base_is_misuse(root):
    assert main(["check", "--root", str(root), "--pool"]) == 2
