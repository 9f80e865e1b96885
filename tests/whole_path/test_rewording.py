"""Every pattern of the catalogue said in other words changes texts of a build and of reports alone: no number, verdict, order or name."""

import json
import random
import string

import pytest

from edgehold.everything import find_everything
from edgehold.report.assemble import report_json, report_on
from edgehold.results.publish.assemble import assemble
from edgehold.results.tables.pool_tables import tables
from edgehold.words import catalogue
from tests.report.reports import CASES, opened, table

from .test_one_failure import repository  # noqa: F401  (a fixture)

WORDS = ["oak", "elm", "ash", "fir", "yew", "bay", "box", "may"]
TEXTS = {
    "reason", "weak", "caveat", "sentence", "question", "estimand", "does_not_show", "claim", "note", "notes", "method", "methods_sentence",
    "matters_sentence", "headline", "within_note", "own_sharpening_note", "two_roles", "agreement", "probes_sentence", "fixed", "not_held",
    "values", "flags", "holds", "source", "sharpening", "versions", "interests", "tests", "not_fitted",
    "evidence_sentence", "hanging_sentence", "name", "why", "raised_by",
}  # fmt: skip

TEXTS_OF_REPORTS = {
    "headline", "owner_sentence", "sentence", "sentences", "verdict_sentence", "text", "pooled", "source", "methods", "notes", "reason",
    "reasons",
}  # fmt: skip


def reworded(seed):
    """The catalogue with other words around the same places."""
    rng = random.Random(seed)

    def said(text):
        places = [
            "{" + name + (f":{form}" if form else "") + "}" for _, name, form, _ in string.Formatter().parse(text) if name is not None
        ]
        return " ".join([rng.choice(WORDS), *(f"{rng.choice(WORDS)} {place}" for place in places), rng.choice(WORDS)])

    def other(pattern):
        return said(pattern) if isinstance(pattern, str) else pattern | {"one": said(pattern["one"]), "other": said(pattern["other"])}

    return {group: {code: other(pattern) for code, pattern in patterns.items()} for group, patterns in catalogue._groups().items()}


def built(repository):  # noqa: F811
    found = find_everything(repository)
    results = assemble(found)
    return results.model_dump(mode="json"), tables(found, results)


def differences(one, other, name=""):
    """Names of the fields in which two trees differ; one whose shape or number differs has a name of its own.

    Arguments of a reason may be texts of other reasons.
    """
    if name.endswith("_arguments"):
        return set() if one.keys() == other.keys() else {f"{name}: {sorted(one)} is {sorted(other)}"}
    if isinstance(one, dict) and isinstance(other, dict) and one.keys() == other.keys():
        return {found for key in one for found in differences(one[key], other[key], key)}
    if isinstance(one, list) and isinstance(other, list) and len(one) == len(other):
        return {found for a, b in zip(one, other, strict=True) for found in differences(a, b, name)}
    if isinstance(one, str) and isinstance(other, str):
        return {name} if one != other else set()
    return set() if one == other else {f"{name}: {one!r:.60} is {other!r:.60}"}


@pytest.fixture(scope="module")
def in_our_words(repository):  # noqa: F811
    return built(repository)


@pytest.mark.parametrize("seed", [1, 2])
def test_other_words_change_texts_alone(repository, in_our_words, monkeypatch, seed):  # noqa: F811
    results, files = in_our_words
    other_words = reworded(seed)
    monkeypatch.setattr(catalogue, "_groups", lambda: other_words)
    again, other_files = built(repository)
    changed = differences(results, again)
    assert {"reason", "not_held"} <= changed, "the other words were said"
    assert changed <= TEXTS, changed - TEXTS
    assert files.keys() == other_files.keys()
    heads = [{name: data.split(b"\n")[0] for name, data in each.items() if name.endswith(".csv")} for each in (files, other_files)]
    assert heads[0] == heads[1]


def reported():
    """Every third case of the shared corpus as a report, its methods as a list."""
    found = {name: json.loads(report_json(report_on(opened(name), table(name), weekly=300.0))) for name in sorted(CASES)[::3]}
    return [report | {"answer": report["answer"] | {"methods": list(report["answer"]["methods"].values())}} for report in found.values()]


def test_other_words_change_texts_of_reports_alone(monkeypatch):
    reports = reported()
    other_words = reworded(3)
    monkeypatch.setattr(catalogue, "_groups", lambda: other_words)
    changed = differences(reports, reported())
    assert {"headline", "text", "sentences", "sentence", "notes"} <= changed, "the other words were said"
    assert changed <= TEXTS_OF_REPORTS, changed - TEXTS_OF_REPORTS
