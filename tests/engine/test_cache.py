"""What is kept is what was computed, or nothing: damage and strangers' entries are seen, killed builds keep what was done."""

import os
import pickle
import random
import signal
import sqlite3
import subprocess
import sys
from contextlib import closing
from pathlib import Path

import numpy as np
import pytest

from edgehold.engine import cache as module
from edgehold.engine import tasks
from edgehold.engine.cache import FILE
from edgehold.engine.program import COMPUTING, _sources
from edgehold.engine.tasks import WORTH, each, kept_as, kept_in, kept_in_parts, side_by_side
from edgehold.words import code_of
from tests.imports import imports, part_of

from .test_tasks import two  # noqa: F401

CALLS = []
MUCH = random.Random(1).randbytes(10_000)  # cannot be made any shorter


def halved(x, more):
    CALLS.append(x)
    return {"half": np.asarray(x) / 2, "more": more}


def asked(folder, numbers=(1, 2, 3), tell=lambda _: None, more="a"):
    """The results, and which of them were computed."""
    CALLS.clear()
    with kept_in(folder, tell), side_by_side(1):
        found = each(halved, [(x, more) for x in numbers], [1] * len(numbers))
    assert [one["half"] for one in found] == [x / 2 for x in numbers]
    return list(CALLS)


def test_only_what_was_not_met_before_is_computed(tmp_path):
    assert asked(tmp_path) == [1, 2, 3]
    assert asked(tmp_path) == []
    assert asked(tmp_path, (3, 4, 1)) == [4]
    assert asked(tmp_path, more="b") == [1, 2, 3]


def test_what_takes_more_to_say_than_arguments_is_kept_by_what_decides_it(tmp_path):
    """Of two functions, of two decisions and of two programs, each has its own."""
    computed = []

    def made(function, *decided):
        with kept_in(tmp_path, print):
            return kept_as(function, decided, lambda: computed.append(decided) or {"of": decided})

    for _ in range(2):
        assert made(halved, 1, "a") == {"of": (1, "a")}
    assert made(halved, 1, "b") == {"of": (1, "b")} and made(quarter, 1, "a") == {"of": (1, "a")}
    assert computed == [(1, "a"), (1, "b"), (1, "a")]
    assert kept_as(halved, (1,), lambda: 7) == 7, "without a cache"


def test_without_a_cache_nothing_is_kept(tmp_path):
    for _ in range(2):
        CALLS.clear()
        with side_by_side(1):
            each(halved, [(1, "")], [1])
        assert CALLS == [1]


def test_other_code_computes_anew(tmp_path, monkeypatch):
    asked(tmp_path)
    monkeypatch.setattr(module, "made_by", lambda _: b"other code")
    assert asked(tmp_path) == [1, 2, 3]


def test_what_computes_is_hashed_whole():
    """Whatever a stage up to pooling imports lies in what is hashed, and its data too."""
    graph = imports()
    stages = {f"edgehold.{name}" for name in COMPUTING}
    for name, others in graph.items():
        if part_of(name) in stages:
            assert {part_of(other) for other in others} - {"edgehold"} <= stages, name
    hashed = {name for name, _ in _sources(COMPUTING)}
    assert {"errors.py", "engine/tasks.py", "numerics/attempt.py", "words/catalogue/numerics.json"} <= hashed


@pytest.mark.parametrize("damage", ["one byte", "cut short", "empty", "another entry's", "no bytes"])
def test_a_damaged_entry_is_computed_again_and_said_in_one_line(tmp_path, damage):
    asked(tmp_path)
    with closing(sqlite3.connect(tmp_path / FILE, isolation_level=None)) as file:
        (key, sealed), (_, other) = file.execute("SELECT key, sealed FROM entries LIMIT 2").fetchall()
        place = len(sealed) - 20  # in the number itself
        spoiled = {
            "one byte": sealed[:place] + bytes([sealed[place] ^ 1]) + sealed[place + 1 :],
            "cut short": sealed[:-3],
            "empty": b"",
            "another entry's": other,
            "no bytes": "text",
        }
        file.execute("UPDATE entries SET sealed = ? WHERE key = ?", (spoiled[damage], key))
    told = []
    assert len(asked(tmp_path, tell=told.append)) == 1
    assert [code_of(one) for one in told] == ["cache.damaged"]
    assert asked(tmp_path, tell=told.append) == [] and len(told) == 1


