"""A stage imports from stages to its left, from errors, words and numerics; never to its right, and nothing goes round in a circle."""

import ast

import pytest

from tests.imports import PACKAGE, between_packages, circles, imports, modules, part_of, statements

STAGES = ["records", "endpoints", "estimates", "pooling", "results", "forms", "pages"]
EVERYWHERE = {"errors", "words", "counted", "cycles", "disk", "engine", "numerics"}
BESIDE = {"results": {"archive"}, "forms": {"review", "planning", "cards"}, "pages": {"cards", "archive"}}
"""What stands beside the path and may be imported all the same: it knows nothing to the right of its reader."""
MODULES = [name for name in modules() if part_of(name).removeprefix("edgehold.") in {"numerics", *STAGES}]


@pytest.mark.parametrize("module", MODULES)
def test_a_stage_imports_only_from_its_left(module):
    stage = part_of(module).removeprefix("edgehold.")
    left = STAGES[: STAGES.index(stage)] if stage in STAGES else []
    imported = {part_of(other).removeprefix("edgehold.") for other in imports()[module]} - {"edgehold"}
    assert imported <= {*left, stage, *EVERYWHERE, *BESIDE.get(stage, ())}


def test_what_the_forms_take_from_beside_the_path_knows_the_records_alone():
    review = [name for name in imports() if part_of(name) == "edgehold.review"]
    assert len(review) > 5
    for name in review:
        assert {part_of(other).removeprefix("edgehold.") for other in imports()[name]} <= {
            "records",
            "review",
            "errors",
            "disk",
            "words",
        }, name


def test_the_cards_know_the_records_and_the_words_alone():
    cards = [name for name in imports() if part_of(name) == "edgehold.cards"]
    assert len(cards) > 2
    for name in cards:
        assert {part_of(other) for other in imports()[name]} - {"edgehold"} <= {
            "edgehold.records",
            "edgehold.cards",
            "edgehold.words",
            "edgehold.errors",
        }, name


def test_the_screens_know_records_and_estimates_alone():
    screens = [name for name in imports() if part_of(name) == "edgehold.screens"]
    assert len(screens) > 5
    known = {f"edgehold.{part}" for part in ("screens", "records", "estimates", *EVERYWHERE)}
    for name in screens:
        assert {part_of(other) for other in imports()[name]} - {"edgehold"} <= known, name


def test_the_archive_knows_files_and_words_alone():
    kept = [name for name in imports() if part_of(name) == "edgehold.archive"]
    assert len(kept) > 3
    for name in kept:
        assert {part_of(other) for other in imports()[name]} - {"edgehold"} <= {
            "edgehold.archive",
            "edgehold.words",
            "edgehold.errors",
            "edgehold.disk",
        }, name


def test_the_engine_knows_nothing_of_what_it_does():
    engine = [name for name in imports() if part_of(name) == "edgehold.engine"]
    assert len(engine) > 3
    for name in engine:
        assert {part_of(other) for other in imports()[name]} - {"edgehold"} <= {"edgehold.engine", "edgehold.errors", "edgehold.words"}, (
            name
        )


def test_the_planner_knows_no_form_and_no_page():
    planning = [name for name in imports() if part_of(name) == "edgehold.planning"]
    assert len(planning) > 10
    left = {f"edgehold.{stage}" for stage in ("planning", "cards", *STAGES[: STAGES.index("forms")], *EVERYWHERE)}
    for name in planning:
        assert {part_of(other) for other in imports()[name]} - {"edgehold"} <= left, name


def test_every_stage_has_modules_to_look_at():
    assert {part_of(name).removeprefix("edgehold.") for name in MODULES} == {"numerics", *STAGES}


def test_numerics_knows_no_library_but_numpy_and_scipy():
    for path in (PACKAGE / "numerics").glob("*.py"):
        for node in statements(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.ImportFrom) and node.level == 0:
                assert node.module.split(".")[0] in {
                    "__future__", "edgehold", "collections", "dataclasses", "functools", "itertools", "math", "numpy", "scipy", "typing",
                }  # fmt: skip


def test_one_module_alone_knows_the_site_generator():
    knowing = [path.relative_to(PACKAGE).as_posix() for path in PACKAGE.rglob("*.py") if "mkdocs" in _libraries(path)]
    assert knowing == ["pages/shell.py"]


def _libraries(path):
    nodes = list(statements(ast.parse(path.read_text(encoding="utf-8"))))
    absolute = [node.module for node in nodes if isinstance(node, ast.ImportFrom) and node.level == 0]
    return {
        name.split(".")[0] for name in (*absolute, *(alias.name for node in nodes if isinstance(node, ast.Import) for alias in node.names))
    }


def test_no_module_and_no_package_imports_itself_through_others():
    assert circles(imports()) == []
    assert circles(between_packages(imports())) == []
    assert circles(between_packages(imports(), depth=3)) == [], "rooms inside a stage"


def test_the_guard_sees_relative_imports_those_for_types_and_circles(tmp_path):
    package = tmp_path / "made"
    (package / "one").mkdir(parents=True)
    (package / "two").mkdir()
    for name, text in {
        "__init__.py": "",
        "one/__init__.py": "",
        "two/__init__.py": "",
        "one/a.py": "from typing import TYPE_CHECKING\nif TYPE_CHECKING:\n    from ..two.b import B\n",
        "two/b.py": "from . import c\n",
        "two/c.py": "import made.one.a\n",
    }.items():
        (package / name).write_text(text, encoding="utf-8")
    graph = imports(package)
    assert graph["made.one.a"] == {"made.two.b"} and graph["made.two.b"] == {"made.two.c"}
    assert circles(graph) == [["made.one.a", "made.two.b", "made.two.c"]]
    assert circles(between_packages(graph)) == [["made.one", "made.two"]]
    assert circles({"a": {"b"}, "b": set()}) == []
