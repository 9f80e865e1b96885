"""Every kind of bad news the program knows.

Three kinds, never mixed, and a fourth that is made one of them before it leaves its stage::

    a bad file          -> Finding      collected with its place and its cure; nothing stops at the first
    not estimable       -> a result     with its reason (see ``estimates`` and ``pooling``), never raised
    a caller's mistake  -> EdgeholdError
                           |- InputError       a value of the wrong shape or range: the value got, the value wanted
                           |  |- FileError     a file or folder that cannot be read or written, with its name
                           |  |- WrittenError  something somebody wrote that cannot be read, with its cure
                           |  `- NumbersError  numbers that no arithmetic works with: not finite, or too far apart
                           |- RepositoryError  no Edgehold repository where one was expected
                           |- ClusterError     a cluster that was named cannot do the work
                           `- FindingsError    a build was asked for while errors stand in the files
    numbers failed      -> NumericalError      raised inside a fit; ``numerics.attempt`` makes of it a result with its reason
                           |- NotSettledError  a search that did not come to an end
                           `- NumbersError     see above: where a fit hands them on they are its own failure, not its caller's
"""

from __future__ import annotations

from dataclasses import asdict, dataclass

from .counted import counted

ERROR = "error"
WARNING = "warning"


@dataclass(frozen=True, order=True)
class Finding:
    """One thing wrong, or worth a look, in a file that somebody wrote.

    Attributes
    ----------
    file : path relative to the repository root, with forward slashes.
    line : 1-based line of the value, or of the nearest enclosing value that exists; 1 when the file cannot be read.
    pointer : JSON pointer (RFC 6901) of the value; ``""`` is the whole file.
    code : short stable kind, lower case with hyphens, such as ``unknown-unit``.
    severity : ``"error"`` or ``"warning"``.
    message : what is wrong, naming what was found.
    cure : what would be right.
    """

    file: str
    line: int
    pointer: str
    code: str
    severity: str
    message: str
    cure: str

    def as_dict(self) -> dict[str, object]:
        """The finding as plain JSON values."""
        return asdict(self)


class EdgeholdError(Exception):
    """Base of everything this program raises on purpose."""


class InputError(EdgeholdError, ValueError):
    """A caller passed a value of the wrong shape or range."""


class FileError(InputError):
    """A file or folder that somebody named cannot be read, or cannot be written."""


class NumericalError(ArithmeticError, ValueError):
    """Numbers failed inside a fit."""


class NotSettledError(NumericalError):
    """A search did not come to an end."""


class NumbersError(InputError, NumericalError):
    """Numbers of the right shape that no arithmetic works with: not finite, or too many orders of magnitude apart."""


class WrittenError(InputError):
    """A number, a unit or a register that somebody wrote cannot be read; a finding is made of it.

    Attributes
    ----------
    problem : what is wrong, naming what was got.
    cure : what would be right.
    """

    def __init__(self, problem: str, cure: str):
        self.problem = problem
        self.cure = cure
        super().__init__(f"{problem}; {cure}")


class RepositoryError(EdgeholdError):
    """The folder is not an Edgehold repository."""


class ClusterError(EdgeholdError):
    """A cluster that somebody named is not there, computes with something else, or has gone."""


class FindingsError(EdgeholdError):
    """A build was asked for while errors stand in the files.

    Attributes
    ----------
    findings : all findings, errors and warnings.
    """

    def __init__(self, findings: tuple[Finding, ...]):
        self.findings = findings
        errors = sum(f.severity == ERROR for f in findings)
        super().__init__(f"{counted(errors, 'error')} in the repository's files; run 'edgehold check' for the list")
