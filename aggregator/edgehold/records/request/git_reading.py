"""Ask git about a repository, and only ask: no shell, no pager, no hook, no helper program, no waiting for ever.

Names come as git has them, byte for byte (``-z``), and are decoded as the file system's names are. Settings of the machine
and of the person are left out, so that the answer is the same everywhere.
"""

from __future__ import annotations

import os
import subprocess
from dataclasses import dataclass
from pathlib import Path
from typing import IO

from edgehold.errors import InputError, RepositoryError

LONGEST_SECONDS = 120
_ALWAYS = (
    "--no-pager",
    "--literal-pathspecs",
    *("-c", f"core.hooksPath={os.devnull}"),
    *("-c", "core.fsmonitor=false"),
    *("-c", "core.symlinks=true"),
    *("-c", "core.quotePath=false"),
    *("-c", "protocol.allow=never"),
)
_ENVIRONMENT = {
    "GIT_CONFIG_NOSYSTEM": "1",
    "GIT_CONFIG_GLOBAL": os.devnull,
    "GIT_ATTR_NOSYSTEM": "1",
    "GIT_NO_REPLACE_OBJECTS": "1",
    "GIT_OPTIONAL_LOCKS": "0",
    "GIT_TERMINAL_PROMPT": "0",
    "LC_ALL": "C",
}


@dataclass(frozen=True)
class Asked:
    """A question that git is working on meanwhile."""

    process: subprocess.Popen[bytes]
    what: str

    def answer(self) -> bytes:
        """What git says; see `ask` for what it raises."""
        out: bytes
        said: bytes
        try:
            out, said = self.process.communicate(timeout=LONGEST_SECONDS)
        except subprocess.TimeoutExpired:
            self.process.kill()
            self.process.communicate()
            raise RepositoryError(f"git {self.what} took more than {LONGEST_SECONDS} seconds") from None
        if self.process.returncode:
            told = " ".join(said.decode(errors="replace").split())[:300]
            raise InputError(f"git {self.what} failed ({self.process.returncode}): {told or 'without a word'}")
        return out


def ask(root: Path, *arguments: str, given: bytes = b"") -> bytes:
    """What ``git`` writes.

    Parameters
    ----------
    root : a folder inside the repository.
    arguments : of the git command.
    given : its standard input.

    Raises
    ------
    InputError
        Git ended with an error.
    RepositoryError
        Git is not there, or took too long.
    """
    return begin_asking(root, *arguments, given=given).answer()


def begin_asking(root: Path, *arguments: str, given: bytes = b"") -> Asked:
    """The same without waiting: the answer is fetched later."""
    kept = {name: value for name, value in os.environ.items() if not name.startswith("GIT_")}
    try:
        process = subprocess.Popen(
            ["git", *_ALWAYS, "-C", os.fspath(root), *arguments],
            env=kept | _ENVIRONMENT,
            stdin=subprocess.PIPE if given else subprocess.DEVNULL,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
        )
    except FileNotFoundError:
        raise RepositoryError("git is not installed; it is needed to compare with another state of the repository") from None
    if process.stdin is not None:  # something is given
        _feed(process.stdin, given)
        process.stdin = None
    return Asked(process, arguments[0])


def _feed(stdin: IO[bytes], given: bytes) -> None:
    """Hand over the input at once; git reads these lists wholly before it writes."""
    try:
        stdin.write(given)
        stdin.close()
    except BrokenPipeError:  # git has ended already: its answer says why
        pass


def names(listed: bytes) -> list[str]:
    """Names out of a list that git ended with NUL each."""
    return [os.fsdecode(name) for name in listed.split(b"\0") if name]
