"""Ask git about a repository, and only ask: no shell, no pager, no hook, no helper program, no waiting for ever.

Names come as git has them, byte for byte (``-z``), and are decoded as the file system's names are. Settings of the machine
and of the person are left out, so that the answer is the same everywhere. Those of the repository itself are read, for git cannot do
without them; whatever among them names a program or a filter is emptied for every command that reads files.
"""

from __future__ import annotations

import os
import re
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
    *("-c", f"core.attributesFile={os.devnull}"),
    *("-c", f"core.excludesFile={os.devnull}"),
    *("-c", "core.ignoreStat=false"),
    *("-c", "core.trustctime=true"),
    *("-c", "core.checkStat=default"),
    *("-c", "core.untrackedCache=false"),
    *("-c", "submodule.recurse=false"),
    *("-c", "maintenance.auto=false"),
    *("-c", "core.symlinks=true"),
    *("-c", "core.quotePath=false"),
    *("-c", "protocol.allow=never"),
)
_ENVIRONMENT = {
    "GIT_CONFIG_NOSYSTEM": "1",
    "GIT_CONFIG_GLOBAL": os.devnull,
    "GIT_ATTR_NOSYSTEM": "1",
    "GIT_NO_REPLACE_OBJECTS": "1",
    "GIT_NO_LAZY_FETCH": "1",
    "GIT_OPTIONAL_LOCKS": "0",
    "GIT_TERMINAL_PROMPT": "0",
    "LC_ALL": "C",
}


_READING_FILES = frozenset({"diff", "ls-files"})
"""Commands that read the working tree, and would put its files through filters on the way."""
_EMPTIED = {"required": "false", "promisor": "false"}
_PROGRAM = re.compile(
    r"filter\..*\.(?:clean|smudge|process|required)|diff\..*\.(?:command|textconv)|diff\.external|merge\..*\.driver"
    r"|credential\..*|core\.(?:sshcommand|gitproxy|alternaterefscommand|pager|editor|askpass)|gpg\..*program|uploadpack\.packobjectshook"
    r"|remote\..*\.(?:uploadpack|receivepack|vcs|promisor)|pager\..*|interactive\.difffilter|alias\..*"
)
"""Settings of git that name a program, or make one run (git-config(1), gitattributes(5))."""


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
    kept |= _ENVIRONMENT | (_without_programs(root) if arguments[0] in _READING_FILES else {})
    try:
        process = subprocess.Popen(
            ["git", *_ALWAYS, "-C", os.fspath(root), *arguments],
            env=kept,
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


def _without_programs(root: Path) -> dict[str, str]:
    """Variables that empty every setting of the repository by which git would run a program."""
    stated = dict.fromkeys(names(ask(root, "config", "--list", "--name-only", "-z")))
    found = [name for name in stated if _PROGRAM.fullmatch(name)]
    made = {"GIT_CONFIG_COUNT": str(len(found))}
    for number, name in enumerate(found):
        made |= {f"GIT_CONFIG_KEY_{number}": name, f"GIT_CONFIG_VALUE_{number}": _EMPTIED.get(name.rpartition(".")[2], "")}
    return made


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
