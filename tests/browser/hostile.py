"""A repository that passes the check and means harm: a payload in every free text that a stranger can write.

Words from closed lists, keys, units and numbers are left alone, because the check refuses anything else there.
"""

from __future__ import annotations

import hashlib
import itertools
import json
from dataclasses import dataclass, field
from pathlib import Path

import yaml

from edgehold.records.model.protocol import AssumedSpreads

from .payloads import Payloads

PROTOCOL = "hostile-rope"
OBJECTION = f"/objections/{PROTOCOL}/001/"
VERSIONS = ("1.0.0", "1.1.0", "1.2.0")
PEOPLE = ("wren", "tern", "smew")
RETRACTED = "dipper"
SVG = 'xmlns="http://www.w3.org/2000/svg" viewBox="0 0 60 20"'
SNEAKY_DRAWINGS = {
    "other-prefix": '<s:svg xmlns:s="http://www.w3.org/2000/svg" viewBox="0 0 9 9"><s:script>window.scriptRan=1</s:script></s:svg>',
    "other-names": f'<svg {SVG} xmlns:h="http://www.w3.org/1999/xhtml"><h:script>window.scriptRan=1</h:script><h:iframe/></svg>',
    "own-style": f'<svg {SVG} style="position:fixed;inset:0"><style>*{{display:none}}</style><rect width="9" height="9"/></svg>',
    "own-ids": f'<svg {SVG} class="md-header"><g id="cautions"><title>t</title><text id="versions" y="9">&lt;script&gt;</text></g></svg>',
    "huge": f'<svg {SVG} width="9000" height="9000"><rect x="-9e9" width="9e9" height="9"/><text>{"W" * 500}</text></svg>',
}
"""Drawings that the check lets through; nothing of them may do anything."""


@dataclass
class Hostile:
    """The payloads; those that some page must show, by the page's address; those of a struck objection, which nothing may show."""

    payloads: Payloads = field(default_factory=Payloads)
    shown: dict[str, list[str]] = field(default_factory=dict)
    struck: list[str] = field(default_factory=list)
    levels: list[str] = field(default_factory=list)

    def show(self, address: str, *texts: str) -> None:
        self.shown.setdefault(address, []).extend(texts)


def write_hostile_repository(root: Path) -> Hostile:
    """Write the repository and say what its pages must show. The same every time."""
    hostile = Hostile()
    medium = hostile.payloads.label()
    labels = iter(hostile.payloads.label, "")
    hostile.levels = [label for label in (next(labels) for _ in range(15)) if not set("()") & set(label)][:3]
    _write_protocol(root, hostile, medium)
    _write_objection(root / "protocols" / PROTOCOL / "objections" / "001-marks", hostile)
    _write_closing_objection(root / "protocols" / PROTOCOL / "objections" / "002-closes", hostile)
    _write_struck_objection(root / "protocols" / PROTOCOL / "objections" / "003-struck", hostile)
    _write_repetitions(root / "protocols" / PROTOCOL / "objections", hostile)
    _write_objection_to_the_analysis(root / "protocols" / "analysis" / "objections" / "001-marks", hostile)
    _write_changes(root, hostile, medium)
    for number, person in enumerate(PEOPLE):
        record = _submission(hostile, person, VERSIONS[number], medium)
        _write(root / "submissions" / "measured" / PROTOCOL / f"{record['id']}.json", json.dumps(record, ensure_ascii=False, indent=1))
    return hostile


def _write_changes(root: Path, hostile: Hostile, medium: str) -> None:
    """A submission of whose notes one is corrected and which is then retracted."""
    record = _submission(hostile, RETRACTED, VERSIONS[0], medium)
    folder = root / "submissions" / "measured" / PROTOCOL
    _write(folder / f"{record['id']}.json", json.dumps(record, ensure_ascii=False, indent=1))
    say, common = hostile.payloads, {"format": "change/1.0.0", "submission": record["id"], "by": RETRACTED, "month": "2026-05"}
    notes = [record["blades"][0]["note"], *say.every(), say.long()[:200]]
    what = [{"pointer": "/blades/0/note", "before": old, "after": new} for old, new in itertools.pairwise(notes)]
    correction = common | {"kind": "correction", "what": what, "why": say.long()}
    retraction = common | {"kind": "retraction", "why": say.long()}
    for name, change in (("01-correction", correction), ("02-retraction", retraction)):
        _write(folder / "changes" / record["id"] / f"{name}.json", json.dumps(change, ensure_ascii=False, indent=1))
    page = f"/submissions/measured/{PROTOCOL}/{record['id']}/"
    hostile.shown.pop(page)  # of what it says by itself nothing is left
    reasons = [*correction["why"].split("\n\n"), *retraction["why"].split("\n\n")]
    hostile.show(page, *record["note"].split("\n\n"), *reasons, *(json.dumps(note, ensure_ascii=False) for note in notes))
    hostile.show(OBJECTION, retraction["why"])


