"""The catalogue: every code in use has a pattern, every pattern is in use, and a reason is its words with its code."""

import ast
import json
import pickle
import re
import string

import pytest

from edgehold.numerics.attempt import NotFitted
from edgehold.words import Reason, arguments_of, code_of, group, pattern_codes
from edgehold.words.catalogue import FOLDER, filled_in
from tests.words.write_listing import COUNTED, LISTING, listing

PACKAGE = FOLDER.parents[1]
SPELT = re.compile(r"[a-z_]+\.(?!(css|csv|html|json)$)[a-z0-9_-]+")  # a file may be called as a group of codes is


def test_a_reason_is_its_words_and_knows_its_code_also_in_another_process():
    made = Reason("contrasts.together", factor="the blade", others="who sharpened")
    assert made == "the blade and who sharpened change together in these runs and cannot be told apart"
    for again in (made, pickle.loads(pickle.dumps(made))):
        assert type(again) is Reason and again == str(made)
        assert (code_of(again), arguments_of(again)) == ("contrasts.together", {"factor": "the blade", "others": "who sharpened"})


def test_what_is_not_fitted_stays_so_in_another_process():
    again = pickle.loads(pickle.dumps(NotFitted("numerics.singular")))
    assert type(again) is NotFitted and again.code == "numerics.singular" and again.startswith("not fitted: ")


def test_words_alone_have_no_code():
    assert code_of("cannot be told apart: plain words") == "" and arguments_of("plain words") == {}


def test_a_code_or_an_argument_that_is_not_there_is_a_mistake():
    for code, arguments in (("contrasts.nothing", {}), ("nothing.no_run", {}), ("contrasts.no_run", {})):
        with pytest.raises(KeyError):
            filled_in(code, arguments)


def strings():
    """Every text in the program that reads like a code, f-strings with their open places as a pattern."""
    for path in sorted(PACKAGE.rglob("*.py")):
        nodes = list(ast.walk(ast.parse(path.read_text(encoding="utf-8"))))
        parts_of_others = {id(part) for node in nodes if isinstance(node, ast.JoinedStr) for part in node.values}
        for node in nodes:
            if id(node) in parts_of_others:
                continue
            if isinstance(node, ast.Constant) and isinstance(node.value, str) and SPELT.fullmatch(node.value):
                yield re.escape(node.value)
            elif isinstance(node, ast.JoinedStr):
                parts = [re.escape(part.value) if isinstance(part, ast.Constant) else "[a-z0-9_ -]+" for part in node.values]
                if re.match(r"[a-z_]+\\\.", parts[0]):
                    yield "".join(parts)


SENTENCES = (
    "all_runs", "archive", "blank_sheet", "card", "chooser", "citing", "compare", "curve_pairs", "drafts", "errors", "explorer", "forms",
    "grades", "kit", "linkage", "marks", "method_draft", "method_questions", "model_answer", "moves", "network", "news", "own_answer",
    "pages", "plan", "planner", "probes", "published", "references", "report", "request_summary",
    "schemas", "screens", "search", "sending", "steels", "structured", "studies_answer", "study_checks", "tables", "waiting", "warnings",
)  # groups of whole sentences  # fmt: skip
HANDED_OUT = (
    "card", "chooser", "endpoints", "errors", "explorer", "flags", "factors", "contrasts", "estimates", "letters", "numbers", "own_answer",
    "planner", "method_draft", "method_questions", "questions", "sending", "warnings",
)  # whole groups, for the browser to fill in, and codes of findings  # fmt: skip


def test_every_pattern_is_in_use_and_every_code_has_one():
    used, codes = set(strings()), set(pattern_codes())
    uses = {one: _codes_of(one, codes) for one in used}
    named = set().union(*uses.values())
    idle = {code for code in pattern_codes() if code not in named and code.split(".")[0] not in HANDED_OUT}
    assert idle == set()
    groups = {code.split(".")[0] for code in pattern_codes()}
    missing = {one for one in used if one.split("\\.")[0] in groups and not uses[one]}
    assert missing == set()


def _codes_of(one, codes):
    """Codes that a text of `strings` may stand for: a text without an open place for itself alone."""
    if "[" not in one:
        return {re.sub(r"\\(.)", r"\1", one)} & codes
    compiled = re.compile(one)
    return {code for code in codes if compiled.fullmatch(code)}


@pytest.mark.parametrize("path", sorted(FOLDER.glob("*.json")), ids=lambda path: path.stem)
def test_patterns_are_plain_and_plurals_whole(path):
    for name, pattern in json.loads(path.read_text(encoding="utf-8")).items():
        texts = [pattern] if isinstance(pattern, str) else [pattern["one"], pattern["other"]]
        assert isinstance(pattern, str) or set(pattern) == {"count", "one", "other"}, name
        for text in texts:
            assert (text == text.strip() and not text.endswith(".")) or text.endswith("?") or path.stem in SENTENCES, (name, text)
            assert all(place is None or place.isidentifier() for _, place, _, _ in string.Formatter().parse(text)), name


