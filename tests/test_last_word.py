"""Whatever somebody hands the command line, the last word is a sentence and a status, never a traceback."""

import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from edgehold import cli
from edgehold.cli import FINE, MISUSE, main
from edgehold.errors import InputError
from edgehold.last_word import TRACEBACK
from tests.records.builder import make_repository, submission

DEEP = "[" * 200_000


@pytest.fixture(scope="module")
def place(tmp_path_factory):
    """A small repository, and beside it whatever no command can use."""
    folder = tmp_path_factory.mktemp("place")
    make_repository(folder / "repository", [submission()])
    (folder / "folder").mkdir()
    (folder / "deep.json").write_text(DEEP, encoding="utf-8")
    (folder / "deep.yaml").write_text(DEEP, encoding="utf-8")
    (folder / "bytes").write_bytes(bytes(range(256)) * 40)
    (folder / "empty").write_bytes(b"")
    if hasattr(os, "mkfifo"):
        os.mkfifo(folder / "pipe")
    return folder


@pytest.mark.parametrize(
    "error",
    [
        InputError("got this, wanted that"),
        OSError(28, "No space left on device"),
        PermissionError(13, "Permission denied", "some/file\x1b[31m"),
        UnicodeEncodeError("ascii", "×", 0, 1, "ordinal not in range"),
        UnicodeDecodeError("utf-8", b"\xff", 0, 1, "invalid start byte"),
        RecursionError("maximum recursion depth exceeded"),
        MemoryError(),
        KeyboardInterrupt(),
        subprocess.TimeoutExpired("git", 3),
        ValueError("a fault\nof two lines"),
    ],
    ids=lambda error: type(error).__name__,
)
def test_every_error_ends_in_one_sentence(error, monkeypatch, capsys):
    def fails(_):
        raise error

    monkeypatch.delenv(TRACEBACK, raising=False)
    monkeypatch.setattr(cli, "_check", fails)
    assert main(["check"]) == MISUSE
    said = capsys.readouterr()
    assert said.out == "" and said.err.startswith("edgehold: ") and said.err.count("\n") == 1
    assert "Traceback" not in said.err and "\x1b" not in said.err


def test_a_fault_of_the_program_shows_where_it_arose_to_whoever_asks(monkeypatch):
    def fails(_):
        raise ZeroDivisionError

    monkeypatch.setattr(cli, "_check", fails)
    monkeypatch.setenv(TRACEBACK, "1")
    with pytest.raises(ZeroDivisionError):
        main(["check"])


ID = "wren-1"
BAD = [
    ["check", "--root", "{}/pipe"],
    ["check", "--root", "{}/empty"],
    ["check", "{}/folder"],
    ["check", "a\0b"],
    ["check", "--against", "HEAD"],
    ["check", "--against", "--upload-pack=x"],
    ["report", ID, "--table", "/dev/zero"],
    ["report", ID, "--table", "{}/pipe"],
    ["report", ID, "--table", "{}/folder"],
    ["report", ID, "--table", "{}/deep.json"],
    ["report", ID, "--table", "{}/bytes"],
    ["report", ID, "--table", "{}/none"],
    ["report", ID, "--html", "{}/folder"],
    ["report", ID, "--html", "{}/pipe"],
    ["report", ID, "--html", "{}/none/page.html"],
    ["report", ID, "--pool", "{}/pipe"],
    ["report", ID, "--cuts-a-week", "nan"],
    ["report", "{}/pipe"],
    ["report", "{}/folder"],
    ["report", "/dev/zero"],
    ["report", ""],
    ["report", "x" * 5_000],
    ["intake", "{}/pipe"],
    ["intake", "{}/folder"],
    ["intake", "/dev/zero"],
    ["intake", "{}/none"],
    ["intake", "{}/bytes", "--plan", "{}/pipe"],
    ["correct", ID, "--set", "/notes", DEEP, "--why", "x", "--by", "wren"],
    ["correct", ID, "--set", "/runs/99999999999999999999", "1", "--why", "x", "--by", "wren"],
    ["correct", ID, "--set", "/notes", "x", "--why", "x", "--by", "wren", "--month", "2026-13"],
    ["retract", ID, "--why", "\udcff", "--by", "wren"],
    ["retract", ID, "--why", "x", "--by", "../wren"],
    ["draft", "protocol", "own", "--answers", "{}/pipe"],
    ["draft", "protocol", "own", "--answers", "{}/deep.yaml"],
    ["draft", "protocol", "own", "--answers", "{}/bytes"],
    ["draft", "protocol", "../own"],
    ["exchange", "--count", "1000000000000"],
    ["exchange", "--count", "none"],
    ["demo", "--seed", "-1"],
    ["deposit", "{}/none/file.zip"],
    ["deposit", "{}/folder"],
    ["plan", "none"],
]


