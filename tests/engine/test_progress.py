"""What takes long says on a terminal how far it is and how long it will take; nothing else is ever told."""

import io
import os
import pty
import subprocess
import sys
from pathlib import Path

import pytest

from edgehold.engine.progress import CLEARED, begun, followed, line_cleared, told_on
from edgehold.engine.tasks import each

ROOT = Path(__file__).parents[2]


class Terminal(io.StringIO):
    """A stream that says it is one."""

    def isatty(self) -> bool:
        return True


class Clock:
    """Time that a test moves."""

    now = 0.0

    def __call__(self) -> float:
        return self.now


def lines(stream: io.StringIO) -> list[str]:
    return stream.getvalue().split(CLEARED)[1:]


def test_nothing_is_said_of_what_is_short_and_then_one_line_with_the_time_left():
    terminal, clock = Terminal(), Clock()
    with told_on(terminal, clock):
        for _ in followed(range(1_280), "progress.reading"):
            clock.now += 1 / 64
    said = lines(terminal)
    assert said[0] == "edgehold: reading submissions: 128 of 1,280, about 18 s left"  # of 20 s, 2 are gone
    assert said[-1] == "" and "\n" not in terminal.getvalue()
    assert 80 < len(said) < 92  # five times a second, and taken away in the end
    short = Terminal()
    with told_on(short, clock):
        for _ in followed(range(100), "progress.reading"):
            clock.now += 0.01
    assert short.getvalue() == ""


def test_parts_of_several_calls_are_one_sum_weighed_by_their_sizes():
    terminal, clock = Terminal(), Clock()
    with told_on(terminal, clock), begun("progress.parts", [300.0]) as first, begun("progress.parts", [50.0, 50.0]) as second:
        clock.now = 3
        second(50.0)
        assert lines(terminal)[-1] == "edgehold: computing, by parts: 1 of 3, about 21 s left"
        clock.now = 200
        first(300.0)
        assert lines(terminal)[-1] == "edgehold: computing, by parts: 2 of 3, about 29 s left"
        line_cleared()
        assert lines(terminal)[-1] == ""


def test_what_is_given_up_leaves_no_line():
    terminal, clock = Terminal(), Clock()
    with pytest.raises(ZeroDivisionError), told_on(terminal, clock):
        for _ in followed(range(10), "progress.rows"):
            clock.now += 100
            1 / (clock.now < 300)
    assert (
        lines(terminal)[-2:] == ["edgehold: reading lives and levels off runs: 2 of 10, about 20 min left", ""] or lines(terminal)[-1] == ""
    )


def test_a_file_is_told_nothing_and_what_is_done_is_the_same():
    stream = io.StringIO()
    with told_on(stream):
        assert list(followed([1, 2, 3], "progress.reading")) == [1, 2, 3]
        assert each(abs, [(-1,), (2,)], [0.0, 5.0]) == [1, 2]
    assert stream.getvalue() == ""


def test_the_check_writes_its_answer_where_programs_read_and_the_line_where_people_look():
    slow = (
        "import sys, time\n"
        "import edgehold.engine.progress as p\n"
        "p.SILENT = 0.0\n"
        "from edgehold.cli import main\n"
        "sys.exit(main(['check', '--json', sys.argv[1], sys.argv[2]]))\n"
    )
    files = sorted((ROOT / "submissions/simulated/strop-or-not-paper").glob("*.json"))[:2]
    ours, theirs = pty.openpty()
    ran = subprocess.run([sys.executable, "-c", slow, *map(str, files)], cwd=ROOT, stdout=subprocess.PIPE, stderr=theirs, check=True)
    os.close(theirs)
    seen = os.read(ours, 65536).decode()
    os.close(ours)
    assert "reading submissions: 1 of" in seen and seen.endswith("\x1b[K")
    assert ran.stdout.startswith(b"{") and b"\x1b" not in ran.stdout
