"""Collect problems by file and make findings of them: severity and usual cure from the table, line from the text."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, field, replace

from edgehold.errors import ERROR, Finding
from edgehold.words import Reason

from .codes import CODES
from .json_places import nearest_line
from .problem import Problem

MOST_FINDINGS = 100  # of one file; the rest is counted


@dataclass
class Collected:
    """Problems by path, and how the lines of each file are found."""

    problems: dict[str, list[Problem]] = field(default_factory=dict)

    def add(self, path: str, problems: Iterable[Problem]) -> None:
        """Add problems of one file."""
        found = list(problems)
        if found:
            self.problems.setdefault(path, []).extend(found)

    def add_all(self, problems: Iterable[tuple[str, Problem]]) -> None:
        """Add (path, problem) pairs."""
        for path, problem in problems:
            self.add(path, [problem])

    def keep(self, wanted: Callable[[str], bool]) -> None:
        """Keep the problems of some files only."""
        self.problems = {path: problems for path, problems in self.problems.items() if wanted(path)}

    def spare(self, paths: Iterable[str]) -> None:
        """Leave out the warnings about some files."""
        for path in paths:
            left = [problem for problem in self.problems.pop(path) if CODES[problem.code].severity == ERROR]
            self.add(path, left)

    def has_error(self, path: str) -> bool:
        """Whether a file has a problem that stops a build."""
        return any(CODES[problem.code].severity == ERROR for problem in self.problems.get(path, ()))

    def findings(self, lines_of: Callable[[str], dict[str, int]]) -> tuple[Finding, ...]:
        """Every problem as a finding, in a fixed order; ``lines_of`` gives lines by pointer for a path."""
        found: list[Finding] = []
        for path in sorted(self.problems):
            problems = self.problems[path]
            lines = lines_of(path) if any(problem.line == 0 for problem in problems) else {}
            found += _listed([_finding(path, problem, lines) for problem in problems])
        return tuple(sorted(found))


def _finding(path: str, problem: Problem, lines: dict[str, int]) -> Finding:
    code = CODES[problem.code]
    line = problem.line or nearest_line(lines, problem.pointer)
    cure = problem.cure or code.cure
    return Finding(path, line, problem.pointer, problem.code, code.severity, problem.message, cure)


def _listed(findings: list[Finding]) -> list[Finding]:
    """The first of them, errors before warnings, and how many more there are."""
    findings.sort(key=lambda f: (f.severity != ERROR, f))
    if len(findings) <= MOST_FINDINGS:
        return findings
    last, more = findings[MOST_FINDINGS - 1], len(findings) - MOST_FINDINGS
    severity = findings[MOST_FINDINGS].severity
    code = CODES["too-many-findings"]
    note = Finding(last.file, last.line, "", "too-many-findings", severity, Reason("reading.more_not_listed", more=more), code.cure)
    return [*findings[:MOST_FINDINGS], note]


def answered(problems: list[Problem], answers: Iterable[tuple[str, str, str]]) -> list[Problem]:
    """Warnings with the submitter's answers beside them; an answer to nothing is a warning of its own.

    ``answers`` are (pointer, code, text). Errors cannot be answered away.
    """
    given = {(place, code): (number, text) for number, (place, code, text) in enumerate(answers)}
    used, result = set(), []
    for problem in problems:
        key = (problem.pointer, problem.code)
        if key in given and CODES[problem.code].severity != ERROR:
            used.add(key)
            problem = replace(problem, message=f"{problem.message} — answered: {given[key][1]}")
        result.append(problem)
    for key in given.keys() - used:
        message = Reason("reading.no_such_warning", warning=key[1], place=key[0] or Reason("reading.whole_file"))
        result.append(Problem(f"/answers/{given[key][0]}", "answer-without-warning", message))
    return result
