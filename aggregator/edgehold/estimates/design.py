"""The additive model of one submission: its columns, the contrasts asked of it, and why some cannot be told."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from itertools import combinations

import numpy as np
import numpy.typing as npt

from edgehold.endpoints.rows import EndpointRow
from edgehold.numerics.arrays import Array, Bools, Ints
from edgehold.numerics.estimability import Design, estimable, prepare
from edgehold.words import Reason

FIXED_ANGLE = "same stone and angle"  # the estimand under which a difference of angle is not part of the answer
NOT_KNOWN = "not known"
BLOCKS = ("evening", "lot")  # conditions in which runs are made: used only where they hold two runs on average
LABELS: dict[str, Callable[[EndpointRow], str]] = {
    "blade": lambda row: row.blade,
    "sharpener": lambda row: row.sharpener,
    "tester": lambda row: row.tester,
    "evening": lambda row: NOT_KNOWN if row.evening is None else f"{row.evening:06d}",
    "lot": lambda row: row.lot or NOT_KNOWN,
    "edge part": lambda row: row.edge_part,
    "pair": lambda row: row.pair or NOT_KNOWN,
    "level": lambda row: row.level or NOT_KNOWN,
    "angle": lambda row: NOT_KNOWN if row.angle_deg is None else f"{round(row.angle_deg):03d}",
}


@dataclass(frozen=True, eq=False)
class Model:
    """The additive model of the used runs.

    Attributes
    ----------
    levels : per factor that has two or more levels, these in order.
    columns : per factor, where its columns stand in the design.
    design : the design, with an intercept and one column a level.
    left_out : blocks that hold too few runs to be told apart from run-to-run variation.
    """

    levels: dict[str, tuple[str, ...]]
    columns: dict[str, slice]
    design: Design
    left_out: tuple[str, ...]


@dataclass(frozen=True, eq=False)
class Question:
    """A contrast asked of a model.

    Attributes
    ----------
    factor, first, second : as in ``Contrast``.
    first_rows, second_rows : (n,) which of the used runs belong to each arm.
    weights : (p,) coefficients; None where an arm has no usable run.
    sharpener_loading : sum of squared weights on single sharpeners, for practice.
    reason : why it cannot be answered; ``""`` where it can.
    """

    factor: str
    first: str
    second: str
    first_rows: Bools
    second_rows: Bools
    weights: Array | None
    sharpener_loading: float | None
    reason: str


def build(rows: list[EndpointRow], estimand: str, scale: Array | None = None) -> Model:
    """Blade + sharpener + tester + evening + lot (+ part of the edge, + pair, + level, + angle where the estimand holds it equal).

    Parameters
    ----------
    rows : the used runs, one or more.
    estimand : the protocol's.
    scale : (n,) what to divide every run by where runs are weighted.
    """
    names = [name for name in LABELS if name != "angle" or estimand == FIXED_ANGLE]
    labels = {name: np.array([LABELS[name](row) for row in rows]) for name in names}
    levels = {name: tuple(sorted(set(labels[name]))) for name in names}
    levels = {name: found for name, found in levels.items() if len(found) > 1}
    thin = tuple(name for name in BLOCKS if len(rows) < 2 * len(levels.get(name, ())))
    levels = {name: found for name, found in levels.items() if name not in thin}
    blocks: list[Array] = [np.ones((len(rows), 1))]
    columns: dict[str, slice] = {}
    at = 1
    for name, found in levels.items():
        blocks.append((labels[name][:, None] == np.array(found)).astype(float))
        columns[name] = slice(at, at + len(found))
        at += len(found)
    x = np.hstack(blocks)
    return Model(levels, columns, prepare(x if scale is None else x / scale[:, None]), thin)


def cells(rows: list[EndpointRow], model: Model) -> Ints:
    """Number of the cell of each run: runs in one cell are alike in every factor of the model."""
    keys = [tuple(LABELS[name](row) for name in model.levels) for row in rows]
    numbers = {key: i for i, key in enumerate(sorted(set(keys)))}
    return np.array([numbers[key] for key in keys])


def practice_of(row: EndpointRow) -> str | None:
    """``novice``, ``practised`` (professionals among them), or None where not known."""
    return row.sharpening if row.sharpening in (None, "novice") else "practised"


ARMS: dict[str, tuple[str, Callable[[EndpointRow], str | None]]] = {
    "steel": ("blade", lambda row: row.steel),
    "blade": ("blade", lambda row: row.blade),
    "sharpener": ("sharpener", lambda row: row.sharpener),
    "practice": ("sharpener", practice_of),
    "level": ("level", lambda row: row.level),
}


def questions(rows: list[EndpointRow], used: list[EndpointRow], model: Model | None) -> tuple[Question, ...]:
    """Every pair of steels, of blades, of sharpeners and of levels, and practised against novice.

    An arm is the plain mean of its blades (or sharpeners), so that a blade tested more often does not count for more.

    Parameters
    ----------
    rows : all rows of the submission and endpoint.
    used : those that enter the model.
    model : of ``used``; None where there are none.
    """
    return tuple(_question(factor, pair, used, model) for factor, pair in _pairs(rows))


def questions_left_open(rows: list[EndpointRow], used: list[EndpointRow], why: str) -> tuple[Question, ...]:
    """The same questions where nothing could be fitted, each with the one reason."""
    return tuple(Question(factor, *pair, *_sides(factor, pair, used), None, None, why) for factor, pair in _pairs(rows))


def _pairs(rows: list[EndpointRow]) -> Iterator[tuple[str, tuple[str, str]]]:
    """Factor and the two that are compared: levels in the order in which the protocol declares them, all else by name."""
    for factor, (_, arm_of) in ARMS.items():
        place = {arm: row.level_place if factor == "level" else 0 for row in rows if (arm := arm_of(row)) is not None}
        arms = [arm for _, arm in sorted((at, arm) for arm, at in place.items())]
        if factor == "practice":
            arms = arms[::-1]  # practised first
        yield from ((factor, pair) for pair in combinations(arms, 2))


def _sides(factor: str, pair: tuple[str, str], used: list[EndpointRow]) -> tuple[Bools, Bools]:
    """Which of the used runs are of the one and of the other."""
    arm = np.array([ARMS[factor][1](row) for row in used], dtype=object)
    return arm == pair[0], arm == pair[1]


def _question(factor: str, pair: tuple[str, str], used: list[EndpointRow], model: Model | None) -> Question:
    columns, sides = ARMS[factor][0], _sides(factor, pair, used)
    empty = [name for name, side in zip(pair, sides, strict=True) if not side.any()]
    if empty or model is None:
        return Question(factor, *pair, *sides, None, None, Reason("contrasts.no_run", names=" or ".join(empty)))
    labels = np.array([LABELS[columns](row) for row in used])
    shares = [_mean_of(labels[side], model.levels[columns]) for side in sides]
    c = np.zeros(model.design.x.shape[1])
    c[model.columns[columns]] = shares[0] - shares[1]
    loading = float((c**2).sum()) if factor == "practice" else None
    reason = "" if estimable(model.design, c) else _moves_together(factor, columns, c, model)
    return Question(factor, *pair, *sides, c, loading, reason)


def _mean_of(present: npt.NDArray[np.str_], levels: tuple[str, ...]) -> Array:
    """Equal weights on the levels present."""
    there: Array = np.isin(np.array(levels), present).astype(float)
    return there / float(there.sum())


def _moves_together(factor: str, columns: str, c: Array, model: Model) -> str:
    """The smallest set of other factors without which the contrast could be told."""
    others = [name for name in model.levels if name != columns]
    for size in range(1, len(others) + 1):
        for dropped in combinations(others, size):
            if _estimable_without(dropped, c, model):
                names = " and ".join(Reason(f"factors.{name}") for name in dropped)
                return Reason("contrasts.together", factor=Reason(f"factors.{factor}"), others=names)
    return Reason("contrasts.with_the_rest", factor=Reason(f"factors.{factor}"))


def _estimable_without(dropped: tuple[str, ...], c: Array, model: Model) -> bool:
    keep = np.ones(len(c), dtype=bool)
    for name in dropped:
        keep[model.columns[name]] = False
    return estimable(prepare(model.design.x[:, keep]), c[keep])
