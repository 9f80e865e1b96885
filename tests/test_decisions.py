"""No code decides by reading a sentence: reasons, methods, caveats and sentences are compared by their codes."""

import ast
import re
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
STAGES = ("endpoints", "estimates", "pooling", "numerics", "results", "forms", "pages", "report", "planning", "review")
WORDS = re.compile(r"(^|_)(reason|reasons|why|sentence|caveat|method|remark|headline|weak)$")
READING = {"startswith", "endswith", "removeprefix", "removesuffix", "split", "partition", "find", "index", "replace", "count"}


def _is_words(node: ast.AST) -> bool:
    """Whether an expression is a field of words of another thing, such as ``contrast.reason``."""
    return isinstance(node, ast.Attribute) and bool(WORDS.search(node.attr))


def decisions(source: str) -> list[int]:
    """Lines on which a field of words is looked into, or held against words."""
    found = []
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute) and node.func.attr in READING and _is_words(node.func.value):
            found.append(node.lineno)
        if isinstance(node, ast.Compare):
            sides = [node.left, *node.comparators]
            inside = any(isinstance(op, ast.In | ast.NotIn) for op in node.ops) and any(map(_is_words, node.comparators))
            texts = [side.value for side in sides if isinstance(side, ast.Constant) and isinstance(side.value, str)]
            if inside or (any(map(_is_words, sides)) and any(" " in text for text in texts)):
                found.append(node.lineno)
    return found


@pytest.mark.parametrize("stage", STAGES)
def test_no_stage_reads_its_own_sentences(stage):
    told = {
        str(path.relative_to(ROOT)): lines
        for path in sorted((ROOT / "aggregator" / "edgehold" / stage).rglob("*.py"))
        if (lines := decisions(path.read_text(encoding="utf-8")))
    }
    assert told == {}


def test_no_template_looks_into_a_sentence():
    looked = re.compile(r"\bin\s+\w+\.(?:\w+_)?(?:reason|sentence|caveat|method|headline)\b(?!s)")
    told = {
        path.name: found
        for path in (ROOT / "aggregator/edgehold/pages/templates").glob("*.html")
        if (found := looked.findall(path.read_text("utf-8")))
    }
    assert told == {}


@pytest.mark.parametrize(
    "source",
    [
        'if "censored" in contrast.reason: pass',
        'contrast.reason.startswith("cannot be told apart")',
        'estimate.method.split("; ")',
        "a.sentence in pool.headline",
        'one.reason == "no submission holds both"',
    ],
)
def test_a_decision_on_words_is_found(source):
    assert decisions(source) == [1]


def test_codes_and_empty_reasons_are_no_decision_on_words():
    assert decisions('code_of(a.reason) in CODES\nif a.reason == "" or a.method == "reml": pass\nwords = f"{a.reason}."') == []