def _write(path: Path, text: str) -> None:
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text(text, encoding="utf-8")


def _markdown(front: dict, body: str) -> str:
    return f"---\n{yaml.safe_dump(front, sort_keys=False, allow_unicode=True)}---\n{body}\n"


def _write_protocol(root: Path, hostile: Hostile, medium: str) -> None:
    folder = root / "protocols" / PROTOCOL
    for name, drawing in SNEAKY_DRAWINGS.items():
        _write(folder / "figures" / f"{name}.svg", drawing)
    number = 0
    for version in VERSIONS:
        front = _front(hostile, version, medium)
        text = _markdown(front, _body(hostile.payloads))
        _write(folder / f"{version}.md", text)
        for address in (f"/protocols/{PROTOCOL}/{version}/", *([f"/protocols/{PROTOCOL}/"] if version == VERSIONS[-1] else [])):
            hostile.show(address, *_shown_of(front))
        if version != VERSIONS[0]:
            told = (
                front["changes"],
                front["title"],
                front["stopping"]["text"],
                front["work"]["stroke"],
                front["design"]["order"],
                front["note"],
            )
            hostile.show(f"/protocols/{PROTOCOL}/{version}/changes/", *told)
        released = {"sha256": hashlib.sha256(text.encode()).hexdigest(), "month": "2026-01" if number == 0 else "2026-05"}
        adopted = {"by": "moot", "pilot": f"{PEOPLE[VERSIONS.index(version)]}-1"}
        for kind, facts in (("released", released), ("opened for review", {}), ("adopted", adopted)):
            number += 1
            event = {"format": "event/1.0.0", "kind": kind, "version": version, "by": "board", "month": "2026-05"}
            event |= {"evidence": hostile.payloads.short()} | facts
            name = f"{number:03d}-{kind.replace(' ', '-')}.yaml"
            hostile.show(f"/protocols/{PROTOCOL}/{version}/", event["evidence"])
            _write(folder / "events" / name, yaml.safe_dump(event, allow_unicode=True))


def _question(hostile: Hostile) -> dict:
    """Of three levels, the last of which a recorded fact tells: the same in every version, for another level is another question."""
    say, words = hostile.payloads, hostile.levels
    rule = {"fact": "deburring", "words": [f"x {words[0]}"], "other_than": [f"y {words[1]}"]}
    told = [{"word": word, "text": say.short()} | ({"rule": rule} if word == words[2] else {}) for word in words]
    return {"factor": "level", "text": say.short(), "treatment": say.label(), "levels": told}


def _front(hostile: Hostile, version: str, medium: str) -> dict:
    say = hostile.payloads
    return {
        "format": "protocol/1.4.0",
        "id": PROTOCOL,
        "version": version,
        "title": say.short(),
        "question": _question(hostile),
        "changes": say.short(),
        "medium": {"name": medium, "description": say.short()},
        "work": {
            "kind": "cuts", "unit": "cut", "accepted_units": ["cut"], "checkpoints": [0, 5, 10, 20, 40], "edge_stretch_mm": 40,
            "stroke": say.short(),
        },
        "reading": {
            "kind": "force", "description": say.short(), "canonical_unit": "N", "accepted_units": ["N", "gf"], "keener": "lower",
            "repeats": 2, "resolution": 0.01, "scale_end": 49, "plausible_low": 0.2, "plausible_high": 30, "dulls": False,
        },
        "stopping": {"text": say.short()},
        "endpoints": [
            _endpoint(say, "early", kind="level", role="early", at=10),
            _endpoint(say, "late", kind="level", role="late", at=40, primary=True),
            _endpoint(say, "life", kind="life", role="overall", threshold={"value": 4}),
        ],
        "early_checkpoint": 10,
        "late_checkpoint": 40,
        "reference": {"edge": say.short(), "work": 10, "weights": say.short()},
        "estimand": "total",
        "design": {
            "varies": [say.label()], "holds": [say.label()], "least_runs": 2, "order": say.short(), "blinding": say.short(),
        },
        "apex_start": say.short(),
        "edges": "plain only",
        "needs": [{"item": text, "where": "made", "substitute": say.short()} for text in say.every()],
        "minutes": {
            "one_run": 30, "whole": 60,
            "parts": {"once": 0, "sharpening": 10, "unit_seconds": 20, "value_seconds": 40, "runs_a_hand": 4, "source": say.short()},
        },
        "people": {"alone": say.short(), "two": say.short(), "three": say.short()},
        "practice_run": say.short(),
        "threats": [{"threat": "medium", "text": text, "steps": ["s1-prepare"]} for text in say.every()],
        "cautions": say.every(),
        "figures": [
            {"file": f"figures/{name}.svg", "sha256": hashlib.sha256(drawing.encode()).hexdigest(), "caption": say.short()}
            for name, drawing in SNEAKY_DRAWINGS.items()
        ],
        "note": say.long(),
    }  # fmt: skip


