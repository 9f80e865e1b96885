"""One submission answered by itself: how the files beside this one are read, and what the program says of them.

Each ``*.json`` here is one case: ``says`` what it shows, ``protocol`` a version of this repository with ``changes`` to its
front matter, ``repeatability`` what the form carries of the published table, ``submission`` the file as the form exports it,
``expected`` the answer, of its texts the codes. ``python -m tests.answers.write`` makes them; the tests compute every answer
anew, in Python and in the browser.
"""

from __future__ import annotations

import dataclasses
import functools
import json
from pathlib import Path

import yaml

from edgehold.forms.answer import answer_rules
from edgehold.records.model.protocol import Protocol
from edgehold.records.model.submission import Submission
from edgehold.records.registers import load_steels
from edgehold.report import answer_submission
from edgehold.results.model.repeatability import Content, PublishedRepeatability
from edgehold.results.publish.repeatability_file import content_sha256
from edgehold.words import Reason, filled_in, group
from tests.words.says import parsed

HERE = Path(__file__).parent
ROOT = HERE.parents[1]
TOLERANCE = 1e-6


def files() -> dict[str, dict]:
    """Every case by its name, the codes in its answer said in the catalogue's words."""
    found = {path.stem: json.loads(path.read_text(encoding="utf-8")) for path in sorted(HERE.glob("*.json"))}
    return {name: case | {"expected": said(case["expected"])} for name, case in found.items()}


def said(value: object) -> object:
    """A stored answer with its texts."""
    if isinstance(value, dict) and value.keys() == {"code", "arguments"}:
        return filled_in(value["code"], {name: said(argument) for name, argument in value["arguments"].items()})
    if isinstance(value, dict):
        return {
            name: {e: "; ".join(map(said, parts)) for e, parts in one.items()} if name == "methods" else said(one)
            for name, one in value.items()
        }
    return list(map(said, value)) if isinstance(value, list) else value


@functools.cache
def _front(name: str) -> dict:
    text = (ROOT / "protocols" / f"{name}.md").read_text(encoding="utf-8")
    return yaml.safe_load(text.split("---\n", 2)[1])


def protocol_of(case: dict) -> Protocol:
    """The protocol of a case: a version of this repository, its ``work`` and ``reading`` changed in part, other keys replaced."""
    front = dict(_front(case["protocol"]))
    for key, value in case["changes"].items():
        front[key] = front[key] | value if key in ("work", "reading") else value
    return Protocol.model_validate_json(json.dumps(front))


@functools.cache
def nothing_published() -> PublishedRepeatability:
    content = Content(format="repeatability/1.1.0", pools=())
    return PublishedRepeatability(**dict(content), sha256=content_sha256(content))


def rules_of(case: dict) -> dict[str, object]:
    """What the page is handed beside the submission."""
    return answer_rules(protocol_of(case), nothing_published(), load_steels()) | {"repeatability": case["repeatability"]}


def answered(case: dict) -> dict[str, object]:
    """What the program says, as plain JSON values."""
    return json.loads(json.dumps(_answered(case)))


def _answered(case: dict) -> dict[str, object]:
    record = Submission.model_validate_json(json.dumps(case["submission"]))
    return dataclasses.asdict(answer_submission(record, protocol_of(case), case["repeatability"], load_steels()))


def stored(case: dict) -> object:
    """The same as a file keeps it: a code with its arguments for every text of the catalogue."""
    found = _answered(case)
    return coded(found | {"methods": {name: list(map(fitting, text.split("; "))) for name, text in found["methods"].items()}})


def coded(value: object) -> object:
    """Every reason inside a value as its code and arguments."""
    if isinstance(value, Reason):
        return {"code": value.code, "arguments": coded(value.arguments)}
    if isinstance(value, dict):
        return {name: coded(one) for name, one in value.items()}
    return list(map(coded, value)) if isinstance(value, list | tuple) else value


def fitting(text: str) -> Reason:
    """The reason among those of estimates that a part of a method is."""
    found = ((f"estimates.{name}", parsed(text, f"estimates.{name}")) for name in group("estimates"))
    return next(Reason(code, **arguments) for code, arguments in found if arguments is not None)


def differences(expected: object, got: object, place: str = "", tolerance: float = TOLERANCE) -> list[str]:
    """Where two answers differ: numbers by more than ``tolerance`` (relative above 1), everything else at all."""
    if isinstance(expected, dict) and isinstance(got, dict):
        keys = sorted(set(expected) | set(got))
        return [d for k in keys for d in differences(expected.get(k, "absent"), got.get(k, "absent"), f"{place}/{k}", tolerance)]
    if isinstance(expected, list) and isinstance(got, list) and len(expected) == len(got):
        return [d for i, pair in enumerate(zip(expected, got, strict=True)) for d in differences(*pair, f"{place}/{i}", tolerance)]
    numbers = (int, float)
    if isinstance(expected, numbers) and isinstance(got, numbers):
        apart = abs(expected - got) > tolerance * max(1.0, abs(expected))
        return [f"{place}: {expected!r} expected, {got!r} got"] if apart else []
    return [] if expected == got else [f"{place}: {expected!r} expected, {got!r} got"]
