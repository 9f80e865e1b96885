"""Runs and their labels made ready for one model of all of them: what is fixed, and which columns can stand in it."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import cast

import numpy as np
import numpy.typing as npt
from numpy.typing import ArrayLike

from edgehold.errors import InputError, NumbersError
from edgehold.numerics.arrays import Array, Bools, Ints, Labels, Texts
from edgehold.numerics.estimability import Design, estimable, prepare
from edgehold.numerics.factor_levels import rank_of
from edgehold.pooling.inputs import frozen
from edgehold.pooling.random_terms import LARGEST_LEVELS
from edgehold.words import Reason

NEEDED = ("steel", "blade", "sharpener", "tester", "submission")
OPTIONAL = ("batch", "version", "own_sharpening", "sharpening", "lot", "evening", "pair", "edge_part", "level", "level_place")
SAME_COLUMN = 1e-8  # length that a column of unit length keeps beside those before it, below which it is a combination of them
OWN = "own sharpening"
EDGE_PART = "part of the edge"
PRACTICE, PRACTISED, NOVICE = "practice", "practised", "novice"
LEVEL = "level"


@dataclass(frozen=True, eq=False)
class Runs:
    """Runs with their labels.

    Attributes
    ----------
    low, high : (n,) the endpoint lies between them, ln scale; equal where exact, ±infinity where open.
    steel : (n,) text; a blade of unknown steel counts as a steel of its own, called after the blade.
    known : (n,) whether the steel is known.
    blade, sharpener, tester, submission, version : (n,) text.
    batch : (n,) text, a blade of unknown batch counting as a batch of its own; None where fewer than two batches are known.
    own : (n,) whether the tester had sharpened the edge.
    practised : (n,) True, False, or None where the sharpener's practice is not known.
    lot, evening : (n,) text, one that is not known counting as the submission's own; None where not given.
    pair : (n,) text, which two runs were cut in turn; None where none were.
    edge_part : (n,) text, which part of the edge; None where not given.
    level : (n,) which level of the treatment that is compared, or None where a run is of none; None where fewer than two are met.
    level_order : levels as they are declared.
    """

    low: Array
    high: Array
    steel: Texts
    known: Bools
    blade: Texts
    sharpener: Texts
    tester: Texts
    submission: Texts
    version: Texts
    batch: Texts | None
    own: Bools
    practised: npt.NDArray[np.object_]
    lot: Texts | None = None
    evening: Texts | None = None
    pair: Texts | None = None
    edge_part: Texts | None = None
    level: npt.NDArray[np.object_] | None = None
    level_order: tuple[str, ...] = ()

    @property
    def one_sided(self) -> Bools:
        """(n,) which runs are known to one side only."""
        return np.isinf(self.low) | np.isinf(self.high)

    @property
    def practice(self) -> Texts:
        """(n,) the sharpener's practice as text: novice, practised or not known."""
        words = {True: PRACTISED, False: NOVICE, None: "not known"}
        return np.array([words[one] for one in self.practised], dtype=str)

    @property
    def steels(self) -> tuple[str, ...]:
        """The known steels, sorted."""
        return tuple(sorted(set(self.steel[self.known].tolist())))

    @property
    def levels(self) -> tuple[str, ...]:
        """The levels met, in the order in which they are declared."""
        met = set() if self.level is None else {one for one in self.level if one is not None}
        return tuple(word for word in self.level_order if word in met)

    @property
    def level_text(self) -> Texts | None:
        """(n,) the level as text, "not known" where there is none; None where levels are not compared."""
        return None if self.level is None else np.array(["not known" if one is None else one for one in self.level], dtype=str)

    def groups(self) -> dict[str, Texts]:
        """Labels of every random term that these runs might hold, in the order in which they are named everywhere."""
        found = {"sharpener": self.sharpener, "tester": self.tester, "blade": self.blade}
        if self.batch is not None:
            found["batch"] = self.batch
        found["submission"] = self.submission
        for name, person in {"steel × sharpener": self.sharpener, "steel × tester": self.tester}.items():
            found[name] = np.array([f"{one} × {who}" for one, who in zip(self.steel, person, strict=True)], dtype=str)
        if self.level_text is not None:
            for name, beside in {"level × steel": self.steel, "level × submission": self.submission}.items():
                found[name] = np.array([f"{one} × {what}" for one, what in zip(self.level_text, beside, strict=True)], dtype=str)
        return found

    def chosen(self, rows: Bools | Ints) -> Runs:
        """The runs at some rows."""
        return Runs(
            low=self.low[rows],
            high=self.high[rows],
            steel=self.steel[rows],
            known=self.known[rows],
            blade=self.blade[rows],
            sharpener=self.sharpener[rows],
            tester=self.tester[rows],
            submission=self.submission[rows],
            version=self.version[rows],
            batch=None if self.batch is None else self.batch[rows],
            own=self.own[rows],
            practised=self.practised[rows],
            lot=None if self.lot is None else self.lot[rows],
            evening=None if self.evening is None else self.evening[rows],
            pair=None if self.pair is None else self.pair[rows],
            edge_part=None if self.edge_part is None else self.edge_part[rows],
            level=None if self.level is None else self.level[rows],
            level_order=self.level_order,
        )