def _endpoint(say: Payloads, name: str, **rule: object) -> dict:
    assumed = {"ln_sd": 0.25, "prior_df": 4, "source": say.short()}
    spreads = {name: {"scale": 0.2, "df": 4, "source": say.short()} for name in AssumedSpreads.model_fields}
    told = {"id": name, "title": say.short(), "worthwhile_ratio": 1.25, "assumed_repeatability": assumed, "reason": say.short()}
    return told | {"assumed_spreads": spreads, **rule}


def _shown_of(front: dict) -> list[str]:
    """What a protocol's page must show as typed."""
    endpoints = [text for rule in front["endpoints"] for text in (rule["title"], rule["assumed_repeatability"]["source"])]
    endpoints += [one["source"] for rule in front["endpoints"] for one in rule["assumed_spreads"].values()]
    return [
        front["title"],
        front["question"]["text"],
        *(text for level in front["question"]["levels"] for text in (level["word"], level["text"])),
        front["changes"],
        front["medium"]["name"],
        front["reading"]["description"],
        *front["people"].values(),
        *endpoints,
        *(threat["text"] for threat in front["threats"]),
        *front["cautions"],
        *(figure["caption"] for figure in front["figures"]),
    ]


def _body(say: Payloads) -> str:
    """Markdown that tries everything; what it shows is for the sanitiser to decide."""
    figures = "\n\n".join(f"![{say.label()}](figures/{name}.svg)" for name in list(SNEAKY_DRAWINGS)[:3])
    cells = "\n".join(f"| {text.replace(chr(10), ' ')} | b |" for text in say.every())
    return "\n\n".join(
        [
            f"# {say.label()}",
            f"### s1-prepare · {say.short().splitlines()[0]}",
            *say.every(),
            f"### s2-cut {say.short().splitlines()[0]}",
            figures,
            "![out](http://elsewhere.invalid/x.png) ![up](../../../etc/passwd) ![js](javascript:alert(1))",
            f"| a | b |\n| - | - |\n{cells}",
            "```js\nalert(1)\n```",
            *(f"- {text}" for text in say.every()),
        ]
    )


def _write_objection(folder: Path, hostile: Hostile) -> None:
    say, common = hostile.payloads, {"format": "objection/1.0.0", "month": "2026-02"}
    against = {"protocol": PROTOCOL, "version": "1.0.0", "step": "s1-prepare"}
    statement = common | {"kind": "objection", "against": against, "title": say.short(), "threat": "order", "severity": "minor"}
    statement |= {
        "proposed_change": say.long(),
        "by": "dunlin",
        "interest": "owner",
        "evidence": [{"citation": t} for t in say.every()[:20]],
    }
    response = common | {"kind": "response", "response": "rebuttal", "evidence": [{"citation": t} for t in say.every()[:19]], "by": "wren"}
    response["evidence"].append({"submission": f"{RETRACTED}-1"})
    outcome = common | {"kind": "outcome", "outcome": "rebutted", "by": "ruff"}
    for address in ("/objections/", OBJECTION, f"/protocols/{PROTOCOL}/"):
        hostile.show(address, statement["title"])
    hostile.show(OBJECTION, *statement["proposed_change"].split("\n\n"), *(e["citation"] for e in statement["evidence"]))
    hostile.show(OBJECTION, *(e["citation"] for e in response["evidence"] if "citation" in e))
    for name, front in (("00-objection", statement), ("01-response", response), ("02-outcome", outcome)):
        body = say.every()
        hostile.show(OBJECTION, *body)
        _write(folder / f"{name}.md", _markdown(front, "\n\n".join(body)))


