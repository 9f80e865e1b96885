"""A stage imports from stages to its left, from errors, reasons and numerics; never to its right."""

import ast
from pathlib import Path

import pytest

PACKAGE = Path(__file__).parents[1] / "aggregator"
STAGES = ["records", "endpoints", "estimates", "pooling", "bundle", "pages"]
BESIDE = {"bundle": {"review"}}
"""What stands beside the path and may be imported all the same: it knows the records and nothing else."""
MODULES = [(stage, path) for stage in ["numerics", *STAGES] for path in sorted((PACKAGE / stage).rglob("*.py"))]


def _imported_parts(path: Path) -> set[str]:
    """First package below ``aggregator`` of every absolute import in a module."""
    names = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        modules = [node.module or ""] if isinstance(node, ast.ImportFrom) and node.level == 0 else []
        modules += [alias.name for alias in node.names] if isinstance(node, ast.Import) else []
        names |= {module.split(".")[1] for module in modules if module.startswith("aggregator.")}
    return names


@pytest.mark.parametrize(("stage", "path"), MODULES, ids=lambda value: getattr(value, "stem", value))
def test_a_stage_imports_only_from_its_left(stage, path):
    left = STAGES[: STAGES.index(stage)] if stage in STAGES else []
    allowed = {*left, stage, "errors", "reasons", "counted", "numerics", "registers", *BESIDE.get(stage, ())}
    assert _imported_parts(path) <= allowed


def test_what_the_bundle_takes_from_beside_the_path_knows_the_records_alone():
    for path in (PACKAGE / "review").glob("*.py"):
        assert _imported_parts(path) <= {"records", "review", "errors"}


def test_every_stage_has_modules_to_look_at():
    assert {stage for stage, _ in MODULES} == {"numerics", *STAGES}


def test_numerics_knows_no_library_but_numpy_and_scipy():
    for path in (PACKAGE / "numerics").glob("*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.ImportFrom) and node.level == 0:
                assert node.module.split(".")[0] in {
                    "__future__", "aggregator", "collections", "dataclasses", "functools", "itertools", "math", "numpy", "scipy", "typing",
                }  # fmt: skip
