"""What invented results can move where they are not linked with anybody's, and what the bounds cost honest newcomers.

Every seed draws a pool in which each file has its own people and blades (``pools.py``), fits the linked files alone and all files, and
holds what ``bounded_answer`` makes of the two against the truth. Invented files are honest ones, in number of runs and in scatter, whose
ratio is another. Run from the repository's root::

    PYTHONPATH=. python tests/simulation/bounded_weight.py --seeds 60

writes ``bounded_weight.md`` beside this script.
"""

from __future__ import annotations

import os

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # before numpy: small matrices are slower in threads

import argparse
import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path

import numpy as np
from grid import add_cluster, spread_over
from monte_carlo import lower_bound
from pools import STEELS, Design, Pool, draw

from edgehold.numerics.interval import Interval
from edgehold.pooling.answer import Estimated
from edgehold.pooling.bounded import MOVE, bounded_answer
from edgehold.pooling.headline import headline

WORTHWHILE = 1.25
TABLE = Path(__file__).with_name("bounded_weight.md")
HONEST_RATIO = 0.75  # of linked files, where some are invented
INVENTED = (3, 10, 50)
SAYING = (1.35, 2.0, 4.0)  # what invented files say, over the truth
GROWN = ((19, 3), (16, 8), (19, 10), (8, 16))  # linked files, and files of honest people who have exchanged nothing
LARGEST_MOVES = {3: 0.2, 10: 0.2, 50: 1 / 3}  # half-widths


@dataclass(frozen=True)
class Row:
    """Files that are linked, files that are not, and by how much these say more than the truth; 1: honest ones."""

    linked: int
    other: int
    saying: float = 1.0


@dataclass(frozen=True)
class Seen:
    """What one pool came to: linked files alone, within the bounds, and everything in full, each a middle and limits, ln scale."""

    truth: float
    alone: tuple[float, float, float]
    published: tuple[float, float, float]
    full: tuple[float, float, float]
    power: float
    verdicts: tuple[str, str, str]


def seen(row: Row, seed: int) -> Seen:
    """One pool."""
    ratio = HONEST_RATIO if row.saying != 1.0 else 1.0
    files = row.linked + row.other
    pool = draw(Design(f"bounded {row.linked} {row.other}", files=files, testers=files, ratio=ratio), seed)
    names = list(dict.fromkeys(pool.labels["submission"]))
    linked = np.isin(pool.labels["submission"], names[: row.linked])
    shift = np.where(~linked & (np.array(pool.labels["steel"]) == STEELS[0]), math.log(row.saying), 0.0)
    everything = _asked(replace(pool, low=pool.low + shift, high=pool.high + shift), np.ones(len(linked), dtype=bool))
    alone = _asked(pool, linked)
    published, power = bounded_answer(alone, everything, row.linked, WORTHWHILE)
    answers = (alone, published, everything)
    kinds = [answer.verdict.kind for answer in answers]
    return Seen(math.log(ratio), *map(_figures, answers), power=float(power), verdicts=(kinds[0], kinds[1], kinds[2]))


def _asked(pool: Pool, rows: np.ndarray) -> Estimated:
    labels = {name: [one for one, kept in zip(column, rows, strict=True) if kept] for name, column in pool.labels.items()}
    return headline(pool.low[rows], pool.high[rows], labels, worthwhile=WORTHWHILE).pair(*STEELS[:2])


def _figures(answer: Estimated) -> tuple[float, float, float]:
    interval: Interval = answer.interval
    return answer.estimate, interval.low, interval.high


# ---- the table ---------------------------------------------------------------------------------------------------------------


def _half(figures: tuple[float, float, float]) -> float:
    return (figures[2] - figures[1]) / 2