_THREAD = {"format": "objection/1.0.0", "month": "2026-06"}
_RAISED = _THREAD | {"kind": "objection", "threat": "order", "severity": "minor", "interest": "none", "by": "dunlin"}
_AT_A_STEP = {"protocol": PROTOCOL, "version": VERSIONS[0], "step": "s1-prepare"}


def _write_closing_objection(folder: Path, hostile: Hostile) -> None:
    """About safety and blocking, so that its title stands on a banner and where the first version's form was; cured in the second."""
    say = hostile.payloads
    raised = _RAISED | {"against": _AT_A_STEP, "title": say.short(), "threat": "safety", "severity": "blocking"}
    raised |= {"proposed_change": say.short()}
    cured = _THREAD | {"kind": "response", "response": "revision", "revised_in": VERSIONS[1], "interest": "maker", "by": "wren"}
    cured |= {"evidence": [{"citation": say.short()}]}
    decided = _THREAD | {"kind": "outcome", "outcome": "revised", "by": "ruff"}
    address = f"/objections/{PROTOCOL}/002/"
    for number, front in enumerate((raised, cured, decided)):
        body = say.every()
        hostile.show(address, *body)
        _write(folder / f"{number:02d}-{front['kind']}.md", _markdown(front, "\n\n".join(body)))
    hostile.show(address, raised["title"], raised["proposed_change"], cured["evidence"][0]["citation"])
    for place in (f"/protocols/{PROTOCOL}/{VERSIONS[0]}/", f"/protocols/{PROTOCOL}/{VERSIONS[1]}/changes/", "/objections/"):
        hostile.show(place, raised["title"])
    hostile.show(f"/tonight/{PROTOCOL}-{VERSIONS[0]}/", raised["title"])


def _write_struck_objection(folder: Path, hostile: Hostile) -> None:
    """Of which the reason is shown and nothing else."""
    say = hostile.payloads
    raised = _RAISED | {"against": _AT_A_STEP, "title": say.short(), "proposed_change": say.short()}
    raised |= {"evidence": [{"citation": say.short()}]}
    answer = _THREAD | {"kind": "response", "response": "more evidence wanted", "interest": "none", "by": "wren"}
    answer |= {"evidence": [{"citation": say.short()}]}
    bodies = [say.every(), say.every(), say.every()]
    struck = _THREAD | {"kind": "outcome", "outcome": "struck", "by": "ruff"}
    for number, (front, body) in enumerate(zip((raised, answer, struck), bodies, strict=True)):
        _write(folder / f"{number:02d}-{front['kind']}.md", _markdown(front, "\n\n".join(body)))
    hostile.show(f"/objections/{PROTOCOL}/003/", *bodies[2])
    citations = [front["evidence"][0]["citation"] for front in (raised, answer)]
    hostile.struck += [raised["title"], raised["proposed_change"], *citations, *bodies[0], *bodies[1]]


def _write_repetitions(folder: Path, hostile: Hostile) -> None:
    """Every payload as a title: in a heading, a page's title, a table, a link and the search."""
    for number, title in enumerate(hostile.payloads.every(), start=4):
        raised = _RAISED | {"against": {"protocol": PROTOCOL}, "title": title, "duplicate_of": 1}
        statement = hostile.payloads.short()
        _write(folder / f"{number:03d}-again" / "00-objection.md", _markdown(raised, statement))
        hostile.show(f"/objections/{PROTOCOL}/{number:03d}/", title, statement)
        hostile.show("/objections/", title)


def _write_objection_to_the_analysis(folder: Path, hostile: Hostile) -> None:
    title, body = hostile.payloads.short(), hostile.payloads.every()
    raised = _RAISED | {"against": {}, "title": title, "threat": "analysis", "simulated": True, "proposed_change": hostile.payloads.long()}
    raised |= {"evidence": [{"citation": hostile.payloads.short()}]}
    _write(folder / "00-objection.md", _markdown(raised, "\n\n".join(body)))
    cited = raised["evidence"][0]["citation"]
    hostile.show("/objections/analysis/001/", title, *body, *raised["proposed_change"].split("\n\n"), cited)