@pytest.mark.parametrize("words", BAD, ids=lambda words: " ".join(words)[:60].replace("\0", "0"))
def test_no_bad_word_or_file_brings_a_traceback(place, words, capsys):
    """The tests' own setting lets every fault of the program through: one that this list meets is an exception here."""
    given = [word.replace("{}", str(place)) for word in words]
    before = time.monotonic()
    try:
        status = main([*given, *(() if "--root" in given else ("--root", str(place / "repository")))])
    except SystemExit as left:  # argparse has said what it wanted
        status = int(left.code or 0)
    said = capsys.readouterr().err
    assert status in (1, MISUSE) and said.strip() and "fault of the program" not in said
    assert time.monotonic() - before < 20


PLAN = [
    "plan", "small-rope", "--blade", "wren.galley", "--sharpener", "wren", "--sharpener", "tern", "--tester", "fennel", "--coder", "moss",
    "--drawn", "2", "--minutes", "900",
]  # fmt: skip


NONSENSE = """
--metres inf; --metres nan; --metres -1; --metres 1e300; --minutes inf; --minutes 0; --minutes nan; --evenings 1000000000; --evenings 1e9;
--evenings 0; --hand 1000000; --runs 0; --runs 501; --seed -1; --seed 1e3; --seed 9007199254740992; --id ../x; --id A; --id=;
--month 2026-13; --month 2026-5; --month=; --drawn 1e8; --drawn 100000000; --drawn 0; --angle 90; --thickness inf; --steel-mm nan;
--mm-per-cut inf; --last inf; --worthwhile inf; --worthwhile 1; --tables 1; --tables 7; --tables nan; --table /dev/zero;
--sealed --by ../wren; --output /dev/zero; --sheets /dev/null
"""


@pytest.mark.parametrize("words", [words.strip() for words in NONSENSE.split(";")])
def test_a_plan_is_not_made_of_nonsense(place, words, capsys, monkeypatch):
    monkeypatch.chdir(place)
    before, lain = time.monotonic(), sorted(place.rglob("*"))
    try:
        status = main([*PLAN, "--root", str(place / "repository"), *words.split()])
    except SystemExit as left:
        status = int(left.code or 0)
    said = capsys.readouterr().err
    assert status == MISUSE and any(told in said for told in ("got ", "is a device", "cannot be read")), said
    assert time.monotonic() - before < 10
    assert sorted(place.rglob("*")) == lain


def test_the_same_plan_without_nonsense_is_made(place, capsys):
    assert main([*PLAN, "--dry", "--root", str(place / "repository")]) == FINE, capsys.readouterr().err


def run(words, *, setting="", **more):
    kept = {name: value for name, value in os.environ.items() if name != TRACEBACK}
    return subprocess.run([sys.executable, "-m", "edgehold", *words], env=kept | {"LC_ALL": setting or "C.UTF-8"}, timeout=60, **more)


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="a file that is always full")
def test_what_cannot_be_printed_is_told(place):
    with open("/dev/full", "w") as full:
        told = run(["check", "--root", str(place / "repository")], stdout=full, stderr=subprocess.PIPE)
    assert told.returncode == MISUSE and told.stderr == b"edgehold: the system says: No space left on device\n"


@pytest.mark.skipif(os.name != "posix", reason="pipes as on Unix")
def test_a_reader_who_has_gone_is_no_error(place):
    reading, writing = os.pipe()
    os.close(reading)
    told = run(["check", "--root", str(place / "repository")], stdout=writing, stderr=subprocess.PIPE)
    os.close(writing)
    assert (told.returncode, told.stderr) == (FINE, b"")


def test_a_narrow_encoding_gets_escapes(place):
    told = run(["report", ID, "--root", str(place / "repository")], setting="C.UTF-8", capture_output=True)
    os.environ["PYTHONIOENCODING"] = "ascii"
    try:
        narrow = run(["report", ID, "--root", str(place / "repository")], capture_output=True)
    finally:
        del os.environ["PYTHONIOENCODING"]
    assert told.returncode == narrow.returncode == FINE and narrow.stderr == told.stderr
    assert told.stdout.decode().encode("ascii", "backslashreplace") == narrow.stdout


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="signals as on Unix")
def test_whoever_stops_it_gets_a_sentence(place):
    waiting = """
import signal, sys, time
signal.signal(signal.SIGINT, signal.default_int_handler)  # a shell in the background has it ignored
from edgehold import cli
cli._check = lambda _: (print("at work", flush=True), time.sleep(30))
sys.exit(cli.main(["check"]))
"""
    kept = {name: value for name, value in os.environ.items() if name != TRACEBACK}
    process = subprocess.Popen([sys.executable, "-c", waiting], stdout=subprocess.PIPE, stderr=subprocess.PIPE, env=kept)
    assert process.stdout is not None and process.stdout.readline() == b"at work\n"
    process.send_signal(signal.SIGINT)
    _, said = process.communicate(timeout=20)
    assert (process.returncode, said) == (MISUSE, b"edgehold: stopped\n")
