"""The settings of a method from the answers of its author: what was not asked is the standard of the site's form."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise

from edgehold.records.layout import RESERVED_IDS, RESERVED_PROTOCOLS
from edgehold.records.model.base import HANDLE_FORM, SLUG_FORM
from edgehold.records.model.protocol import PROTOCOL_FORMAT
from edgehold.words import Reason, pattern_codes

from .answer_lines import Guard, Tree, Wrong, empty_or_unknown, figures_of, guards_of, levels_of, lines_of, needs_of, number_of, spaced
from .drafts import name_of
from .questions import LEVEL, QUESTIONS

VERSION = "1.0.0"
PRACTICE_MINUTES = 15  # setting up and the practice run, beside the runs (common practice, no source)
LONGEST_LABEL = 60
PRIOR_DF = 4

WORK_UNITS = {"cuts": ("cuts", "cut", ["cut"]), "metres": ("length", "m", ["m", "cm", "ft", "in"])}
"""How work is counted: its kind, its unit, and units that runs may use."""
READINGS = {
    "pass/fail": ("pass/fail", None, [], None),
    "force": ("force", "N", ["N", "gf", "kgf", "lbf", "ozf"], "lower"),
    "length, less": ("length", "mm", ["mm", "cm", "in"], "lower"),
    "length, more": ("length", "mm", ["mm", "cm", "in"], "higher"),
    "count, fewer": ("count", "cut", ["cut"], "lower"),
    "count, more": ("count", "cut", ["cut"], "higher"),
}
"""How sharpness is read: kind, unit, units that runs may use, and which way is sharper."""
HELD = {
    "sharpener": ["blade", "medium", "tester"],
    "steel": ["sharpener", "abrasives", "edge angle", "medium", "tester"],
    "blade": ["sharpener", "abrasives", "edge angle", "medium", "tester"],
    LEVEL: ["blade", "sharpener", "medium", "tester"],
}
"""What is held equal, by what is compared."""
USUAL_THREATS: dict[str, list[str]] = {
    "confounding": ["s5-sharpen"],
    "carry-over": ["s4-flatten-apex"],
    "order": ["s6-code-edges"],
    "expectation": ["s6-code-edges", "s9-write-the-ending"],
    "instrument": [],
    "medium": [],
    "selection": ["s9-write-the-ending"],
    "analysis": ["s8-when-to-stop"],
    "generality": [],
    "safety": ["s1-safe-first", "s8-when-to-stop", "s10-clean-up"],
}
"""Steps of the standard text that deal with each kind of threat; a kind that the author names takes the place of it."""
FIRST_OWN_STEP = 11
_HANDLE, _ID = re.compile(HANDLE_FORM), re.compile(SLUG_FORM)


@dataclass(frozen=True)
class Told:
    """Answers that can be used.

    Attributes
    ----------
    said : every answer, in one line but for those of several; the usual one where there was none.
    levels, needs, guards : what the lines of these answers tell.
    """

    said: Mapping[str, str]
    levels: tuple[Tree, ...]
    needs: tuple[Tree, ...]
    guards: tuple[Guard, ...]


def told(answers: Mapping[str, str]) -> tuple[Told, tuple[Wrong, ...]]:
    """What answers tell, and everything that is wrong with them."""
    compares_levels = answers.get("compared") == LEVEL
    levels, of_levels = levels_of(answers.get("levels", ""), spaced(answers.get("fact", "")))
    needs, of_needs = needs_of(answers.get("needs", ""))
    guards, of_guards = guards_of(answers.get("threats", ""))
    said = _said(answers)
    wrong = list(empty_or_unknown(answers))
    first = {one.name for one in wrong}
    of_levels = of_levels if compares_levels and "fact" not in first else []
    wrong += [one for one in (*of_levels, *of_needs, *of_guards, *_between(said)) if one.name not in first]
    return Told(said, tuple(levels if compares_levels else ()), tuple(needs), tuple(guards)), tuple(wrong)


def id_of(answers: Mapping[str, str]) -> str:
    """The folder's name: as answered, else from the title."""
    return spaced(answers.get("id", "")) or name_of(answers.get("title", ""), str(Reason("method_draft.unnamed")))


def _between(said: Mapping[str, str]) -> Iterator[Wrong]:
    """What two answers, or an answer and its form, say together."""
    points = figures_of(said["checkpoints"])
    if points is None or len(points) < 3 or points[0] != 0 or any(b <= a for a, b in pairwise(points)):
        yield Wrong("checkpoints", Reason("method_draft.checkpoints_form", text=said["checkpoints"]))
    if said["decides"] == "life" and not said["life_ends"] and said["reading_kind"] != "pass/fail":
        yield Wrong("life_ends", Reason("method_draft.life_unended"))
    if said["by"] and not _HANDLE.fullmatch(said["by"]):
        yield Wrong("by", Reason("method_draft.by_form", text=said["by"]))
    if not _ID.fullmatch(said["id"]):
        yield Wrong("id", Reason("method_draft.id_form", text=said["id"]))
    elif said["id"] in RESERVED_IDS | RESERVED_PROTOCOLS:
        yield Wrong("id", Reason("method_draft.id_reserved", text=said["id"]))


def _said(answers: Mapping[str, str]) -> dict[str, str]:
    """Every answer, in one line but for those of several; the usual one where there is none."""
    found = {}
    for question in QUESTIONS:
        text = answers.get(question.name, "")
        found[question.name] = text if question.kind == "lines" else spaced(text) or str(question.usual)
    of_fact = f"method_draft.treatment_{found['fact'].replace(' ', '_')}"
    if not found["treatment"] and answers.get("compared") == LEVEL and of_fact in pattern_codes():
        found["treatment"] = str(Reason(of_fact))
    found["id"] = id_of(answers)
    return found


