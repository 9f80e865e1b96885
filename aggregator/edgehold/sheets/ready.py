"""The commonest case, drawn for every protocol version: two edges, or one of each level, the least runs, nobody's name.

Whoever uses it tosses a coin for who is A, or which blade is 1; then the order is random for them too.
"""

from __future__ import annotations

import hashlib
import random
from collections.abc import Collection
from pathlib import Path

from edgehold.disk import read_text
from edgehold.engine.tasks import AWAITED, each
from edgehold.pages.sheet_pages import SheetView
from edgehold.records.canonical import LoadedProtocol, Repository
from edgehold.records.model.protocol import Protocol
from edgehold.records.pairs import half_of, partner_of
from edgehold.records.read.opening import LARGEST_BYTES

from .files import sheet_csv, sheet_xlsx
from .printed import sheet_view
from .rows import SheetPlan, SheetRun

_SEEDS = 1_000_000
WORK = 500  # milliseconds that writing one takes
EDGES = 2  # of the commonest case; levels may be more


ReadySheet = tuple[SheetView, dict[str, bytes]]
"""The print page as the site shows it, and the same sheet as files by kind (csv, xlsx)."""


def ready_sheets(repository: Repository, keys: Collection[tuple[str, str]]) -> dict[tuple[str, str], ReadySheet]:
    """A sheet for each of the protocol versions named."""
    protocols = [repository.protocols[key] for key in keys]
    jobs = [(one.record, one.body, protocol_figures(one, repository.root)) for one in protocols]
    return dict(zip(keys, each(_written, jobs, [AWAITED + WORK] * len(jobs)), strict=True))


def _written(record: Protocol, body: str, figures: dict[str, str]) -> ReadySheet:
    plan = ready_plan(record)
    view = sheet_view(plan, record, figures, body, key=True)
    return view, {"csv": sheet_csv(plan, record), "xlsx": sheet_xlsx(plan, record)}


def protocol_figures(protocol: LoadedProtocol, root: Path) -> dict[str, str]:
    """The protocol's drawings as SVG, by path beside the protocol."""
    folder = (root / protocol.path).parent
    return {figure.file: read_text(folder / figure.file, LARGEST_BYTES["figure"]) for figure in protocol.record.figures}


def ready_plan(protocol: Protocol) -> SheetPlan:
    """Two edges in a drawn order, with letters for people and numbers for blades."""
    seed = int.from_bytes(hashlib.sha256(f"{protocol.id} {protocol.version}".encode()).digest()[:8], "big") % _SEEDS
    levels = [level.word for level in protocol.question.levels]
    between_sharpeners = protocol.question.factor == "sharpener"
    generator = random.Random(seed)
    runs = protocol.design.least_runs
    in_turn = protocol.design.side_by_side is not None
    if len(levels) > EDGES:
        drawn = _in_rounds(runs, len(levels), generator)
    else:
        drawn = _in_pairs(runs, generator) if between_sharpeners or levels or in_turn else _shuffled(runs, generator)
    people, blades = (("A", "B"), ("1",)) if between_sharpeners else (("A",), ("1",) if levels else ("1", "2"))
    return SheetPlan(
        runs=tuple(
            SheetRun(
                order,
                (order + 1) // 2,
                blades[edge % len(blades)],
                people[edge % len(people)],
                "",
                **_beside(order, protocol),
                level=levels[edge] if levels else "",
            )
            for order, edge in enumerate(drawn, 1)
        ),
        people=tuple((letter, "") for letter in ("A", "B")),
        blades=tuple((number, "") for number in blades),
        seed=str(seed),
    )


def _beside(order: int, protocol: Protocol) -> dict[str, str]:
    """Which run is cut in turn with a run, and which half of the edge it has; nothing where edges are cut one by one."""
    how = protocol.design.side_by_side
    part = {"edge_part": half_of(order)} if how == "halves" else {}
    return {} if how is None else part | {"partner": f"run-{partner_of(order)}"}


def _in_pairs(runs: int, generator: random.Random) -> list[int]:
    """Pairs that hold each edge once: a coin decides who is first in a pair, and the next pair is its reverse."""
    drawn: list[int] = []
    while len(drawn) < runs:
        first = int(generator.random() < 0.5)
        drawn += [first, 1 - first, 1 - first, first]
    return drawn[:runs]


def _in_rounds(runs: int, edges: int, generator: random.Random) -> list[int]:
    """Rounds that hold each edge once: shuffled, and every second one the reverse of the one before."""
    drawn: list[int] = []
    while len(drawn) < runs:
        keys = [generator.random() for _ in range(edges)]
        one = sorted(range(edges), key=keys.__getitem__)
        drawn += [*one, *one[::-1]]
    return drawn[:runs]


def _shuffled(runs: int, generator: random.Random) -> list[int]:
    """As many slips of either kind, shuffled."""
    slips = [n % 2 for n in range(runs)]
    keys = [generator.random() for _ in slips]
    return [slip for _, slip in sorted(zip(keys, slips, strict=True))]