def honest_line(row: Row, found: Sequence[Seen]) -> str:
    """Coverage, information and width with honest files that are not linked."""
    held = [one.published[1] <= one.truth <= one.published[2] for one in found]
    full = [one.full[1] <= one.truth <= one.full[2] for one in found]
    errors = {name: np.mean([(getattr(one, name)[0] - one.truth) ** 2 for one in found]) for name in ("alone", "published", "full")}
    kept = errors["full"] / errors["published"]
    width = np.median([_half(one.published) / _half(one.full) for one in found])
    return (
        f"| {row.linked} | {row.other} | {len(found)} | {np.mean(held):.3f} ({lower_bound(float(np.mean(held)), len(held)):.3f}) "
        f"| {np.mean(full):.3f} "
        f"| {errors['full'] / errors['alone']:.2f} | {kept:.2f} | {width:.2f} | {np.mean([one.power for one in found]):.2f} |"
    )


def invented_line(row: Row, found: Sequence[Seen]) -> str:
    """How far invented files move the answer, within the bounds and in full, and what becomes of the verdict."""
    moves = [abs(one.published[0] - one.alone[0]) / _half(one.alone) for one in found]
    full = [abs(one.full[0] - one.alone[0]) / _half(one.alone) for one in found]
    turned = sum(one.verdicts[1] != one.verdicts[0] for one in found)
    turned_full = sum(one.verdicts[2] != one.verdicts[0] for one in found)
    return (
        f"| {row.other} | ×{row.saying:g} | {len(found)} | {np.median(moves):.2f} | {max(moves):.2f} "
        f"| {LARGEST_MOVES[row.other]:.2f} | {turned} "
        f"| {np.median(full):.2f} | {max(full):.2f} | {turned_full} |"
    )


def _head(*names: str) -> str:
    return f"| {' | '.join(names)} |\n|{'---|' * len(names)}"


def summary(honest: dict[Row, list[Seen]], invented: dict[Row, list[Seen]]) -> str:
    """Both tables."""
    return "\n".join(
        [
            "# What evidence that is not linked may move",
            "",
            "Every file has people and blades of its own and four runs. Evidence that is not linked may move an answer by",
            f"{MOVE:g} of the half-width that linked evidence has alone, and tell no more than that does. Written by `bounded_weight.py`.",
            "",
            "## Honest people who have exchanged nothing yet",
            "",
            "Information: the mean square error with everything in full, over that of what is named.",
            "Half-width: over that with everything in full.",
            "",
            _head(
                "linked files",
                "not linked",
                "pools",
                "coverage (99 % bound)",
                "in full",
                "information of the linked alone",
                "information published",
                "half-width",
                "mean power",
            ),
            *(honest_line(row, found) for row, found in honest.items()),
            "",
            f"## Invented files beside 19 linked ones (true ratio ×{HONEST_RATIO:g})",
            "",
            "Moves in half-widths of the linked evidence alone.",
            "",
            _head(
                "invented",
                "saying, over the truth",
                "pools",
                "median move",
                "largest",
                "allowed",
                "verdicts changed",
                "median move in full",
                "largest in full",
                "verdicts changed in full",
            ),
            *(invented_line(row, found) for row, found in invented.items()),
            "",
        ]
    )


def main() -> None:
    """Draw, and write the tables."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--seeds", type=int, default=60, help="pools a row with invented files; five times as many with honest ones")
    parser.add_argument("--jobs", type=int, default=os.cpu_count())
    add_cluster(parser)
    given = parser.parse_args()
    honest, invented = {}, {}
    with spread_over(given.jobs, given.cluster) as workers:
        for row in (Row(*sizes) for sizes in GROWN):
            honest[row] = list(workers.map(partial(seen, row), range(5 * given.seeds)))
            print(honest_line(row, honest[row]), flush=True)
        for row in (Row(19, count, saying) for count in INVENTED for saying in SAYING):
            invented[row] = list(workers.map(partial(seen, row), range(given.seeds)))
            print(invented_line(row, invented[row]), flush=True)
    TABLE.write_text(summary(honest, invented), encoding="utf-8")


if __name__ == "__main__":
    main()