@pytest.mark.parametrize("name", HANDED_OUT)
def test_what_the_browser_fills_in_has_only_places_that_the_browser_can_fill(name):
    for entry, pattern in group(name).items():
        texts = [pattern] if isinstance(pattern, str) else [pattern["one"], pattern["other"]]
        formats = {form for text in texts for _, place, form, _ in string.Formatter().parse(text) if place}
        assert [form for form in formats if not re.fullmatch(r"(\.\d+)?[gf]|", form or "")] == [], entry


def test_the_listing_holds_every_pattern_with_an_example():
    assert LISTING.read_text(encoding="utf-8") == listing(), "run: python -m tests.words.write_listing"


def test_a_pattern_that_counts_stands_in_the_listing_with_none_one_and_two():
    lines = LISTING.read_text(encoding="utf-8").splitlines()
    counting = [code for code in pattern_codes() if isinstance(group(code.partition(".")[0])[code.partition(".")[2]], dict)]
    assert len(counting) > 100
    for code in counting:
        pattern = group(code.partition(".")[0])[code.partition(".")[2]]
        told = [line for line in lines if line.startswith(f"{code}: ")]
        assert len(told) == len(COUNTED) == 3, code
        assert (told[0] == told[2]) == (f"{{{pattern['count']}" not in pattern["other"]), f"{code}: none and two in the same words"


LIMITS = {"least", "most", "least_runs", "least_submissions", "largest"}
VERBS = {
    "is", "was", "has", "does", "lies", "as", "its", "this", "tests", "sharpens", "sends", "makes", "names", "overtakes", "arrives", "lets",
    "keeps", "comes", "asks", "says", "cuts", "withdraws", "multiplies", "sells", "holds", "gives", "compares", "changes", "takes",
    "matters", "adopts", "sharpness", "stands", "depends", "carries", "lasts", "stays", "goes", "repeats", "retracts", "tells",
    "lists", "begins", "rests", "differs",
}  # fmt: skip
NOUNS = re.compile(r"\{(\w+)(?::[^}]*)?\} (?:(?!when |was |of |typically |number |times )[a-z]+ )?(\w+s|people)\b")
ONE_IS_ANOTHER_PATTERN = {
    "compare.evidence_both", "estimates.splits", "plan.more_runs", "plan.more_runs_than_wished", "protocols.endpoints_primary",
    "search.other", "report.others", "report.worth_learning", "studies_answer.each_a_study", "studies_answer.listed",
    "studies_answer.pooled",
}  # fmt: skip
"""Where one has a pattern of its own, or never arises: three studies are pooled, a round has two runs."""
NEVER_ONE = {
    "bytes": "files and limits are of thousands",
    "characters": "a limit, or what goes beyond it",
    "letters": "a block has hundreds",
    "minutes": "of an evening, a run or a week: a figure reckoned, beside others",
    "times": "a ratio",
    "degrees": "degrees of freedom, reckoned",
    "years": "a limit",
    "rounds": "a limit",
    "cycles": "a limit",
    "steps": "a limit",
    "points": "thousands are drawn",
    "digits": "a limit",
    "dimensions": "one is told in closed form",
    "levels": "too many",
    "lives": "too many",
    "means": "two are compared",
    "values": "two or more",
    "groups": "a network that falls apart",
    "tables": "a plan for several",
    "parts": "an archive has several",
    "blocks": "of one there is no finding",
    "pairs": "of two or more",
    "people": "who met in both roles, several",
    "files": "the demonstration is of hundreds",
    "edges": "a round has two at least",
    "evenings": "more than there are",
    "hours": "as somebody says",
    "metres": "too many",
    "micrometres": "a size",
    "objects": "a limit",
    "rows": "a limit",
    "columns": "a limit",
    "entries": "a limit",
    "independent": "three at least",
    "sharpeners": "of one there is another pattern",
    "blades": "of one there is another pattern",
}


def test_numbers_agree_with_their_nouns():
    """A number that may be one is counted by its pattern; a further one in it stands where it decides no noun, or is never one."""
    wrong = []
    for code in pattern_codes():
        pattern = group(code.partition(".")[0])[code.partition(".")[2]]
        own, text = ("", pattern) if isinstance(pattern, str) else (pattern["count"], pattern["other"])
        for found in NOUNS.finditer(text):
            if found[1] == own or found[2] in NEVER_ONE or found[2].lower() in VERBS or code in ONE_IS_ANOTHER_PATTERN:
                continue
            if re.search(r"\{\w+\} of $", text[: found.start()]) or found[1] in LIMITS:
                continue  # "1 of 6 runs"
            wrong.append((code, found[0]))
    assert wrong == []
