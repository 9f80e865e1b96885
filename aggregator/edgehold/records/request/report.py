"""A checked request for people, for programs, and for the host that shows it.

An annotation is one line of GitHub's workflow commands (docs.github.com, "Workflow commands for GitHub Actions": ``%``, line
breaks, and in properties colon and comma, are written as percent codes). What strangers wrote is made harmless first, so that a
text can neither end the line nor begin a command.
"""

import json
from collections import Counter
from collections.abc import Iterable

from edgehold.counted import counted
from edgehold.errors import ERROR, Finding
from edgehold.records.codes import code_address
from edgehold.records.layout import readable
from edgehold.records.report import findings_text, harmless
from edgehold.words import Reason

from .against import CheckedProposal
from .proposal import Change

ORDER = ("added", "changed", "mode changed", "changed in kind", "renamed", "deleted")


def request_text(checked: CheckedProposal) -> str:
    """The answer of ``edgehold check --against``: every finding, and a last line that counts."""
    return f"{findings_text(checked.findings, checked.proposal.site)}\n\n{request_counts(checked)}"


def request_counts(checked: CheckedProposal) -> str:
    """One line: errors, warnings, what differs, and how much was read."""
    errors = len(checked.errors)
    read = len(checked.repository.submissions)
    how = "all submissions" if checked.whole else Reason("requests.its_pools" if checked.pools else "requests.those_that_share")
    tally = Reason(
        "requests.tally",
        errors=counted(errors, "error"),
        warnings=counted(len(checked.findings) - errors, "warning"),
        base=checked.proposal.base[:12],
        changes=differences(checked.proposal.changes),
        submissions=counted(read, "submission"),
        verb="is" if read == 1 else "are",
        how=how,
    )
    return f"{tally}; {sent_by(checked)}"


def sent_by(checked: CheckedProposal) -> str:
    """Whose request it is, or that nobody said."""
    return Reason("identity.unverified") if checked.author is None else Reason("identity.by_account", author=checked.author)


def differences(changes: Iterable[Change]) -> str:
    """How many files differ in which way, in words."""
    counts = Counter(change.kind for change in changes)
    return ", ".join(f"{counts[kind]} {kind}" for kind in ORDER if counts[kind]) or "nothing differs"


def request_json(checked: CheckedProposal) -> str:
    """The same as JSON."""
    proposal = checked.proposal
    answer = {
        "errors": len(checked.errors),
        "warnings": len(checked.findings) - len(checked.errors),
        "base": proposal.base,
        "common": proposal.common,
        "whole": checked.whole,
        "author": checked.author,
        "submissions": len(checked.repository.submissions),
        "changes": [{"path": readable(c.path), "kind": c.kind, "before": readable(c.before)} for c in proposal.changes],
        "findings": [finding.as_dict() for finding in checked.findings],
    }
    return json.dumps(answer, indent=2, ensure_ascii=True)


def annotations(findings: Iterable[Finding], site: str = "") -> str:
    """A line for each finding that the host shows at its file and line, with the address where ``site`` tells what it means."""
    return "\n".join(_annotation(finding, site) for finding in sorted(findings, key=lambda f: (f.severity != ERROR, f)))


def _annotation(finding: Finding, site: str) -> str:
    place = {"file": finding.file, "line": str(finding.line), "title": finding.code}
    properties = ",".join(f"{name}={_property(harmless(value))}" for name, value in place.items())
    where = f"{finding.pointer}: " if finding.pointer else ""
    told = f"{where}{finding.message}. Right: {finding.cure}"
    address = code_address(site, finding.code)
    return f"::{finding.severity} {properties}::{_coded(harmless(f'{told} ({address})' if address else told))}"


def _coded(text: str) -> str:
    return text.replace("%", "%25").replace("\r", "%0D").replace("\n", "%0A")


def _property(text: str) -> str:
    return _coded(text).replace(":", "%3A").replace(",", "%2C")
