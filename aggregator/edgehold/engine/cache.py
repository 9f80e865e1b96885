"""Results of parts of a build, kept by the hash of everything that decided them, so that only what changed is computed again.

A cache is never a source of truth: without it a build gives the same bytes. It is one SQLite file, written in transactions, so that a
build that is killed keeps what it had finished. Every entry is sealed with a key that lies beside the installed program and not in the
repository, and nothing is read from an entry before its seal holds. An entry that was damaged is therefore computed again, and one
that somebody else put into a repository is so too: entries are pickles, and whoever writes a pickle that is read runs a program. The check
of a request opens no cache at all.
"""

from __future__ import annotations

import contextlib
import hmac
import io
import os
import pickle
import sqlite3
import sys
import time
import zlib
from collections.abc import Callable, Iterator
from hashlib import blake2b
from pathlib import Path
from threading import RLock
from typing import Any

from edgehold.words import Reason

from .digest import SIZE, Digests
from .program import made_by

FILE = "results.sqlite"
KEY_FILE = Path(sys.prefix) / "edgehold-cache.key"
LARGEST = 1_000_000_000  # bytes of entries that are kept; those of the last build are kept whatever they take
LARGEST_ENTRY = 500_000_000  # bytes; the database holds none of a gigabyte
SEAL = 32  # bytes
LONG = 2_000  # bytes or characters from which something is kept by itself, or compressed
TRIED, FASTEST = 16_384, 1  # bytes that are compressed for a trial, and how hard: data change more often than they are read for long
PLAIN, COMPRESSED = b"p", b"z"
_TABLE = "CREATE TABLE IF NOT EXISTS entries (key BLOB PRIMARY KEY, sealed BLOB NOT NULL, size INTEGER NOT NULL, used INTEGER NOT NULL)"


class Cache:
    """What earlier builds computed.

    Parameters
    ----------
    folder : where it is kept.
    secret : the key of its seals.
    tell : told in one line when something in it is damaged.
    """

    def __init__(self, folder: Path, secret: bytes, tell: Callable[[str], None]) -> None:
        self._file, self._secret, self._tell = folder / FILE, secret, tell
        self._lock, self._digests, self._began = RLock(), Digests(), time.time_ns()
        self._damaged = 0
        self._open: sqlite3.Connection | None = None
        self.found = self.computed = 0

    def key(self, function: Callable[..., Any], arguments: tuple[Any, ...]) -> bytes:
        """The hash of a call: the function, its arguments, and what computes."""
        return self._digests.of((made_by(function.__module__), function, arguments))

    def get(self, key: bytes) -> tuple[Any] | None:
        """The result of a call, in a tuple of its own; None where it is not there, or damaged."""
        pickled = self._content(key)
        if pickled is None:
            return None
        try:
            result = _Whole(io.BytesIO(pickled), self._part).load()
        except _PartGone:
            return None
        self.found += 1
        return (result,)

    def put(self, key: bytes, pickled: bytes) -> None:
        """Keep the pickled result of a call; one that is too large is computed every time."""
        self.computed += 1
        self._keep(key, pickled)

    def put_in_parts(self, key: bytes, result: object) -> None:
        """Keep a result so that what is long in it is kept once, in however many results it stands."""
        written = io.BytesIO()
        _InParts(written, self._keep_part).dump(result)
        self.put(key, written.getvalue())

    def _keep_part(self, content: bytes) -> bytes:
        """The key under which a part of a result is kept."""
        key = blake2b(content, key=b"part", digest_size=SIZE).digest()
        if not self._asked("UPDATE entries SET used = ? WHERE key = ? RETURNING 1", (time.time_ns(), key)):
            self._keep(key, content)
        return key

    def _part(self, key: bytes) -> bytes:
        content = self._content(key)
        if content is None:
            raise _PartGone
        return content

    def _content(self, key: bytes) -> bytes | None:
        """What is kept; None where it is not there, or damaged: then it is taken out."""
        row = self._asked("SELECT sealed FROM entries WHERE key = ?", (key,))
        if not row:
            return None
        sealed = row[0][0]
        if not isinstance(sealed, bytes) or not hmac.compare_digest(sealed[:SEAL], self._seal(key, memoryview(sealed)[SEAL:])):
            self._note_damage()
            self._asked("DELETE FROM entries WHERE key = ?", (key,))
            return None
        self._asked("UPDATE entries SET used = ? WHERE key = ?", (time.time_ns(), key))
        return _unpacked(memoryview(sealed)[SEAL:])

    def _keep(self, key: bytes, content: bytes) -> None:
        if len(content) <= LARGEST_ENTRY:
            packed = _packed(content)
            sealed = self._seal(key, packed) + packed
            self._asked("INSERT OR REPLACE INTO entries VALUES (?, ?, ?, ?)", (key, sealed, len(sealed), time.time_ns()))

    def open(self) -> None:
        """Open it; one that is no database any more is begun anew."""
        self._file.parent.mkdir(parents=True, exist_ok=True)
        for last in (False, True):
            try:
                self._open = sqlite3.connect(self._file, timeout=60, isolation_level=None, check_same_thread=False)
                for setting in ("trusted_schema = OFF", "journal_mode = WAL", "synchronous = NORMAL", "auto_vacuum = INCREMENTAL"):
                    self._open.execute(f"PRAGMA {setting}")
                self._open.execute(_TABLE)
                self._open.execute("SELECT key, sealed, size, used FROM entries LIMIT 1").fetchall()
                return
            except sqlite3.DatabaseError:
                self._give_up()
                if last:
                    return
                self._note_damage()
                self._remove()

    def close(self) -> None:
        """Drop what was not used for longest where there is too much, and close."""
        total = self._asked("SELECT coalesce(sum(size), 0) FROM entries")
        over = total[0][0] - LARGEST if total else 0
        if over > 0:
            for key, size in self._asked("SELECT key, size FROM entries WHERE used < ? ORDER BY used", (self._began,)):
                self._asked("DELETE FROM entries WHERE key = ?", (key,))
                over -= size
                if over <= 0:
                    break
            self._asked("PRAGMA incremental_vacuum")
        self._give_up()
        if self._damaged:
            self._tell(Reason("cache.damaged", entries=self._damaged))

    def _asked(self, statement: str, values: tuple[Any, ...] = ()) -> list[tuple[Any, ...]]:
        """Rows; none where the database fails: then the rest of the build goes without."""
        with self._lock:
            if self._open is None:
                return []
            try:
                return self._open.execute(statement, values).fetchall()
            except sqlite3.OperationalError:  # the disk is full, or another build holds it for long
                self._give_up()
            except sqlite3.DatabaseError:
                self._give_up()
                self._note_damage()
                self._remove()
            return []

    def _give_up(self) -> None:
        if self._open is not None:
            with contextlib.suppress(sqlite3.Error):
                self._open.close()
        self._open = None

    def _remove(self) -> None:
        for name in (FILE, f"{FILE}-wal", f"{FILE}-shm"):
            with contextlib.suppress(OSError):
                self._file.with_name(name).unlink(missing_ok=True)

    def _note_damage(self) -> None:
        self._damaged += 1

    def _seal(self, key: bytes, pickled: bytes | memoryview) -> bytes:
        hashed = blake2b(key, key=self._secret, digest_size=SEAL)
        hashed.update(pickled)
        return hashed.digest()


