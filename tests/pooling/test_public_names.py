"""What the documents say can be imported from ``edgehold.pooling`` can be, and is a function."""

import importlib
import inspect
import re
import subprocess
import sys
from pathlib import Path

import pytest

import edgehold.pooling
from tests.imports import module_name

ROOT = Path(__file__).parents[2]
TABLE = edgehold.pooling.__doc__[edgehold.pooling.__doc__.index("Every name below") :]
ROWS = [line[:34] for part in TABLE.split("\n\n") if part.startswith("====") for line in part.splitlines() if line.startswith("``")]
NAMES = [name for row in ROWS for name in re.findall(r"``(\w+)``", row)]
DOCUMENTS = ("DEVELOPERS.md", "site/pages/methods.md", "aggregator/edgehold/pooling/__init__.py")
IMPORT = re.compile(r"from edgehold\.pooling import ([\w, ]+)")


@pytest.mark.parametrize("name", NAMES)
def test_every_name_of_the_table_is_a_function(name):
    scope = {}
    exec(f"from edgehold.pooling import {name}", scope)  # as the document writes it
    assert inspect.isfunction(scope[name])


def test_the_table_and_all_name_the_same():
    assert sorted(NAMES) == sorted(edgehold.pooling.__all__)
    assert len(NAMES) == len(set(NAMES))


@pytest.mark.parametrize("document", DOCUMENTS)
def test_every_import_in_a_document_gives_functions(document):
    text = (ROOT / document).read_text(encoding="utf-8")
    named = {name.strip() for match in IMPORT.findall(text) for name in match.split(",")}
    assert named or document == "site/pages/methods.md"
    assert all(inspect.isfunction(getattr(edgehold.pooling, name)) for name in named)


def test_importing_every_module_leaves_the_functions_in_place():
    for path in sorted((ROOT / "aggregator" / "edgehold" / "pooling").rglob("*.py")):
        if path.stem in edgehold.pooling.__all__:
            module = importlib.import_module(module_name(path))
            assert getattr(edgehold.pooling, path.stem) is getattr(module, path.stem)


def test_help_reads_nothing_of_this_stage():
    told = "import sys, edgehold.cli as c; c._parser(); print('edgehold.pooling' in sys.modules)"
    assert subprocess.run([sys.executable, "-c", told], cwd=ROOT, capture_output=True, text=True, check=True).stdout == "False\n"