@dataclass(frozen=True, eq=False)
class FixedPart:
    """The fixed part: independent columns, and what they can tell.

    Attributes
    ----------
    X : (n, p) independent columns, among them the constant.
    full : (n, P) all columns asked for, in the same coding: constant, versions, steels, own sharpening, each factor
        without its first level.
    names : (P,) of all columns.
    kept : (P,) which of them stand in ``X``.
    effects : what stands in it beside the constant: version, steel, own sharpening.
    not_held : what does not, with its reason.
    """

    X: Array
    full: Array
    names: tuple[str, ...]
    kept: Bools
    effects: tuple[str, ...]
    not_held: dict[str, str]

    def steel_contrast(self, first: str, second: str) -> Array | None:
        """(p,) c with cᵀb the difference of two steels; None where the design cannot tell it."""
        return self.contrast({f"steel {first}": 1.0, f"steel {second}": -1.0})

    def contrast(self, weights: Mapping[str, float]) -> Array | None:
        """(p,) weights of named columns, a first level's weight being nothing; None where the design cannot tell the sum."""
        c = np.array([weights.get(name, 0.0) for name in self.names])
        met, design = self._prepared
        return c[self.kept] if c.any() and not c[~met].any() and estimable(design, c[met]) else None

    @cached_property
    def _prepared(self) -> tuple[Bools, Design]:
        """Which columns some run has, and these for what they can tell."""
        met: Bools = np.asarray(self.full.any(axis=0), dtype=bool)
        return met, prepare(self.full[:, met])


def checked_runs(low: ArrayLike, high: ArrayLike, labels: Mapping[str, Labels]) -> Runs:
    """Check limits and labels.

    Parameters
    ----------
    low, high : (n,) limits on the ln scale.
    labels : by factor, one label a run: ``steel`` and ``batch`` (None where not known), ``blade``, ``sharpener``, ``tester``,
        ``submission``; and where there are any ``version`` (MINOR, such as "1.2"), ``own_sharpening`` (bool; else sharpener
        and tester being the same), ``sharpening`` ("novice", anything else for practised, None where not known),
        ``pair`` (of runs cut in turn, within the submission; None for a run cut alone), ``edge_part``, ``level`` (of a
        treatment; None for a run of none) and ``level_place`` (its place among those declared; else they go by name).

    Raises
    ------
    InputError
        If a factor is missing or not known here, lengths differ, a label is missing, low exceeds high or both are open.
    """
    lacking, strange = [n for n in NEEDED if n not in labels], [n for n in labels if n not in NEEDED + OPTIONAL]
    if lacking or strange:
        raise InputError(f"labels must hold {', '.join(NEEDED)} and may hold {', '.join(OPTIONAL)}; got {', '.join(labels)}")
    low, high = np.asarray(low, dtype=float), np.asarray(high, dtype=float)
    columns = {name: list(values) for name, values in labels.items()}
    lengths = {name: len(column) for name, column in columns.items()} | {"high": len(high)}
    if low.ndim != 1 or set(lengths.values()) != {len(low)}:
        raise InputError(f"limits and labels must hold one entry a run each; got {len(low)} lower limits and {lengths}")
    wrong = ~(low <= high) | (np.isinf(low) & np.isinf(high))
    if wrong.any():
        i = int(np.flatnonzero(wrong)[0])
        raise NumbersError(f"low must not exceed high and one of them must be finite; got {low[i]!r} and {high[i]!r} in run {i}")
    for name in (*NEEDED[1:], *(n for n in ("version", "own_sharpening") if n in columns)):
        if any(value is None for value in columns[name]):
            raise InputError(f"every run needs a {name}; got None in run {columns[name].index(None)}")
    n = len(low)
    blade, text = columns["blade"], {name: np.array([str(v) for v in columns[name]], dtype=str) for name in NEEDED[1:]}
    practice = columns.get("sharpening", [None] * n)
    return Runs(
        low=low,
        high=high,
        steel=_known_or_own(columns["steel"], blade, "steel"),
        known=np.array([one is not None for one in columns["steel"]], dtype=bool),
        version=np.array([str(v) for v in columns.get("version", ["1"] * n)], dtype=str),
        batch=_batches(columns.get("batch", [None] * n), blade),
        own=np.array(columns.get("own_sharpening", text["sharpener"] == text["tester"]), dtype=bool),
        practised=np.array([None if level is None else level != "novice" for level in practice], dtype=object),
        lot=_own_where_unknown(columns.get("lot"), text["submission"]),
        evening=_within(_own_where_unknown(columns.get("evening"), text["submission"]), text["submission"]),
        pair=_pairs(columns.get("pair"), text["submission"]),
        edge_part=None if "edge_part" not in columns else np.array([str(v) for v in columns["edge_part"]], dtype=str),
        level=_levels(columns.get(LEVEL)),
        level_order=_order(columns.get(LEVEL, []), columns.get("level_place", [0] * n)),
        **text,
    )


