"""A method of one's own from answers, as files: the protocol, the events that put it in review, and what its adoption still needs.

Nothing is copied by hand: tables are made from the settings, the hash from the bytes. ``site/pages/assets/form/method.js`` writes the same
bytes in the browser (``tests/browser/test_method_form.py``).
"""

from __future__ import annotations

import datetime
from collections.abc import Mapping
from pathlib import Path

from edgehold.disk import read_file
from edgehold.errors import InputError
from edgehold.records.layout import walk
from edgehold.records.model.protocol import Protocol
from edgehold.records.read.form import read_record
from edgehold.records.read.opening import decode, read_bytes
from edgehold.records.read.yaml_reading import parse_yaml, split_front_matter
from edgehold.records.report import harmless
from edgehold.words import Reason

from .answer_lines import Wrong, spaced
from .drafts import Draft, Given
from .method_settings import VERSION, settings, told
from .method_text import text_of
from .options import refuse_missing
from .questions import QUESTIONS
from .review_files import Review, review_files
from .writing import markdown_text, yaml_text


def answers_text() -> str:
    """The questions as a YAML file to fill in: needed ones first, with their help above."""
    parts: list[str] = [Reason("method_draft.answers_head", needed=sum(question.needed for question in QUESTIONS))]
    for question in QUESTIONS:
        parts += ["", f"# {question.label}. {question.help}"]
        if question.choices:
            parts.append(f"# {Reason('method_draft.answers_choices', words=', '.join(word for word, _ in question.choices))}")
        if question.example:
            parts.append(f"# {Reason('method_draft.answers_example', example=question.example)}")
        parts.append(f"{question.name}: |" if question.kind == "lines" else yaml_text({question.name: str(question.usual)}).rstrip("\n"))
    return "\n".join(parts) + "\n"


def read_answers(path: Path) -> dict[str, str]:
    """The answers in a file that `answers_text` began.

    Raises
    ------
    InputError
        It cannot be read, or holds something that was not asked.
    """
    text, unfit = decode(read_file(path))
    found = parse_yaml(text)
    found.problems[:0] = unfit
    if found.problems or not isinstance(found.tree, dict):
        raise InputError(f"{harmless(str(path))} holds no answers: {found.problems[0].message if found.problems else 'no names'}")
    known = [question.name for question in QUESTIONS]
    if unknown := [name for name in found.tree if name not in known]:
        raise InputError(f"{harmless(unknown[0])!r} was not asked; wanted {', '.join(known)}")
    return {name: "" if value is None else str(value) for name, value in found.tree.items()}


def method_draft(root: Path, name: str, answers: Mapping[str, str]) -> Draft:
    """A method of one's own with its events and what its adoption still needs, all from answers.

    Parameters
    ----------
    root : the repository's folder.
    name : the protocol's id.
    answers : by the question's name.

    Raises
    ------
    InputError
        Answers are missing or out of form, or the id is taken.
    """
    given, found = told({**answers, "id": name})
    taken = name in {path.split("/")[1] for path in walk(root).protocols}
    wrong = [*found, *([Wrong("id", Reason("method_draft.id_taken", text=name))] if taken else ())]
    if wrong:
        raise InputError(
            "\n".join([f"{len(wrong)} answers are missing or cannot be used:", *(f"  {one.name}: {one.why}" for one in wrong)])
        )
    tree = settings(given)
    record, problems = read_record(Protocol, tree)
    if record is None:
        lines = "\n".join(f"  {problem.pointer}: {problem.message}; {problem.cure}" for problem in problems)
        raise InputError(f"what the answers say is out of form:\n{lines}")
    text = markdown_text(tree, text_of(given))
    review = Review(spaced(answers.get("by", "")), f"{datetime.date.today():%Y-%m}", spaced(answers.get("evidence", "")))
    return Draft(f"protocols/{name}/{VERSION}.md", text, tuple(review_files(name, VERSION, text.encode(), tree, review, 1)))


def review_draft(root: Path, name: str, version: str, said: Given) -> Draft:
    """What puts a version that stands already in review: both events, and what its adoption still needs.

    Raises
    ------
    InputError
        There is no such version, its settings cannot be read, or it is not said who puts it in review.
    """
    refuse_missing("review", said)
    path, layout = f"protocols/{name}/{version}.md", walk(root)
    if path not in layout.protocols:
        raise InputError(f"there is no version {harmless(version)!r} of a protocol {harmless(name)!r}")
    data = read_bytes(root / path, "protocol")[0]
    parts = split_front_matter(decode(data)[0])
    tree = parse_yaml(parts[0]).tree if parts else None
    if not isinstance(tree, dict):
        raise InputError(f"{path} cannot be read; run 'edgehold check' and put that right first")
    first = 1 + max((int(place.split("/")[3][:3]) for place in layout.events if place.split("/")[1] == name), default=0)
    month = str(said.get("month") or f"{datetime.date.today():%Y-%m}")
    review = Review(str(said["by"]), month, spaced(str(said.get("evidence") or "")))
    (place, text), *rest = review_files(name, version, data, tree, review, first)
    return Draft(place, text.decode(), tuple(rest))
