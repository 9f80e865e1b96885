"""The examples in the docstrings run, and print the published figures they name."""

import doctest
import importlib
from pathlib import Path

import pytest

import edgehold
import edgehold.pooling
from tests.imports import module_name

PACKAGE = Path(edgehold.__file__).parent
WITH_EXAMPLES = [path for path in sorted(PACKAGE.rglob("*.py")) if ">>> " in path.read_text(encoding="utf-8")]
FOR_OTHER_DATA = (
    "best_exchanges",
    "cluster_robust",
    "cochran_q",
    "confidence_distribution",
    "crossed",
    "crossed_censored",
    "hierarchical",
    "influence",
    "interlaboratory",
    "leave_one_out",
    "max_t_quantile",
    "network",
    "q_profile",
    "random_effects",
    "separability",
    "small_study_test",
    "three_level",
    "trim_and_fill",
)


@pytest.mark.parametrize("path", WITH_EXAMPLES, ids=lambda path: path.relative_to(PACKAGE).with_suffix("").as_posix())
def test_the_examples_of_a_module_print_what_stands_there(path):
    found = doctest.testmod(importlib.import_module(module_name(path)), report=True)
    assert found.failed == 0 < found.attempted


@pytest.mark.parametrize("name", FOR_OTHER_DATA)
def test_a_function_for_other_data_has_an_example_and_imports_itself_in_it(name):
    (example,) = doctest.DocTestFinder(recurse=False).find(getattr(edgehold.pooling, name), name)
    sources = [part.source for part in example.examples]
    assert any(part.want for part in example.examples)
    assert any("import" in source and name in source for source in sources)
