"""Hand-made objections for the tests of pages, one in every state, and what they do to versions of protocols."""

from __future__ import annotations

from edgehold.results.model.objections import EvidenceResult, ObjectionEntryResult, ObjectionResult
from edgehold.results.model.text_changes import TextChangeResult
from edgehold.results.model.versions import DifferenceResult, FieldChangeResult, StepResult


def evidence(probe: str = "", submission: str = "", citation: str = "") -> EvidenceResult:
    return EvidenceResult(probe=probe, submission=submission, citation=citation)


def response(says: str, text: str = "It was looked into.", revised_in: str = "", *given: EvidenceResult, notes: tuple[str, ...] = ()):
    return ObjectionEntryResult(
        kind="response",
        says=says,
        by="cleat",
        interest="maker",
        month="2026-03",
        text=text,
        revised_in=revised_in,
        evidence=given,
        notes=notes,
    )


def outcome(says: str, text: str = "Decided for a reason.") -> ObjectionEntryResult:
    return ObjectionEntryResult(
        kind="outcome", says=says, by="harbour-board", interest="", month="2026-05", text=text, revised_in="", evidence=(), notes=()
    )


def objection(number: int, state: str = "open", *entries: ObjectionEntryResult, **changes: object) -> ObjectionResult:
    struck = state == "struck"
    found = {
        "protocol": "steels-rope",
        "version": "1.0.0",
        "step": "s2-reading",
        "endpoint": "",
        "title": "" if struck else f"Flaw number {number}",
        "threat": "medium",
        "severity": "material",
        "by": "" if struck else "fid",
        "interest": "" if struck else "none",
        "month": "2026-02",
        "simulated": False,
        "revised_in": "",
        "repeats": None,
        "repeated_by": (),
        "stands_against": (),
        "statement": "" if struck else f"What is wrong, told under {number}.\n\nAnd more of it.",
        "proposed_change": "",
        "evidence": (),
        "notes": (),
        "probes": (),
        "path": "" if struck else f"protocols/steels-rope/objections/{number:03d}-flaw/00-objection.md",
    }
    return ObjectionResult(number=number, state=state, entries=entries, **found | changes)


def objections() -> tuple[ObjectionResult, ...]:
    """One in every state, one that repeats another, one to the analysis, one that closes a form."""
    first, both = ("1.0.0",), ("1.0.0", "1.1.0")
    cured = (response("revision", "The reading is new.", "1.1.0"), outcome("revised"))
    cited = (evidence(submission="2026-02-harbour-1"), evidence(citation="https://example.org/paper"), evidence(citation="A book, 1901."))
    gone = response("rebuttal", "The rope was dry.\n\nSee the humidity.", "", evidence("lot-0"), notes=("It rests on submission x.",))
    asked = {"probes": ("lot-0", "lot-1"), "evidence": (evidence("lot-0"), evidence("lot-1"))}
    unresolved = {"threat": "order", "stands_against": both}
    return (
        objection(1, protocol="", version="", step="", threat="analysis", title="Weights", probes=("nowhere",), path=""),
        objection(2, "revised", *cured, protocol="", version="", step="", threat="analysis", revised_in="1.1.0", path=""),
        objection(1, protocol="card-life", severity="blocking", threat="safety", title="Slips", stands_against=first),
        objection(1, "revised", *cured, revised_in="1.1.0", stands_against=first),
        objection(2, severity="blocking", step="s1-safe-first", stands_against=both, **asked),
        objection(3, "rebutted", response("rebuttal", "No.", "", *cited), outcome("rebutted"), simulated=True, endpoint="late", step=""),
        objection(4, "withdrawn", outcome("withdrawn"), step=""),
        objection(5, "upheld and unresolved", outcome("upheld and unresolved"), repeated_by=(6,), **unresolved),
        objection(6, "upheld and unresolved", repeats=5, **unresolved),
        objection(7, "struck", outcome("struck", "It spoke of a person.")),
        objection(1, "open", gone, protocol="two-sharpeners", title="Damp rope", proposed_change="Dry it.", probes=("lot-0",)),
    )


def difference() -> DifferenceResult:
    """What 1.1.0 changes: two steps, some fields, some lines."""
    return DifferenceResult(
        older="1.0.0",
        level="minor",
        asked="minor",
        pointer="/reading/repeats",
        why="readings are repeated otherwise",
        fields=(
            FieldChangeResult(names=("reading", "repeats"), pointer="/reading/repeats", before="2", after="3"),
            FieldChangeResult(names=("needs", "A kitchen_scale"), pointer="/needs/1", before="", after="where: cheap"),
        ),
        text=(
            TextChangeResult(step="s1-safe-first", kind="same", lines=(), folded=12),
            TextChangeResult(step="s1-safe-first", kind="same", lines=("1. **Clamp the rope.**",), folded=0),
            TextChangeResult(step="s2-reading", kind="removed", lines=("Read twice.",), folded=0),
            TextChangeResult(step="s2-reading", kind="added", lines=("Read three times.", ""), folded=0),
            TextChangeResult(step="", kind="added", lines=("| a | b |",), folded=0),
        ),
        steps=(
            StepResult(id="s2-reading", title="Set up the reading", objections=(1,)),
            StepResult(id="s9-gone", title="Gone", objections=()),
        ),
        cures=(1,),
    )
