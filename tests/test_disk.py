"""One reader and one writer: nothing but ordinary files of bounded size comes in, and what goes out is there whole or not at all."""

import os
import shutil
import socket
import stat
import subprocess
import threading
from contextlib import contextmanager
from pathlib import Path

import pytest

from edgehold import disk
from edgehold.disk import names_in, read_file, refuse_unwritable, write_file, write_files, write_folder
from edgehold.errors import FileError
from edgehold.records import load_repository
from tests.records.builder import TODAY, make_repository, second, submission

PACKAGE = Path(disk.__file__).parent
BY_HAND = {
    "disk.py",
    "engine/cache.py",  # the key of its seals, made by itself
    "words/catalogue.py",  # the program's own patterns, which the reader's sentences come from
    "records/registers.py",  # the program's own registers, at import; a repository's go through the reader
    "records/request/union.py",  # into a folder that goes when the check ends
    "results/publish/write.py",  # the lock of a build
    "pages/laying.py",  # into the folder of a build that is switched in when it is whole
}
"""Modules that open files by themselves, and why they may."""


@pytest.fixture
def odd(tmp_path):
    """Things with a file's name that are no file, by what they are called."""
    os.mkfifo(tmp_path / "pipe")
    (tmp_path / "folder").mkdir()
    heard = socket.socket(socket.AF_UNIX)
    heard.bind(str(tmp_path / "socket"))
    yield {"a pipe": tmp_path / "pipe", "a folder": tmp_path / "folder", "a socket": tmp_path / "socket", "a device": Path("/dev/zero")}
    heard.close()


@pytest.mark.skipif(os.name != "posix", reason="pipes and sockets with a file's name")
def test_what_is_no_file_is_told_at_once_and_by_name(odd):
    told = {}

    def read_all():
        for kind, path in odd.items():
            with pytest.raises(FileError) as refused:
                read_file(path)
            told[kind] = str(refused.value)

    reading = threading.Thread(target=read_all, daemon=True)
    reading.start()
    reading.join(5)
    assert {kind: f"{path} is {kind}; wanted an ordinary file" for kind, path in odd.items()} == told


def test_a_file_is_read_to_its_limit_and_not_a_byte_further(tmp_path):
    file = tmp_path / "file"
    file.write_bytes(b"x" * 100)
    assert read_file(file, 100) == b"x" * 100
    with pytest.raises(FileError, match="more than the 99 bytes"):
        read_file(file, 99)
    with pytest.raises(FileError, match=r"cannot be read .No such file"):
        read_file(tmp_path / "none")
    with pytest.raises(FileError, match="null"):
        read_file(Path("a\0b"))


@pytest.mark.skipif(not Path("/proc/self/status").exists(), reason="files that say they are empty and are not")
def test_a_file_that_says_it_is_empty_is_bounded_all_the_same():
    assert b"Name:" in read_file(Path("/proc/self/status"))
    with pytest.raises(FileError, match="more than the 10 bytes"):
        read_file(Path("/proc/self/status"), 10)


def test_a_missing_folder_is_not_an_empty_one(tmp_path):
    assert names_in(tmp_path) == []
    with pytest.raises(FileError, match=r"folder .* cannot be read"):
        names_in(tmp_path / "none")


@contextmanager
def as_somebody_without_rights():
    """Whoever may do everything reads as somebody who may not, for a moment; everything needed was imported before."""
    if not hasattr(os, "seteuid"):
        pytest.skip("rights of files as on Unix")
    mighty = os.geteuid() == 0
    if mighty:
        os.seteuid(65534)
    try:
        yield
    finally:
        if mighty:
            os.seteuid(0)


@pytest.mark.parametrize("rights", [0o000, 0o600, 0o444])
def test_results_in_a_folder_that_cannot_be_read_do_not_vanish_in_silence(tmp_path, rights):
    root = make_repository(tmp_path / "repository", [submission(), second()])
    folder = next((root / "submissions" / "measured").iterdir())
    before = load_repository(root, today=TODAY)
    for path in (*tmp_path.parents, tmp_path):
        path.chmod(path.stat().st_mode | 0o055)
    folder.chmod(rights)
    try:
        with as_somebody_without_rights():
            found = load_repository(root, today=TODAY)
    finally:
        folder.chmod(0o755)
    named = {f.file for f in found.errors if f.code == "cannot-be-opened"}
    assert len(before.submissions) == 2 and not before.errors and not found.submissions
    assert any(file.startswith(folder.relative_to(root).as_posix()) for file in named)


@contextmanager
def full_disk(monkeypatch):
    """Every write reaches the disk's cache and then fails, as on a disk that is full."""

    def no_room(_):
        raise OSError(28, os.strerror(28))

    with monkeypatch.context() as patched:
        patched.setattr(disk.os, "fsync", no_room)
        yield


def everything(folder: Path) -> dict[str, bytes]:
    return {path.relative_to(folder).as_posix(): path.read_bytes() for path in folder.rglob("*") if path.is_file()}


def test_a_full_disk_leaves_what_was_there_and_nothing_else(tmp_path, monkeypatch):
    (tmp_path / "kept").write_bytes(b"as it was")
    (tmp_path / "house").mkdir()
    (tmp_path / "house" / "one").write_bytes(b"as it was")
    before = everything(tmp_path)
    with full_disk(monkeypatch):
        for write in (
            lambda: write_file(tmp_path / "kept", b"other"),
            lambda: write_file(tmp_path / "fresh", b"other", new=True),
            lambda: write_files({tmp_path / "made" / "below" / "a": b"1", tmp_path / "kept": b"2"}, folders=True),
            lambda: write_folder(tmp_path / "house", {"one": b"1", "two": b"2"}),
        ):
            with pytest.raises(FileError, match=r"cannot be written .No space left on device"):
                write()
    assert everything(tmp_path) == before and not (tmp_path / "made").exists()
    write_file(tmp_path / "kept", b"other")
    assert (tmp_path / "kept").read_bytes() == b"other"


