"""How far invented files move the headline of two steels: 19 honest files whose blades go round, and 3, 10 or 50 invented ones.

Everybody is drawn here, apart from the demonstration: the honest, who exchange blades and rope, from a true ratio with spreads of people,
blades, edges, runs and readings; the inventor from another ratio, with chance of an honest size, on blades and rope that nobody else has
met, under a handle a file.
Files are real records in a real repository and go through the check, so that whatever the program knows of them it may use.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np

from edgehold.endpoints import beside_runs, curve_points, endpoint_rows
from edgehold.pooling.gather.all_answers import all_answers
from edgehold.pooling.gather.of_protocols import asked_of, asked_of_pool, by_endpoint, by_pool
from edgehold.pooling.posterior_verdict import SAME, UNDECIDED
from edgehold.records import load_repository
from edgehold.records.canonical import Repository
from edgehold.records.linkage import linkage
from tests.records.builder import MEDIUM, TODAY, endpoint, make_repository, protocol, write_submission

HONEST = 19
INVENTED = (3, 10, 50)
FORGED = (1.35, 2.0, 4.0)
"""What the invented ratio is, over the true one."""
MOST = {3: 1 / 5, 10: 1 / 5, 50: 1 / 3}
"""Of the honest half-width, by how many files: what the headline may move at most."""
ROUNDING = 1.01
"""By how much more it may come out: a posterior's median is found to so much of its half-width."""

TRUE = math.log(0.75)  # of the first steel over the second, late
STEELS = ("AISI 1095", "AISI 52100")
CANONICAL = ("aisi-1095", "aisi-52100")
CHECKPOINTS = (0, 10, 40)
LEVELS = (0.0, 0.45, 0.8)  # ln of what a keen edge's force rises to at each
SDS = {"tester": 0.20, "sharpener": 0.12, "blade": 0.12, "edge": 0.08, "run": 0.18, "reading": 0.06}
BLADES = 6  # of each steel that go round among the honest
PROTOCOL = {
    "/question": {"factor": "steel", "text": "Which steel stays sharper?"},
    "/design/varies": ["steel"],
    "/design/holds": ["sharpener"],
    "/work/checkpoints": list(CHECKPOINTS),
    "/endpoints": [endpoint(), endpoint(id="late", title="Sharpness after 40 cuts", role="late", primary=False, at=40)],
}
NAMES = tuple(f"{bird}-{n}" for n in (1, 2, 3, 4) for bird in ("auk", "coot", "dunlin", "egret", "fulmar"))[:HONEST]
FREE = tuple(f"{bird}-{n}" for n in range(1, 11) for bird in ("knot", "ruff", "smew", "stint", "teal"))


@dataclass(frozen=True)
class Said:
    """The headline: ln ratio of the first steel to the second, late, half of its interval, and the verdict."""

    estimate: float
    half: float
    verdict: str

    @property
    def claim(self) -> int:
        """Which of the two is said to be better: 1 the first, −1 the second, 0 neither."""
        return 0 if self.verdict in (UNDECIDED, SAME) else int(math.copysign(1, self.estimate))


@dataclass(frozen=True)
class Move:
    """What invented files did to a headline.

    Attributes
    ----------
    files, ratio : how many, and their ratio over the true one.
    before, after : what was said without them and with them.
    """

    files: int
    ratio: float
    before: Said
    after: Said

    @property
    def halves(self) -> float:
        """How far it moved, in half-widths of the interval before."""
        return abs(self.after.estimate - self.before.estimate) / self.before.half

    @property
    def turned(self) -> bool:
        """Whether the verdict says another thing than before; one that became undecided is lost."""
        return self.after.verdict != UNDECIDED != self.before.verdict and self.before.claim != self.after.claim

    @property
    def lost(self) -> bool:
        """Whether nothing is said any more."""
        return self.after.verdict == UNDECIDED != self.before.verdict


def headline_of(repository: Repository) -> Said:
    """What is published of the two steels: the one place that knows how a headline is made of the records."""
    rows, points = endpoint_rows(repository), curve_points(repository)
    asked, pools = by_endpoint(repository, asked_of), by_pool(repository, asked_of_pool)
    found = all_answers(rows, points, asked, pools, beside_runs(repository), sensitivity=False, origins=linkage(repository))
    (answer,) = next(one for (_, name), one in found.answers.items() if name == "late").headline.pairs
    assert (answer.first, answer.second) == CANONICAL and answer.posterior and answer.verdict
    low, high = answer.posterior.interval.low, answer.posterior.interval.high
    return Said(answer.posterior.quantile(0.5), (high - low) / 2, answer.verdict.kind)


def moves(seed: int, files: tuple[int, ...] = INVENTED, ratios: tuple[float, ...] = FORGED) -> Iterator[Move]:
    """Every number of invented files with every ratio, added to the honest pool of one seed."""
    honest = honest_files(np.random.default_rng([seed, 1]))
    before = _said(honest)
    for ratio in ratios:
        invented = invented_files(np.random.default_rng([seed, 2]), max(files), math.log(ratio))
        for count in files:
            yield Move(count, ratio, before, _said([*honest, *invented[:count]]))


