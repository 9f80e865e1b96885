"""Findings for people and for programs.

What strangers wrote is echoed in messages; here it is made harmless for a terminal. JSON carries it unchanged.
"""

from __future__ import annotations

import json
import os
from collections.abc import Iterable
from pathlib import Path

from edgehold.counted import counted
from edgehold.errors import ERROR, WARNING, Finding, InputError
from edgehold.words import Reason

from .canonical import Repository
from .codes import code_address
from .schemas import FALLBACK_URL, site_url


def findings_text(findings: Iterable[Finding], site: str = "") -> str:
    """Findings as plain text, errors first: place, code, what is wrong, what would be right, and where ``site`` tells more."""
    found = tuple(findings)
    parts = []
    for severity, title in ((ERROR, "error"), (WARNING, "warning")):
        lines = [_line(finding, site) for finding in found if finding.severity == severity]
        if lines:
            parts.append("\n".join([f"{counted(len(lines), title)}:", *lines]))
    return "\n\n".join(parts) if parts else "nothing found"


def _line(finding: Finding, site: str) -> str:
    address = code_address(site, finding.code)
    more = f"\n    {address}" if address else ""
    place = f"{finding.file}:{finding.line}" + (f" {finding.pointer}" if finding.pointer else "")
    return f"  {harmless(place)}\n    {finding.code}: {harmless(finding.message)}\n    right: {harmless(finding.cure)}{more}"


def harmless(text: str) -> str:
    """Text on one line without anything that a terminal would obey."""
    return "".join(c if c.isprintable() else "\N{REPLACEMENT CHARACTER}" for c in text)


def check_text(findings: Iterable[Finding], repository: Repository, whole: bool = True) -> str:
    """The answer of ``edgehold check``: every finding, and a last line that counts; ``whole`` as in `check_counts`."""
    found = tuple(findings)
    return f"{findings_text(found, site_of(repository.root))}\n\n{check_counts(found, repository, whole)}"


def site_of(root: Path) -> str:
    """The address of the published site; empty where none is set."""
    url = site_url(root)
    return "" if url == FALLBACK_URL else url


def check_counts(findings: Iterable[Finding], repository: Repository, whole: bool = True) -> str:
    """One line: errors, warnings, and what is sound; ``whole``: whether everything was asked about, or some files."""
    found = tuple(findings)
    errors = sum(finding.severity == ERROR for finding in found)
    counts = f"{counted(len(repository.protocols), 'protocol version')} and {counted(len(repository.submissions), 'submission')}"
    told, more = counted(errors, "error"), counted(len(found) - errors, "warning")
    return f"{told}, {more}; {counts} are sound" if whole else Reason("requests.tally_of_named", errors=told, warnings=more, counts=counts)


def check_json(findings: Iterable[Finding], repository: Repository, whole: bool = True) -> str:
    """The same as JSON: counts, and the findings in their fixed order; ``whole`` as in `check_counts`."""
    found = tuple(findings)
    errors = sum(finding.severity == ERROR for finding in found)
    answer = {
        "errors": errors,
        "warnings": len(found) - errors,
        "whole": whole,
        "protocols": len(repository.protocols),
        "submissions": len(repository.submissions),
        "findings": [finding.as_dict() for finding in found],
    }
    return json.dumps(answer, indent=2, ensure_ascii=True)


def relative(root: Path, paths: Iterable[str]) -> list[str]:
    """Files and folders as paths relative to the repository, a link as itself.

    Raises
    ------
    InputError
        A path does not exist, or lies outside the repository.
    """
    return [_relative(root, path) for path in paths]


def within(findings: Iterable[Finding], root: Path, paths: Iterable[str]) -> tuple[Finding, ...]:
    """Findings of some files or folders only; all of them when no path is given. Raises as `relative`."""
    wanted = relative(root, paths)
    if not wanted or "." in wanted:
        return tuple(findings)
    return tuple(f for f in findings if _within(f.file, wanted))


def named(file: str, root: Path, paths: Iterable[str]) -> bool:
    """Whether a file of the repository is one of some files, or lies in one of some folders; the whole repository names none."""
    return _within(file, [_relative(root, path) for path in paths])


def _within(file: str, wanted: Iterable[str]) -> bool:
    return any(file == path or file.startswith(f"{path}/") for path in wanted)


def _relative(root: Path, path: str) -> str:
    if not os.path.lexists(path):
        raise InputError(f"there is no file or folder {path!r}")
    absolute = Path(path).parent.resolve() / Path(path).name  # not the target of a link: links are findings
    try:
        return absolute.relative_to(root.resolve()).as_posix()
    except ValueError:
        raise InputError(f"{path!r} is not inside the repository {str(root)!r}") from None