@pytest.fixture
def small_disk(tmp_path):
    """A real file system of 64 kB."""
    place = tmp_path / "small"
    place.mkdir()
    mount = shutil.which("mount")
    if mount is None or subprocess.run([mount, "-t", "tmpfs", "-o", "size=64k", "tmpfs", place], capture_output=True).returncode:
        pytest.skip("no file system may be mounted here")
    yield place
    subprocess.run(["umount", place], check=True)


def test_on_a_disk_that_is_really_full_the_old_file_stands(small_disk):
    write_file(small_disk / "kept", b"k" * 30_000)
    for size in (40_000, 10_000_000):
        with pytest.raises(FileError, match="No space left"):
            write_file(small_disk / "kept", b"n" * size)
        with pytest.raises(FileError, match="No space left"):
            write_files({small_disk / "a": b"a" * 10_000, small_disk / "b": b"b" * size}, new=True)
    with pytest.raises(FileError, match="No space left"):
        write_folder(small_disk / "house", {f"{n}": b"n" * 10_000 for n in range(8)})
    assert everything(small_disk) == {"kept": b"k" * 30_000}


def test_a_new_name_is_taken_once_and_all_or_none_are_written(tmp_path):
    write_files({tmp_path / "a": b"1"}, new=True)
    with pytest.raises(FileError, match="a is there already"):
        write_files({tmp_path / "b": b"2", tmp_path / "a": b"2"}, new=True)
    assert everything(tmp_path) == {"a": b"1"}


def test_a_name_that_is_taken_while_the_others_are_switched_in_takes_them_back(tmp_path, monkeypatch):
    real = os.link

    def taken_meanwhile(made, target, **more):
        if target.name == "b":
            target.write_bytes(b"somebody else's")
        real(made, target, **more)

    monkeypatch.setattr(disk.os, "link", taken_meanwhile)
    with pytest.raises(FileError, match="b is there already"):
        write_files({tmp_path / "a": b"1", tmp_path / "b": b"2"}, new=True)
    assert everything(tmp_path) == {"b": b"somebody else's"}


def test_a_file_system_without_second_names_will_do(tmp_path, monkeypatch):
    def cannot(*_, **__):
        raise OSError(95, "Operation not supported")

    monkeypatch.setattr(disk.os, "link", cannot)
    write_file(tmp_path / "a", b"1", new=True)
    with pytest.raises(FileError, match="is there already"):
        write_file(tmp_path / "a", b"2", new=True)
    assert everything(tmp_path) == {"a": b"1"}


@pytest.mark.skipif(os.name != "posix", reason="links and rights as on Unix")
def test_a_link_is_written_through_and_rights_stay(tmp_path):
    (tmp_path / "real").write_bytes(b"old")
    (tmp_path / "real").chmod(0o640)
    (tmp_path / "link").symlink_to("real")
    write_file(tmp_path / "link", b"new")
    assert (tmp_path / "link").is_symlink() and (tmp_path / "real").read_bytes() == b"new"
    assert stat.S_IMODE((tmp_path / "real").stat().st_mode) == 0o640


@pytest.mark.skipif(os.name != "posix", reason="pipes and sockets with a file's name")
def test_nothing_is_written_into_what_is_no_file(odd):
    for kind, path in odd.items():
        with pytest.raises(FileError, match=f"is {kind}; wanted the name of an ordinary file to write"):
            write_file(path, b"")
        with pytest.raises(FileError, match=f"is {kind}"):
            refuse_unwritable(path)
    with pytest.raises(FileError, match="No such file"):
        refuse_unwritable(odd["a folder"] / "none" / "file")


def test_a_folder_is_exchanged_whole_or_not_at_all(tmp_path, monkeypatch):
    write_folder(tmp_path / "house", {"one": b"1", "below/two": b"2"})
    write_folder(tmp_path / "house", {"three": b"3"})
    assert everything(tmp_path) == {"house/three": b"3"}
    real = Path.rename

    def breaks(self, target):
        if self.name == ".house-new":
            raise OSError(5, "Input/output error")
        return real(self, target)

    monkeypatch.setattr(Path, "rename", breaks)
    with pytest.raises(FileError, match="Input/output error"):
        write_folder(tmp_path / "house", {"four": b"4"})
    assert everything(tmp_path) == {"house/three": b"3"}


def test_no_other_module_opens_a_file_by_itself():
    ways = (".read_bytes()", ".read_text(", ".write_bytes(", ".write_text(", ".open(", " open(")
    own = ("_HERE", "files(", "FOLDER", "PAGE.", "README.", "STYLE.", "BASE.", "PROGRAMS_OWN", "NOTEBOOKS")  # files of the program's own
    found = set()
    for path in PACKAGE.rglob("*.py"):
        lines = [line for line in path.read_text(encoding="utf-8").splitlines() if any(way in line for way in ways)]
        if any(not any(one in line for one in own) for line in lines if "def open" not in line and "os.open" not in line):
            found.add(path.relative_to(PACKAGE).as_posix())
    assert found <= BY_HAND | {"results/tables/kit.py", "pages/site.py", "pages/shell.py", "pages/links.py", "archive/build.py"}