class _PartGone(Exception):
    """A part of a result is kept no more."""


class _InParts(pickle.Pickler):
    """Writes a result without what is long in it, which ``keep`` has instead."""

    def __init__(self, file: io.BytesIO, keep: Callable[[bytes], bytes]) -> None:
        super().__init__(file, protocol=pickle.HIGHEST_PROTOCOL)
        self._keep = keep

    def persistent_id(self, value: object) -> tuple[str, bytes] | None:
        if type(value) is bytes and len(value) >= LONG:
            return "bytes", self._keep(value)
        if type(value) is str and len(value) >= LONG:
            return "str", self._keep(value.encode("utf-8", "surrogatepass"))
        return None


class _Whole(pickle.Unpickler):
    """Reads a result with what ``part`` has of it."""

    def __init__(self, file: io.BytesIO, part: Callable[[bytes], bytes]) -> None:
        super().__init__(file)
        self._part = part

    def persistent_load(self, told: tuple[str, bytes]) -> bytes | str:
        kind, key = told
        content = self._part(key)
        return content if kind == "bytes" else content.decode("utf-8", "surrogatepass")


def _packed(content: bytes) -> bytes:
    """The content behind one byte that says whether it is compressed; it is where a piece from its middle says that this saves a third."""
    middle = content[len(content) // 2 :][:TRIED]
    if len(content) >= LONG and len(zlib.compress(middle, FASTEST)) < len(middle) * 2 / 3:
        return COMPRESSED + zlib.compress(content, FASTEST)
    return PLAIN + content


def _unpacked(packed: memoryview) -> bytes:
    return zlib.decompress(packed[1:]) if packed[:1] == COMPRESSED else bytes(packed[1:])


@contextlib.contextmanager
def opened(folder: Path, tell: Callable[[str], None]) -> Iterator[Cache | None]:
    """The cache of a folder while a build goes on; None where no key can be kept for it, or the folder cannot be written."""
    secret = _secret()
    if secret is None:
        yield None
        return
    cache = Cache(folder, secret, tell)
    try:
        cache.open()
    except OSError:
        yield None
        return
    try:
        yield cache
    finally:
        cache.close()


def _secret() -> bytes | None:
    """The key that seals entries, made where there is none yet; None where it can be neither read nor kept."""
    try:
        if not KEY_FILE.exists():
            aside = KEY_FILE.with_name(f".{KEY_FILE.name}.{os.getpid()}.new")
            descriptor = os.open(aside, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
            with os.fdopen(descriptor, "wb") as stream:
                stream.write(os.urandom(SEAL))
            with contextlib.suppress(FileExistsError):
                os.link(aside, KEY_FILE)  # the first of several processes has its own
            aside.unlink()
        secret = KEY_FILE.read_bytes()
    except OSError:
        return None
    return secret if len(secret) == SEAL else None
