"""Who imports whom in the program: relative imports and those for the type checker alone are imports too."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from functools import cache
from pathlib import Path

PACKAGE = Path(__file__).parents[1] / "aggregator" / "edgehold"


def module_name(path: Path, package: Path = PACKAGE) -> str:
    """The dotted name of a file."""
    parts = (package.name, *path.relative_to(package).with_suffix("").parts)
    return ".".join(parts[:-1] if parts[-1] == "__init__" else parts)


def modules(package: Path = PACKAGE) -> dict[str, Path]:
    """The files of a package, by the names of their modules."""
    return {module_name(path, package): path for path in sorted(package.rglob("*.py"))}


@cache
def imports(package: Path = PACKAGE) -> dict[str, set[str]]:
    """Modules that each module of a package imports from it."""
    files = modules(package)
    return {name: _imported(name, path, set(files)) - {name} for name, path in files.items()}


def statements(node: ast.AST) -> Iterator[ast.AST]:
    """All statements below a node, without the expressions in them: no import stands in one."""
    for child in ast.iter_child_nodes(node):
        if isinstance(child, ast.stmt | ast.ExceptHandler | ast.match_case):
            yield child
            yield from statements(child)


def _imported(name: str, path: Path, known: set[str]) -> set[str]:
    within = name.split(".") if path.stem == "__init__" else name.split(".")[:-1]
    found = set()
    for node in statements(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            up = within[: len(within) - node.level + 1] if node.level else []
            base = ".".join([*up, *([node.module] if node.module else [])])
            found |= {f"{base}.{alias.name}" if f"{base}.{alias.name}" in known else base for alias in node.names}
    return found & known


def circles(graph: dict[str, set[str]]) -> list[list[str]]:
    """Sets of nodes that reach each other, each sorted."""
    reach = {node: _reached(graph, node) for node in graph}
    found = {tuple(sorted(other for other in reach[node] if node in reach.get(other, ()))) for node in graph if node in reach[node]}
    return sorted(map(list, found))


def _reached(graph: dict[str, set[str]], start: str) -> set[str]:
    seen: set[str] = set()
    left = list(graph[start])
    while left:
        node = left.pop()
        if node not in seen:
            seen.add(node)
            left += graph.get(node, ())
    return seen


def between_packages(graph: dict[str, set[str]], depth: int = 2) -> dict[str, set[str]]:
    """The same between the parts right below the package (depth 2), or below those (3); a part is a folder or a module."""
    found: dict[str, set[str]] = {}
    for name, others in graph.items():
        mine = part_of(name, depth)
        found.setdefault(mine, set()).update(part_of(other, depth) for other in others)
    return {part: others - {part} for part, others in found.items()}


def part_of(name: str, depth: int = 2) -> str:
    """The part that a module stands in: right below the package, or deeper."""
    return ".".join(name.split(".")[:depth])