def _known_or_own(values: list[object], blade: list[object], what: str) -> Texts:
    return np.array([f"{what} of {b}" if value is None else str(value) for value, b in zip(values, blade, strict=True)], dtype=str)


def _levels(values: list[object] | None) -> npt.NDArray[np.object_] | None:
    """Levels where two or more are met: one compares nothing."""
    if values is None or len({value for value in values if value is not None}) < 2:
        return None
    return np.array([None if value is None else str(value) for value in values], dtype=object)


def _order(values: list[object], places: list[object]) -> tuple[str, ...]:
    """Levels by their places, those of one place by name."""
    place = {str(value): cast(int, at) for value, at in zip(values, places, strict=False) if value is not None}
    return tuple(sorted(place, key=lambda word: (place[word], word)))


def _batches(values: list[object], blade: list[object]) -> Texts | None:
    return _known_or_own(values, blade, "batch") if len({value for value in values if value is not None}) >= 2 else None


def _own_where_unknown(values: list[object] | None, submission: Texts) -> Texts | None:
    if values is None:
        return None
    return np.array([f"of {one}" if value is None else str(value) for value, one in zip(values, submission, strict=True)], dtype=str)


def _pairs(values: list[object] | None, submission: Texts) -> Texts | None:
    """Pairs within submissions; a run outside any is one by itself. None where no run is in a pair."""
    if values is None or all(value is None for value in values):
        return None
    return np.array([f"{one}: {n if v is None else v}" for n, (v, one) in enumerate(zip(values, submission, strict=True))], dtype=str)


def _within(values: Texts | None, submission: Texts) -> Texts | None:
    return None if values is None else np.array([f"{one}: {value}" for value, one in zip(values, submission, strict=True)], dtype=str)


def too_many_levels(runs: Runs) -> str:
    """Why there are too many levels to judge what can be told; empty where there are not."""
    levels = sum(len(np.unique(column)) for column in runs.groups().values()) + len(np.unique(runs.steel))
    return Reason("crossed.many_levels", levels=levels, most=LARGEST_LEVELS) if levels > LARGEST_LEVELS else ""


def fixed_part(runs: Runs, *, practice: bool = False, steel: bool = True) -> FixedPart:
    """Protocol MINOR, steel, part of the edge, level, and own sharpening where it can be told beside them and beside the people.

    Parameters
    ----------
    runs : n runs.
    practice : whether the sharpener's practice (novice, practised, not known) stands in it too.
    steel : whether the steels do; where not, they are left to a random term.

    Angle, finish, start keenness and hardness are how sharpening and steel work, and are never adjusted for.
    """
    names, columns, not_held = ["constant"], [np.ones(len(runs.low))], {}
    factors = {"version": runs.version} | ({"steel": runs.steel} if steel else {}) | ({PRACTICE: runs.practice} if practice else {})
    factors |= {} if runs.edge_part is None else {EDGE_PART: runs.edge_part}
    factors |= {} if runs.level_text is None else {LEVEL: runs.level_text}
    for factor, values in factors.items():
        for level in np.unique(values)[1:]:
            names.append(f"{factor} {level}")
            columns.append((values == level).astype(float))
    reason = _own_reason(runs, factors.values())
    if reason:
        not_held[OWN] = reason
    else:
        names.append(OWN)
        columns.append(runs.own.astype(float))
    full = np.column_stack(columns)
    kept = independent_columns(full)
    effects = [factor for factor in factors if any(name.startswith(f"{factor} ") for name in np.array(names)[kept])]
    lost = [name for name, there in zip(names, kept, strict=True) if not there]
    not_held |= {name: Reason("crossed.aliased_column", name=name) for name in lost}
    return FixedPart(frozen(full[:, kept]), frozen(full), tuple(names), kept, (*effects, *([] if reason else [OWN])), not_held)


def _own_reason(runs: Runs, factors: Iterable[Texts]) -> str:
    """Why own sharpening cannot stand in the fixed part beside the factors; empty where it can."""
    if runs.own.all() or not runs.own.any():
        return Reason("crossed.all_own" if runs.own.all() else "crossed.no_own")
    beside = [np.unique(values, return_inverse=True)[1] for values in (*factors, runs.sharpener, runs.tester)]
    if rank_of([*beside, runs.own.astype(np.int64)]) > rank_of(beside):
        return ""
    return Reason("crossed.own_not_apart")


def independent_columns(X: Array) -> Bools:
    """(P,) which columns are no combination of those before them (Gram and Schmidt, each column swept twice)."""
    whole, kept = np.zeros((X.shape[1], len(X))), np.zeros(X.shape[1], dtype=bool)
    for number, column in enumerate(X.T):
        basis = whole[: kept.sum()]
        length = np.linalg.norm(column)
        rest = column / length if length else column
        for _ in range(2):
            rest = rest - (basis @ rest) @ basis
        left = np.linalg.norm(rest)
        if left > SAME_COLUMN:
            whole[len(basis)], kept[number] = rest / left, True
    return kept
