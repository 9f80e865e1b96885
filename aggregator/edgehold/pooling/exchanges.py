"""Which further runs would tell most: who should sharpen which blade for whom.

Runs are chosen one after another, each the best after those before it. For a contrast the gain is that of refitting with
the run added, under assumed variances; for the split of sharpeners and testers it rests on the labels alone.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import product
from types import MappingProxyType

import numpy as np

from edgehold.errors import InputError
from edgehold.numerics.arrays import Array, Ints, Labels, Texts
from edgehold.words import Reason

from .random_terms import checked_variances
from .separability import canonical_efficiencies, checked_labels, find_components

FACTORS = ("steel", "blade", "sharpener", "tester")
TERMS = ("blade", "sharpener", "tester", "steel × sharpener", "steel × tester")  # random; the steel is fixed
LARGEST_LEVELS = 5000  # every two of them stand in a dense matrix
LARGEST_SEARCH = 1_000_000  # candidates: a few seconds for each run chosen
LARGEST_EIGEN_SEARCH = 400  # pairs that would join two components, each of which needs its eigenvalues
TIE = 1e-9  # criteria closer than this share are one; the first in order of labels is taken


Run = tuple[str, str, str]  # blade, sharpener, tester


@dataclass(frozen=True)
class FurtherRun:
    """One run worth making.

    Attributes
    ----------
    blade, sharpener, tester : who should sharpen what for whom.
    rank : for the split, rank of the information on sharpeners after this run; None for a contrast.
    criterion : the variance of the contrast, or Σ1/e over the non-zero canonical efficiencies, after this run.
    gain : share by which this run lowers the criterion; None where it raises the rank, which counts for more.
    """

    blade: str
    sharpener: str
    tester: str
    rank: int | None
    criterion: float
    gain: float | None


@dataclass(frozen=True)
class ExchangePlan:
    """Further runs in the order in which they should be made.

    Attributes
    ----------
    target : what they are to tell.
    rank, criterion : as in ``FurtherRun``, before any of them.
    runs : the runs.
    candidates : how many runs were looked at for each.
    variances : assumed for a contrast; empty for the split, which needs none.
    method : how they were chosen.
    reason : why there are fewer runs than asked for; empty otherwise.
    """

    target: tuple[str, ...]
    rank: int | None
    criterion: float
    runs: tuple[FurtherRun, ...]
    candidates: int
    variances: Mapping[str, float]
    method: str
    reason: str = ""


def best_exchanges(
    labels: Mapping[str, Labels],
    target: Sequence[str],
    variances: Mapping[str, float] | None = None,
    count: int = 5,
    *,
    candidates: Sequence[tuple[str, str, str]] | None = None,
) -> ExchangePlan:
    """Choose further runs.

    Parameters
    ----------
    labels : by factor, one label a run: ``"blade"``, ``"sharpener"``, ``"tester"`` and, where there is more than one, ``"steel"``.
    target : ``(factor, first, second)``, a difference between two levels of one of these factors, or ``("split",)``.
    variances : assumed variances by random term (``TERMS``) and ``"residual"``, squared ln units; 0 leaves a term out. What is
        not given is taken from ``random_terms.ASSUMED_VARIANCES``.
    count : how many runs.
    candidates : (blade, sharpener, tester) that are available; all combinations of those seen when None.

    Returns
    -------
    ExchangePlan

    Raises
    ------
    InputError
        If a factor is missing or unknown, a blade has two steels, a target or candidate names an unknown label, ``count`` is
        not positive, or there are more than ``LARGEST_SEARCH`` candidates.

    Notes
    -----
    Contrast cᵀb: with M⁻¹ the inverse of the mixed-model equations, a run with row z lowers the variance cᵀM⁻¹c by
    (cᵀM⁻¹z)²/(σ² + zᵀM⁻¹z), exactly (Sherman & Morrison 1950). For people and blades, which are random, it is the variance of
    the error of the predicted difference.

    Split: the rank of C = R − NK⁻¹Nᵀ (sharpeners, testers eliminated) comes first, then Σ1/e over its non-zero canonical
    efficiencies (John & Williams 1995). The blade does not enter; the one this sharpener has sharpened most is named.

    Examples
    --------
    One run of each of two steels, and nothing varies but the runs, with variance 1. The difference has variance 1/1 + 1/1 = 2; a second run
    of the first makes it 1/2 + 1/1, a second run of the other 1/2 + 1/2.

    >>> from edgehold.pooling import best_exchanges
    >>> labels = {"steel": ["a", "b"], "blade": ["a1", "b1"], "sharpener": ["one"] * 2, "tester": ["two"] * 2}
    >>> terms = ("blade", "sharpener", "tester", "steel × sharpener", "steel × tester")
    >>> plan = best_exchanges(labels, ("steel", "a", "b"), dict.fromkeys(terms, 0.0) | {"residual": 1.0}, count=2)
    >>> round(plan.criterion, 3), [(run.blade, round(run.criterion, 3)) for run in plan.runs]
    (2.0, [('a1', 1.5), ('b1', 1.0)])
    """
    columns = _checked(labels)
    if count < 1:
        raise InputError(f"count must be at least 1; got {count!r}")
    runs = _candidates(columns, candidates)
    target = tuple(map(str, target))
    if target == ("split",):
        return _for_split(columns, runs, count)
    return _for_contrast(columns, target, variances, runs, count)


def _checked(labels: Mapping[str, Labels]) -> dict[str, Texts]:
    unknown = sorted(set(labels) - set(FACTORS))
    if unknown or "blade" not in labels:
        raise InputError(f"labels must name blade, sharpener, tester and perhaps steel; got {sorted(labels)}")
    columns = checked_labels(labels)
    columns.setdefault("steel", np.full(len(columns["blade"]), "steel"))
    of_blade = set(zip(columns["blade"], columns["steel"], strict=True))
    if len(of_blade) > len(set(columns["blade"])):
        raise InputError("a blade has one steel; got a blade with two")
    return columns


def _candidates(columns: dict[str, Texts], given: Sequence[tuple[str, str, str]] | None) -> list[Run]:
    known = [[str(label) for label in np.unique(columns[name])] for name in FACTORS[1:]]
    if given is None:
        size = int(np.prod([len(levels) for levels in known]))
        if size > LARGEST_SEARCH:
            raise InputError(f"at most {LARGEST_SEARCH} combinations are searched; got {size}: pass the candidates that are available")
        return [(blade, sharpener, tester) for blade, sharpener, tester in product(*known)]
    runs = sorted({tuple(map(str, run)) for run in given})
    seen = [set(levels) for levels in known]
    strange = [run for run in runs if len(run) != 3 or any(label not in levels for label, levels in zip(run, seen, strict=True))]
    if strange or not runs:
        raise InputError(f"candidates must be (blade, sharpener, tester) seen in the runs, at least one; got {strange[:1]}")
    if len(runs) > LARGEST_SEARCH:
        raise InputError(f"at most {LARGEST_SEARCH} candidates; got {len(runs)}")
    return [(blade, sharpener, tester) for blade, sharpener, tester in runs]


@dataclass(frozen=True, eq=False)
class _Columns:
    """Where each level stands in the mixed-model equations; ``of`` gives the columns of rows."""

    levels: dict[str, tuple[str, ...]]
    start: dict[str, int]
    size: int

    def of(self, rows: Mapping[str, Texts]) -> Ints:
        """(n, terms) column numbers: each row has a one in each of them."""
        code: dict[str, Ints] = {name: np.searchsorted(np.array(self.levels[name]), rows[name]) for name in FACTORS}
        for person in ("sharpener", "tester"):
            code[f"steel × {person}"] = code["steel"] * len(self.levels[person]) + code[person]
        return np.column_stack([code[name] + at for name, at in self.start.items()])


def _layout(columns: dict[str, Texts], terms: list[str]) -> _Columns:
    levels = {name: tuple(map(str, np.unique(columns[name]))) for name in FACTORS}
    sizes = {name: len(found) for name, found in levels.items()}
    sizes |= {f"steel × {person}": sizes["steel"] * sizes[person] for person in ("sharpener", "tester")}
    start: dict[str, int] = {}
    at = 0
    for name in ("steel", *terms):
        start[name] = at
        at += sizes[name]
    if at > LARGEST_LEVELS:
        raise InputError(f"at most {LARGEST_LEVELS} levels over all terms; got {at}; leave terms out by a variance of 0")
    return _Columns(levels, start, at)


def _inverse(layout: _Columns, rows: Ints, assumed: Mapping[str, float]) -> Array:
    """M⁻¹, M = BᵀB/σ² + Λ⁻¹; the steels have no entry in Λ⁻¹."""
    m = np.zeros((layout.size, layout.size))
    for i, j in product(range(rows.shape[1]), repeat=2):
        np.add.at(m, (rows[:, i], rows[:, j]), 1 / assumed["residual"])
    ends = [*list(layout.start.values())[1:], layout.size]
    for (name, begin), end in zip(layout.start.items(), ends, strict=True):
        if name != "steel":
            m[range(begin, end), range(begin, end)] += 1 / assumed[name]
    return np.asarray(np.linalg.inv(m), dtype=float)


def _target_vector(layout: _Columns, target: tuple[str, ...]) -> Array:
    if len(target) != 3 or target[0] not in layout.start or target[0] not in FACTORS or target[1] == target[2]:
        raise InputError(f"target must be ('split',) or (factor, first, second) of one of {FACTORS}; got {target!r}")
    factor, *labels = target
    c = np.zeros(layout.size)
    for label, sign in zip(labels, (1.0, -1.0), strict=True):
        if label not in layout.levels[factor]:
            raise InputError(f"a {factor} must be one of {', '.join(layout.levels[factor])}; got {label!r}")
        c[layout.start[factor] + layout.levels[factor].index(label)] = sign
    return c


def _for_contrast(
    columns: dict[str, Texts], target: tuple[str, ...], variances: Mapping[str, float] | None, runs: list[Run], count: int
) -> ExchangePlan:
    terms = [name for name in TERMS if (variances or {}).get(name) != 0]
    assumed = checked_variances(terms, {name: v for name, v in (variances or {}).items() if v != 0 or name not in TERMS})
    layout = _layout(columns, terms)
    inverse, c = _inverse(layout, layout.of(columns), assumed), _target_vector(layout, target)
    where = layout.of(_rows_of(runs, columns))
    first = variance = float(c @ inverse @ c)
    chosen: list[FurtherRun] = []
    for _ in range(count):
        reach = inverse @ c
        spread = assumed["residual"] + _quadratic(inverse, where)
        drop = reach[where].sum(axis=1) ** 2 / spread
        best = _first_best(drop, variance)
        row = inverse[:, where[best]].sum(axis=1)
        inverse -= np.outer(row, row) / spread[best]
        after = float(c @ inverse @ c)
        chosen.append(FurtherRun(*runs[best], None, after, 1 - after / variance))
        variance = after
    method = Reason("separability.exchanges_contrast")
    return ExchangePlan(target, None, first, tuple(chosen), len(runs), assumed, method)


def _rows_of(runs: list[Run], columns: dict[str, Texts]) -> dict[str, Texts]:
    steel = dict(zip(columns["blade"], columns["steel"], strict=True))
    blade, sharpener, tester = (np.array(part) for part in zip(*runs, strict=True))
    return {"steel": np.array([steel[b] for b in blade]), "blade": blade, "sharpener": sharpener, "tester": tester}


def _quadratic(inverse: Array, where: Ints) -> Array:
    """zᵀM⁻¹z of every candidate."""
    return sum((inverse[where[:, i], where[:, j]] for i, j in product(range(where.shape[1]), repeat=2)), np.zeros(len(where)))


def _first_best(drop: Array, scale: float) -> int:
    return int(np.flatnonzero(drop >= drop.max() - TIE * scale)[0])


def _for_split(columns: dict[str, Texts], runs: list[Run], count: int) -> ExchangePlan:
    s_levels, t_levels = np.unique(columns["sharpener"]), np.unique(columns["tester"])
    met = np.zeros((len(s_levels), len(t_levels)))
    np.add.at(met, (np.searchsorted(s_levels, columns["sharpener"]), np.searchsorted(t_levels, columns["tester"])), 1)
    blades = _usual_blades(columns, runs)
    pairs = sorted(blades)
    at = np.column_stack([np.searchsorted(levels, [p[i] for p in pairs]) for i, levels in enumerate((s_levels, t_levels))])
    rank, criterion = first = _efficiency(met)
    chosen: list[FurtherRun] = []
    shortened = False
    reason = _why_hopeless(met)
    while not reason and len(chosen) < count:
        best, short = _best_pair(met, at, s_levels, t_levels)
        shortened |= short
        met[tuple(at[best])] += 1
        now, after = _efficiency(met)
        if now == 0:
            reason = Reason("separability.exchanges_none_join")
            break
        chosen.append(FurtherRun(blades[pairs[best]], *pairs[best], now, after, None if now > rank else 1 - after / criterion))
        rank, criterion = now, after
    method = Reason("separability.exchanges_split")
    if shortened:
        method = Reason("separability.exchanges_split_shortened", pairs=LARGEST_EIGEN_SEARCH)
    return ExchangePlan(("split",), first[0], first[1], tuple(chosen), len(pairs), MappingProxyType({}), method, reason)


def _why_hopeless(met: Array) -> str:
    lone = [role for role, people in zip(("sharpener", "tester"), met.shape, strict=True) if people == 1]
    return Reason(f"separability.{'_'.join(lone)}_alone") if lone else ""


def _usual_blades(columns: dict[str, Texts], runs: list[Run]) -> dict[tuple[str, str], str]:
    """For each pair that are available, the blade that this sharpener has sharpened most."""
    used: dict[tuple[str, str], int] = {}
    for key in zip(columns["sharpener"], columns["blade"], strict=True):
        used[key] = used.get(key, 0) + 1
    found: dict[tuple[str, str], str] = {}
    for blade, sharpener, tester in runs:
        pair = (sharpener, tester)
        if pair not in found or used.get((sharpener, blade), 0) > used.get((sharpener, found[pair]), 0):
            found[pair] = blade
    return found


def _matrices(met: Array) -> tuple[Array, Array]:
    """C = R − NK⁻¹Nᵀ and C₀ = R − rrᵀ/n."""
    r = met.sum(axis=1)
    return np.diag(r) - (met / met.sum(axis=0)) @ met.T, np.diag(r) - np.outer(r, r) / r.sum()


def _efficiency(met: Array) -> tuple[int, float]:
    """Rank of C, and Σ1/e."""
    if len(met) == 1:
        return 0, 0.0
    e = canonical_efficiencies(*_matrices(met))
    return int(np.count_nonzero(e)), float((1 / e[e > 0]).sum())


def _best_pair(met: Array, at: Ints, s_levels: Texts, t_levels: Texts) -> tuple[int, bool]:
    """Number of the best pair, and whether not all were looked at."""
    s, t = np.nonzero(met)
    components = find_components(s_levels[s], t_levels[t])
    if len(components) == 1:
        return _first_best(-_after_one_more(met)[tuple(at.T)], 1.0), False
    side = [{label: i for i, c in enumerate(components) for label in getattr(c, role)} for role in ("sharpeners", "testers")]
    joins = np.array([side[0][s_levels[i]] != side[1][t_levels[j]] for i, j in at])
    open_to = np.flatnonzero(joins) if joins.any() else np.arange(len(at))
    known = np.minimum(met.sum(axis=1)[at[open_to, 0]], met.sum(axis=0)[at[open_to, 1]])
    looked_at = np.sort(open_to[np.argsort(-known, kind="stable")[:LARGEST_EIGEN_SEARCH]])
    sums = np.array([_with_one_more(met, tuple(at[k])) for k in looked_at])
    return int(looked_at[_first_best(-sums, 1.0)]), len(open_to) > len(looked_at)


def _with_one_more(met: Array, pair: tuple[int, int]) -> float:
    more = met.copy()
    more[pair] += 1
    return _efficiency(more)[1]


def _after_one_more(met: Array) -> Array:
    """(sharpeners, testers) Σ1/e = tr(C₀C⁺) with one more run of each pair, when all are joined.

    The run adds k/(k+1)·xxᵀ to C, x = e_s − N_t/k, and n/(n+1)·x₀x₀ᵀ to C₀, x₀ = e_s − r/n (k runs of tester t, n in all).
    """
    c, c0 = _matrices(met)
    d = np.asarray(np.linalg.pinv(c, hermitian=True, rcond=1e-10), dtype=float)
    r, k, n = met.sum(axis=1), met.sum(axis=0), met.sum()
    y, alpha, beta = met / k, n / (n + 1), k / (k + 1)
    own0 = np.diag(d) - 2 * d @ r / n + r @ d @ r / n**2  # x₀ᵀC⁺x₀, by sharpener
    mixed = np.diag(d)[:, None] - d @ y - (d @ r / n)[:, None] + (r @ d @ y / n)[None, :]  # x₀ᵀC⁺x
    base = np.trace(c0 @ d)
    removed = _quadratic_of_x(d @ c0 @ d, y) + alpha * mixed**2
    after: Array = base + alpha * own0[:, None] - beta / (1 + beta * _quadratic_of_x(d, y)) * removed
    return after


def _quadratic_of_x(a: Array, y: Array) -> Array:
    """xᵀAx for x = e_s − y_t."""
    quadratic: Array = np.diag(a)[:, None] - 2 * a @ y + np.einsum("it,ij,jt->t", y, a, y)[None, :]
    return quadratic
