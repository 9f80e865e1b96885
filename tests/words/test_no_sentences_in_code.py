"""Sentences stand in the catalogue of words alone: no text of three words and more that a reader may see stands in code."""

import ast
import re
from pathlib import Path

import pytest

PACKAGE = Path(__file__).parents[2] / "aggregator" / "edgehold"
LEFT_OUT = {
    "demo": "what its invented people write is data",
    "words": "the catalogue itself",
    "cli.py": "help of the command line",
    "planning/options.py": "help of the command line",
    "review/options.py": "help of the command line",
    "review/command.py": "help of the command line",
    "records/rules/settings_text.py": "patterns looked for in what authors write",
    "results/tables": "descriptions of columns, beside the columns",
    "sheets/lines.py": "labels of a sheet, by which it is read back",
    "engine/cache.py": "what a database is asked",
    "sheets/rows.py": "labels of a sheet, by which it is read back",
}
NAMES = {  # no sentences: words that results, files and other programs use for one thing
    "no difference worth having",  # verdicts
    "different, size undecided",
    "scaled likelihood ratio",  # methods
    "satterthwaite-t, new hands",
    "part of the edge",  # terms of the models and columns of the probes
    "place in evening",
    "seal broken or late",
    "steels at equal value",  # what a probe asks for
    "larger worthwhile ratio",  # a remedy of a plan
    "changed in kind",  # what became of a file
    "Expecting property name enclosed in double quotes",  # what Python's reader of JSON says
}
NOT_READ = {"help", "description", "prog", "metavar"}  # keywords of argparse and of the fields of a schema
CALLS = re.compile(r"compile|einsum|say|_?check(ed|_each|_variances)|_finite|__init__")  # patterns, progress, refusals
WORD = re.compile(r"(?<![\w@#&./=|{-])[A-Za-z]['’a-z-]+(?![\w/=(|{-]|[.:]\w)|(?<= )a(?= )")
MARKUP = re.compile(r"<style>.*?</style>|<[^>]*>|[a-z]+-src 'none'.*|system-ui,.*", re.DOTALL)  # tags, styles, policies, fonts


def trees():
    for path in sorted(PACKAGE.rglob("*.py")):
        yield path.relative_to(PACKAGE).as_posix(), ast.parse(path.read_text(encoding="utf-8"))


def literals(tree):
    """Words of a closed list: what stands inside ``Literal[…]``."""
    for node in ast.walk(tree):
        if (
            isinstance(node, ast.Subscript)
            and isinstance(node.value, ast.Name | ast.Attribute)
            and ast.unparse(node.value).endswith("Literal")
        ):
            yield from (part.value for part in ast.walk(node.slice) if isinstance(part, ast.Constant))


def silent(tree):
    """Nodes whose texts no reader of results meets: docstrings, exceptions and what is put together for one, help, and `CALLS`."""
    for node in ast.walk(tree):
        if isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant):
            yield node.value
        elif isinstance(node, ast.Raise):
            yield node
        elif isinstance(node, ast.If | ast.For | ast.ExceptHandler) and isinstance(node.body[-1], ast.Raise):
            yield from node.body
        elif isinstance(node, ast.keyword) and node.arg in NOT_READ:
            yield node.value
        elif isinstance(node, ast.Call) and CALLS.fullmatch(ast.unparse(node.func).rpartition(".")[2]):
            yield from node.args


def sentences(tree, words=frozenset()):
    """Lines and texts of three words and more, without what `silent` names and the ``words`` of closed lists."""
    left_out = {id(part) for node in silent(tree) for part in ast.walk(node)}
    left_out |= {id(part) for node in ast.walk(tree) if isinstance(node, ast.JoinedStr) for part in node.values}
    for node in ast.walk(tree):
        if id(node) in left_out:
            continue
        if isinstance(node, ast.JoinedStr):
            text = "".join(str(part.value) if isinstance(part, ast.Constant) else " " for part in node.values)
        elif isinstance(node, ast.Constant) and isinstance(node.value, str) and node.value not in words:
            text = node.value
        else:
            continue
        if len(WORD.findall(MARKUP.sub(" ", text))) >= 3:
            yield node.lineno, text


def test_names_that_are_no_sentences_are_all_in_use():
    assert {node.value for _, tree in trees() for node in ast.walk(tree) if isinstance(node, ast.Constant)} >= NAMES


def test_no_sentence_stands_in_code():
    closed = {word for _, tree in trees() for word in literals(tree)} | NAMES
    found = {
        f"{path}:{line}": text
        for path, tree in trees()
        if not any(path == name or path.startswith(f"{name}/") for name in LEFT_OUT)
        for line, text in sentences(tree, closed)
    }
    assert found == {}


@pytest.mark.parametrize("name", LEFT_OUT)
def test_what_is_left_out_is_there_and_needs_it(name):
    texts = [text for path, tree in trees() if path == name or path.startswith(f"{name}/") for _, text in sentences(tree)]
    assert texts or name == "words"


@pytest.mark.parametrize(
    "source",
    [
        'told = "nothing was written here"',
        'told = f"{path} was read twice"',
        'say("x") if a else "there is none"',
        'TEXTS = {"a": ("b", "They cannot be told apart.")}',
        'page = "<p>Nobody tested this steel.</p>"',
    ],
)
def test_a_planted_sentence_is_found(source):
    assert [line for line, _ in sentences(ast.parse(source))] == [1]


@pytest.mark.parametrize(
    "source",
    [
        '"""A module of three words and more."""',
        'raise ValueError(f"got {x}, wanted a positive number")',
        'parser.add_argument("--x", help="what is looked for here")',
        're.compile("one or two words")',
        '"/runs/0/readings"; "text-length"; "planner.no_such_place"; "<path d=\'M{x}\' class=\'a b c\'/>"',
    ],
)
def test_what_no_reader_meets_is_no_sentence(source):
    assert list(sentences(ast.parse(source))) == []
