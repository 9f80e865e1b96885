"""No code decides by reading a sentence: reasons, methods, caveats and sentences are compared by their codes."""

import ast
import re
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
PACKAGE = ROOT / "aggregator" / "edgehold"
STAGES = sorted(path.name for path in PACKAGE.iterdir() if (path / "__init__.py").is_file())
WORDS = re.compile(r"(^|_)(reason|reasons|why|sentence|caveat|method|remark|headline|weak|message|cure|meaning)$")
READING = {
    "startswith", "endswith", "removeprefix", "removesuffix", "split", "rsplit", "splitlines", "partition", "rpartition", "find", "rfind",
    "index", "replace", "count", "lower", "casefold", "translate",
}  # fmt: skip
PATTERNS = {"match", "fullmatch", "search", "findall", "finditer", "split", "sub"}
CODES = {"", "reml"}  # no reason; a method that other programs call by this name


def _is_words(node: ast.AST) -> bool:
    """Whether an expression is a field of words of another thing, such as ``contrast.reason``, or its text."""
    if isinstance(node, ast.Call) and ast.unparse(node.func) == "str" and node.args:
        return _is_words(node.args[0])
    return isinstance(node, ast.Attribute) and bool(WORDS.search(node.attr))


def decisions(source: str) -> list[int]:
    """Lines on which a field of words is looked into, or held against words."""
    return [node.lineno for node in ast.walk(ast.parse(source)) if isinstance(node, ast.expr | ast.Match) and _decides(node)]


def _decides(node: ast.AST) -> bool:
    if isinstance(node, ast.Match):
        return _is_words(node.subject)
    if isinstance(node, ast.Subscript):
        return _is_words(node.value) and not ast.unparse(node.value).endswith("reasons")  # these are looked up by what they are of
    if isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute):
        looked_into = node.func.attr in READING and _is_words(node.func.value)
        return looked_into or (node.func.attr in PATTERNS and any(map(_is_words, node.args)))
    if isinstance(node, ast.Compare):
        sides = [node.left, *node.comparators]
        inside = any(isinstance(op, ast.In | ast.NotIn) for op in node.ops)
        texts = [part.value for side in sides for part in ast.walk(side) if isinstance(part, ast.Constant) and isinstance(part.value, str)]
        return any(map(_is_words, sides)) and ((inside and any(map(_is_words, node.comparators))) or bool(set(texts) - CODES))
    return False


@pytest.mark.parametrize("stage", STAGES)
def test_no_stage_reads_its_own_sentences(stage):
    told = {
        str(path.relative_to(ROOT)): lines
        for path in sorted((PACKAGE / stage).rglob("*.py"))
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
        'one.reason != "singular"',
        'fit.method in ("REML", "exact")',
        "str(one.caveat).lower()",
        're.search("censored", one.reason)',
        "one.sentence[:8]",
        'finding.message.partition(": ")',
        'match one.reason:\n    case "few": pass',
    ],
)
def test_a_decision_on_words_is_found(source):
    assert decisions(source) == [1]


def test_codes_and_empty_reasons_are_no_decision_on_words():
    assert decisions('code_of(a.reason) in CODES\nif a.reason == "" or a.method == "reml": pass\nwords = f"{a.reason}."') == []