@pytest.mark.parametrize("damage", ["no database", "empty", "torn", "another table", "a page of zeros"])
def test_a_damaged_file_is_begun_anew(tmp_path, damage):
    asked(tmp_path, range(300))
    file = tmp_path / FILE
    whole = file.read_bytes()
    if damage == "another table":
        file.unlink()
        with closing(sqlite3.connect(file)) as made:
            made.execute("CREATE TABLE entries (other)")
            made.commit()
    else:
        size = 4096
        middle = len(whole) // size // 2 * size
        file.write_bytes(
            {
                "no database": b"x" * 5000,
                "empty": b"",
                "torn": whole[: len(whole) // 2],
                "a page of zeros": whole[:middle] + bytes(size) + whole[middle + size :],
            }[damage]
        )
    asked(tmp_path, range(300))
    asked(tmp_path, range(300))
    assert asked(tmp_path, range(300)) == []


class Trap:
    def __reduce__(self):
        return (os.mkdir, (str(self.folder),))


def test_what_somebody_else_put_there_is_not_read(tmp_path, monkeypatch):
    """A repository may bring a cache of its own making, with the right keys: nothing of it runs."""
    trap = Trap()
    trap.folder = tmp_path / "sprung"
    asked(tmp_path)
    with closing(sqlite3.connect(tmp_path / FILE, isolation_level=None)) as file:
        for (key,) in file.execute("SELECT key FROM entries").fetchall():
            own = module.Cache(tmp_path, b"a key of their own".ljust(module.SEAL), print)._seal(key, pickle.dumps(trap))
            file.execute("UPDATE entries SET sealed = ? WHERE key = ?", (own + pickle.dumps(trap), key))
    assert asked(tmp_path) == [1, 2, 3]
    assert not trap.folder.exists()


def test_the_key_is_beside_the_program_and_nobody_elses_to_read(tmp_path, monkeypatch):
    monkeypatch.setattr(module, "KEY_FILE", tmp_path / "key")
    asked(tmp_path / "cache")
    assert (tmp_path / "key").stat().st_mode & 0o077 == 0
    (tmp_path / "key").unlink()
    assert asked(tmp_path / "cache") == [1, 2, 3]


def test_where_nothing_can_be_kept_everything_is_computed(tmp_path, monkeypatch):
    (tmp_path / "file").touch()
    assert asked(tmp_path / "file") == [1, 2, 3] == asked(tmp_path / "file")
    monkeypatch.setattr(module, "KEY_FILE", tmp_path / "none" / "key")
    assert asked(tmp_path) == [1, 2, 3] == asked(tmp_path)


def test_what_is_too_large_is_computed_every_time_and_harms_nothing(tmp_path, monkeypatch):
    asked(tmp_path)
    monkeypatch.setattr(module, "LARGEST_ENTRY", 5_000)
    for _ in range(2):
        assert asked(tmp_path, (1, 2), more=MUCH) == [1, 2]
    assert asked(tmp_path) == []


def test_what_was_not_used_for_longest_goes_first_and_nothing_of_this_build(tmp_path, monkeypatch):
    for number in range(5):
        asked(tmp_path, (number,), more=MUCH)
    monkeypatch.setattr(module, "LARGEST", 35_000)
    asked(tmp_path, (1, 5), more=MUCH)
    assert asked(tmp_path, (4, 1, 5), more=MUCH) == []
    assert asked(tmp_path, (0, 2), more=MUCH) == [0, 2]
    monkeypatch.setattr(module, "LARGEST", 1)
    asked(tmp_path, (7, 8), more=MUCH)
    assert asked(tmp_path, (7, 8), more=MUCH) == []


def in_parts(folder, compute, tell=lambda _: None):
    """A result that is kept in parts, and how many bytes the cache then takes."""
    with kept_in(folder, tell):
        found = kept_in_parts(halved, (len(compute()),), compute)
    with closing(sqlite3.connect(folder / FILE)) as file:
        ((taken,),) = file.execute("SELECT sum(size) FROM entries").fetchall()
    return found, taken


def test_a_long_text_is_kept_once_in_however_many_results_it_stands(tmp_path):
    texts = [MUCH.hex() + str(number) for number in range(3)]
    first, taken = in_parts(tmp_path, lambda: {"a": [texts[0], MUCH, "short"]})
    again, more = in_parts(tmp_path, lambda: {"a": (texts[0],), "b": {"c": [MUCH, texts[0]]}})
    assert first == {"a": [texts[0], MUCH, "short"]} and again == {"a": (texts[0],), "b": {"c": [MUCH, texts[0]]}}
    assert more - taken < 1_000 < len(MUCH)
    other, most = in_parts(tmp_path, lambda: [*texts, 1, MUCH.hex()[:1999] + "\udcff\0é"])
    assert other[:2] == texts[:2] and len(other) == 5 and most - more > len(MUCH)


@pytest.mark.parametrize("gone", [True, False], ids=["gone", "damaged"])
def test_a_result_of_which_a_part_is_gone_or_damaged_is_computed_again_with_that_part(tmp_path, gone):
    computed, told = [], []

    def compute():
        computed.append(1)
        return [MUCH, MUCH.hex(), 1]

    with kept_in(tmp_path, print):
        kept_in_parts(halved, (), compute)
    with closing(sqlite3.connect(tmp_path / FILE, isolation_level=None)) as file:
        ((key,),) = file.execute("SELECT key FROM entries ORDER BY size DESC LIMIT 1").fetchall()
        file.execute("DELETE FROM entries WHERE key = ?" if gone else "UPDATE entries SET sealed = zeroblob(9) WHERE key = ?", (key,))
    for times in (2, 2):
        with kept_in(tmp_path, told.append):
            assert kept_in_parts(halved, (), compute) == [MUCH, MUCH.hex(), 1]
        assert len(computed) == times
    assert [code_of(one) for one in told] == [] if gone else ["cache.damaged"]


def test_what_can_be_made_shorter_is_kept_so(tmp_path):
    asked(tmp_path, (1,), more="The same again. " * 10_000)
    assert (tmp_path / FILE).stat().st_size < 100_000
    assert asked(tmp_path, (1,), more="The same again. " * 10_000) == []


KILLED = """
import os, signal, sys
from pathlib import Path
from edgehold.engine.tasks import kept_in
from edgehold.engine.tasks import each, side_by_side
def part(x):
    if x == 5:
        os.kill(os.getpid(), signal.SIGKILL)
    return x
part.__module__ = "made_up"
with kept_in(Path(sys.argv[1]), print), side_by_side(1):
    each(part, [(x,) for x in range(9)], [1] * 9)
"""


def test_a_killed_build_keeps_what_it_had_finished(tmp_path):
    ended = subprocess.run([sys.executable, "-c", KILLED, tmp_path], env=os.environ | {"PYTHONPATH": str(Path(__file__).parents[2])})
    assert ended.returncode == -signal.SIGKILL
    with closing(sqlite3.connect(tmp_path / FILE)) as file:
        assert file.execute("SELECT count(*) FROM entries").fetchall() == [(5,)]
        assert file.execute("PRAGMA integrity_check").fetchall() == [("ok",)]


def quarter(x):
    return x / 4, os.getpid()


def test_processes_compute_what_is_missing_and_nothing_starts_where_nothing_is(tmp_path, two, monkeypatch):  # noqa: F811
    for expected in (True, False):
        with kept_in(tmp_path, print), side_by_side(WORTH) as begin:
            found = begin(each, quarter, [(x,) for x in range(4)], [1] * 4)()
            assert bool(tasks._executors[-1]._hands) is expected
        assert [value for value, _ in found] == [0, 0.25, 0.5, 0.75] and os.getpid() not in {by for _, by in found}