def _submission(hostile: Hostile, person: str, version: str, medium: str) -> dict:
    say = hostile.payloads
    note, says, stray = say.long(), say.short(), say.short()
    hostile.show(f"/submissions/measured/{PROTOCOL}/{person}-1/", *note.split("\n\n"), says)
    blades = {f"{person}.plain": "AISI 1095", f"{person}.stainless": "AISI 440C"}
    sharpeners = (person, f"{person}-friend")
    edges = [(blade, sharpener) for blade in blades for sharpener in sharpeners]
    return {
        "format": "submission/1.5.0",
        "id": f"{person}-1",
        "protocol": {"id": PROTOCOL, "version": version},
        "origin": "measured",
        "licence": "CC0-1.0",
        "submitted_by": person,
        "month": "2026-05",
        "people": [
            {"handle": handle, "agreed": "yes", "sharpening": used}
            for handle, used in zip(sharpeners, ("practised", "novice"), strict=True)
        ],
        "blades": [{"key": key, "steel": {"designation": steel}, "note": say.short()} for key, steel in blades.items()],
        "lots": [
            {"key": f"{person}.coil", "medium": medium, "note": say.short()},
            {"key": f"{person}.segments", "use": "reference edges", "note": say.short()},
        ],
        "references": [_reference(say, person)],
        "weights": [
            {
                "evening": 1, "instrument": f"{person}.scale", "note": say.short(),
                "known": {"written": 500, "unit": "g"}, "read": {"written": 5.0, "unit": "N"},
            }
        ],
        "instruments": [{"key": f"{person}.scale", "kind": say.short()}],
        "preparations": [_preparation(say, number, *edge) for number, edge in enumerate(edges, 1)],
        "runs": [_run(hostile, number, person) for number in range(1, len(edges) + 1)],
        "answers": [
            {"pointer": "/preparations/0/edge_angle/left_deg", "code": "wide-angle", "says": says},
            {"pointer": stray, "code": say.label(), "says": say.short()},
        ],
        "plan": {"id": f"{person}-plan", "opened": _plan(say, person, version, edges)},
        "note": note,
    }  # fmt: skip


def _reference(say: Payloads, person: str) -> dict:
    return {
        "when": "start",
        "evening": 1,
        "pack": f"{person}.segments",
        "segment": f"{person}.segment-1",
        "tester": person,
        "lot": f"{person}.coil",
        "instrument": f"{person}.scale",
        "work_unit": "cut",
        "reading_unit": "N",
        "readings": [
            {"work": work, "values": [{"written": force}, {"written": force + 0.05}], "note": say.short()}
            for work, force in ((0, 0.9), (10, 1.4))
        ],
        "note": say.short(),
    }


def _plan(say: Payloads, person: str, version: str, edges: list[tuple[str, str]]) -> dict:
    drawn = [{"order": n, "block": 1, "blade": edge[0], "sharpener": edge[1], "tester": person} for n, edge in enumerate(edges, 1)]
    return {
        "format": "plan/1.4.0",
        "id": f"{person}-plan",
        "protocol": {"id": PROTOCOL, "version": version},
        "month": "2026-05",
        "seed": 1,
        "blinding": "helper coded",
        "runs": [run | {"code": say.label(), "condition": say.label(), "level": say.label()} for run in drawn],
    }


def _preparation(say: Payloads, number: int, blade: str, sharpener: str) -> dict:
    return {
        "id": f"edge-{number}",
        "blade": blade,
        "sharpener": sharpener,
        "condition": say.label(),
        "edge_angle": {"basis": "per side", "left_deg": 30},
        "stages": [{"as_printed": text, "grit": say.label()} for text in say.every()],
        "deburring": say.short(),
        "strop": say.short(),
        "note": say.short(),
    }


def _run(hostile: Hostile, number: int, person: str) -> dict:
    say, level = hostile.payloads, hostile.levels[(number - 1) // 2]
    forces = [(0, 1.0), (5, 1.5 + 0.05 * number), (10, 2.0 + 0.1 * number), (20, 3.0), (40, 5.0 + 0.2 * number)]
    return {
        "id": f"run-{number}",
        "order": number,
        "preparation": f"edge-{number}",
        "level": level,
        "tester_guess": {"level": level},
        "tester": person,
        "lot": f"{person}.coil",
        "instrument": f"{person}.scale",
        "work_unit": "cut",
        "reading_unit": "N",
        "ended": "last checkpoint",
        "readings": [
            {"work": work, "values": [{"written": f"+{force}"}, {"written": round(force * 1.05, 3)}], "note": say.short()}
            for work, force in forces
        ],
        "note": say.short(),
    }