def _number(said: Mapping[str, str], name: str) -> float | int:
    found = number_of(said[name])
    assert found is not None
    return found


def settings(given: Told) -> Tree:
    """The settings, in the order of the model."""
    said, levels = given.said, list(given.levels)
    kind, unit, accepted = WORK_UNITS[said["counted"]]
    points = figures_of(said["checkpoints"]) or []
    early, late = _early_and_late(points)
    question: Tree = {"factor": said["compared"], "text": said["question"]}
    question |= {"treatment": said["treatment"], "levels": levels} if levels else {}
    minutes, runs = _number(said, "minutes"), _number(said, "runs")
    return {
        "format": PROTOCOL_FORMAT,
        "id": said["id"],
        "version": VERSION,
        "title": said["title"],
        "question": question,
        "changes": str(Reason("method_draft.changes")),
        "medium": {"name": _name(said["medium"]), "description": said["medium"]},
        "work": {
            "kind": kind,
            "unit": unit,
            "accepted_units": accepted,
            "checkpoints": points,
            "edge_stretch_mm": _number(said, "stretch"),
            "stroke": said["stroke"],
        },
        "reading": _reading(said),
        "stopping": {"text": stopping(said), "readings_below": 2},
        "endpoints": list(_endpoints(said, early, late)),
        "early_checkpoint": early,
        "late_checkpoint": late,
        "estimand": "total",
        "design": {
            "varies": [said["treatment"] if levels else said["compared"]],
            "holds": HELD[said["compared"]],
            "least_runs": runs,
            "order": said["order"],
            "blinding": said["blinding"],
        },
        "apex_start": str(Reason("method_draft.apex_start")),
        "edges": "plain only",
        "needs": list(given.needs),
        "minutes": {"one_run": minutes, "whole": runs * minutes + PRACTICE_MINUTES},
        "people": {"alone": said["alone"], "two": said["two"]},
        "practice_run": str(Reason("method_draft.practice_run")),
        "threats": [*_usual_threats(given.guards), *_own_threats(given.guards)],
        "cautions": [line for _, line in lines_of(said["cautions"])],
    }


def _name(medium: str) -> str:
    """A short name: what stands before the first comma, whole words of it."""
    first = spaced(medium.split(",")[0]).rstrip(".")
    words = first.split(" ")
    while len(words) > 1 and len(" ".join(words)) > LONGEST_LABEL:
        words.pop()
    return " ".join(words)[:LONGEST_LABEL]


def _early_and_late(points: list[float | int]) -> tuple[float | int, float | int]:
    """The second checkpoint after 0 and the last but one, where there are four or more; else the first and the last."""
    after = points[1:]
    return (after[1], after[-2]) if len(after) > 3 else (after[0], after[-1])


def _reading(said: Mapping[str, str]) -> Tree:
    kind, unit, accepted, keener = READINGS[said["reading_kind"]]
    figures: Tree = {"canonical_unit": unit, "accepted_units": accepted, "keener": keener} if unit else {}
    repeats = _number(said, "repeats")
    return {"kind": kind, "description": said["reading"], **figures, "repeats": repeats, "dulls": said["dulls"] == "yes"}


def stopping(said: Mapping[str, str]) -> str:
    """When a run ends, in one sentence."""
    if said["reading_kind"] == "pass/fail":
        return str(Reason("method_draft.stopping_fails"))
    return str(Reason("method_draft.stopping_life" if said["life_ends"] else "method_draft.stopping_last"))


def _endpoints(said: Mapping[str, str], early: float | int, late: float | int) -> Iterator[Tree]:
    fails = said["reading_kind"] == "pass/fail"
    assumed = {"ln_sd": _number(said, "spread"), "prior_df": PRIOR_DF, "source": str(Reason("method_draft.source"))}
    weighed: Tree = {"worthwhile_ratio": _number(said, "worthwhile"), "assumed_repeatability": assumed}
    for role, at in () if fails else (("early", early), ("late", late)):
        title = str(Reason(f"method_draft.endpoint_{role}"))
        yield {"id": role, "title": title, "kind": "level", "role": role, "primary": said["decides"] == role, "at": at, **weighed}
    if fails or said["life_ends"]:
        title = str(Reason("method_draft.endpoint_life_fails" if fails else "method_draft.endpoint_life"))
        ends: Tree = {} if fails else {"threshold": {"value": _number(said, "life_ends"), "relative": False}}
        start = "zero" if fails else "first positive checkpoint"
        primary = fails or said["decides"] == "life"
        yield {"id": "life", "title": title, "kind": "life", "role": "overall", "primary": primary, **ends, "fit_from": start, **weighed}


def _usual_threats(guards: Sequence[Guard]) -> Iterator[Tree]:
    named = {guard.kind for guard in guards}
    for kind, steps in USUAL_THREATS.items():
        if kind not in named:
            yield {"threat": kind, "text": str(Reason(f"method_draft.threat_{kind.replace('-', '_')}")), "steps": steps}


def _own_threats(guards: Sequence[Guard]) -> Iterator[Tree]:
    for guard, step in with_steps(guards):
        yield {"threat": guard.kind, "text": guard.text, "steps": [step] if step else []}


def with_steps(guards: Sequence[Guard]) -> Iterator[tuple[Guard, str]]:
    """Each with the step of its own that deals with it; empty where nothing is done."""
    number = FIRST_OWN_STEP
    for guard in guards:
        yield guard, f"s{number}-{guard.kind}" if guard.met else ""
        number += bool(guard.met)