def of_pool(seed: int) -> list[Move]:
    """All moves of one seed, as one process gives them to another."""
    return list(moves(seed))


def _said(records: list[dict]) -> Said:
    with TemporaryDirectory() as folder:
        root = make_repository(Path(folder), [], [protocol(PROTOCOL)])
        for record in records:
            write_submission(root, record)
        repository = load_repository(root, today=TODAY)
    assert not repository.errors and len(repository.submissions) == len(records), repository.errors[:3]
    return headline_of(repository)


def honest_files(rng: np.random.Generator) -> list[dict]:
    """Nineteen people: every blade is in three or four of their files, and everybody cuts rope that both neighbours in a ring had sent."""
    blades = {(steel, n): rng.normal(0, SDS["blade"]) for steel in (0, 1) for n in range(BLADES)}
    found = []
    for number, name in enumerate(NAMES):
        keys = [f"club.{'ab'[steel]}{(number + steel * (number // BLADES)) % BLADES}" for steel in (0, 1)]
        effects = [blades[(steel, int(key[-1]))] for steel, key in enumerate(keys)]
        lots = [f"{NAMES[(number + step) % HONEST]}.coil" for step in (1, -1)]
        found.append(_file(name, keys, effects, TRUE, rng, lots, month=1 + number // 5))
    return found


def invented_files(rng: np.random.Generator, count: int, ln_ratio: float) -> list[dict]:
    """Files by a program: another ratio, chance of an honest size, a handle and two blades of its own each."""
    found = []
    for name in FREE[:count]:
        effects = list(rng.normal(0, SDS["blade"] / 2, 2))
        found.append(_file(name, [f"{name}.one", f"{name}.two"], effects, TRUE + ln_ratio, rng, [f"{name}.coil"], month=6))
    return found


def _file(name: str, keys: list[str], blades: list[float], ratio: float, rng: np.random.Generator, lots: list[str], month: int) -> dict:
    """Four runs, each steel twice in turn. Late, the first steel reads ``ratio`` (ln) less force than the second: lower is keener."""
    tester, sharpener = rng.normal(0, SDS["tester"]), rng.normal(0, SDS["sharpener"])
    runs, preparations = [], []
    for number in range(4):
        steel = number % 2
        edge = rng.normal(0, SDS["edge"]) + rng.normal(0, SDS["run"])
        slope = -ratio / LEVELS[-1] if steel == 0 else 0.0
        level = 0.2 + tester + sharpener + blades[steel] + edge
        forces = [math.exp(level + rise * (1 + slope) + rng.normal(0, SDS["reading"])) for rise in LEVELS for _ in (0, 1)]
        readings = [
            {"work": work, "values": [{"written": max(0.2, round(value, 2))} for value in forces[2 * n : 2 * n + 2]]}
            for n, work in enumerate(CHECKPOINTS)
        ]
        preparations.append({"id": f"edge-{number + 1}", "blade": keys[steel], "sharpener": name})
        runs.append(
            {"id": f"run-{number + 1}", "order": number + 1, "preparation": f"edge-{number + 1}", "tester": name,
             "lot": lots[number // 2 % len(lots)],
             "work_unit": "cut", "reading_unit": "N", "ended": "last checkpoint", "readings": readings}
        )  # fmt: skip
    return {
        "format": "submission/1.0.0", "id": f"{name}-late", "protocol": {"id": "small-rope", "version": "1.0.0"}, "origin": "measured",
        "licence": "CC0-1.0", "submitted_by": name, "month": f"2026-{month:02d}", "people": [{"handle": name, "agreed": "yes"}],
        "blades": [{"key": key, "steel": {"designation": steel}, "edge": "plain"} for key, steel in zip(keys, STEELS, strict=True)],
        "lots": [{"key": lot, "medium": MEDIUM} for lot in lots], "preparations": preparations, "runs": runs,
    }  # fmt: skip


def table(found: list[Move]) -> Iterator[str]:
    """The row group: the largest move by number of files and ratio, and what may be at most."""
    yield "| invented files | " + " | ".join(f"ratio ×{ratio:g}" for ratio in FORGED) + " | at most | verdicts turned | lost |"
    yield "|---" * (len(FORGED) + 4) + "|"
    for files in sorted({move.files for move in found}):
        mine = [move for move in found if move.files == files]
        largest = [max((m.halves for m in mine if m.ratio == ratio), default=math.nan) for ratio in FORGED]
        turned, lost = sum(m.turned for m in mine), sum(m.lost for m in mine)
        yield f"| {files} | " + " | ".join(f"{x:.2f}" for x in largest) + f" | {MOST[files]:.2f} | {turned} of {len(mine)} | {lost} |"


def beyond(found: list[Move]) -> int:
    """How many moves are larger than they may be, or turned a verdict."""
    return sum(move.halves > ROUNDING * MOST[move.files] or move.turned for move in found)
