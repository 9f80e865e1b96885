"""The interlaboratory view: how well runs agree within and between persons on one circulating item.

Repeatability and reproducibility after ISO 5725-2:1994 (clauses 7.2–7.4) and ASTM E691, for any numbers of replicates.
A replicate is a run, its preparation included. Whatever stands out is flagged and nothing is dropped. Works in whatever
scale the values come in.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt
from numpy.typing import ArrayLike

from edgehold.errors import InputError, NumbersError
from edgehold.numerics.arrays import Array, Ints
from edgehold.numerics.distributions import f_ppf, f_sf, t_ppf
from edgehold.words import Reason

# 0.5 % is E691's level for h and k; 1 % and 5 % are ISO 5725-2's for an outlier and a straggler.
ALPHAS = (0.005, 0.01, 0.05)
LEAST_FOR_H = 4  # with three persons |h| cannot exceed 1.155, so that it says nothing
LEAST_FOR_GRUBBS = 6


@dataclass(frozen=True)
class Flag:
    """One thing that stands out.

    Attributes
    ----------
    statistic : ``"h"``, ``"k"``, ``"cochran"`` or ``"grubbs"``.
    person : whose.
    value : the statistic, signed for h and Grubbs.
    critical : the critical value it exceeds in size.
    alpha : the strictest level at which it does.
    """

    statistic: str
    person: Any
    value: float
    critical: float
    alpha: float


@dataclass(frozen=True)
class ExtremeTest:
    """A test of the most extreme person.

    Attributes
    ----------
    person : the person with the largest spread (Cochran), or farthest from the mean (Grubbs).
    statistic : Cochran's C, or Grubbs' G with the sign of the deviation.
    critical : critical value by alpha; Grubbs' two-sided.
    """

    person: Any
    statistic: float
    critical: dict[float, float]


@dataclass(frozen=True)
class ItemResult:
    """Repeatability and reproducibility on one item. What is not available is None; ``reasons`` says why.

    Attributes
    ----------
    item : its label.
    persons : labels of the p persons, sorted; the order of every sequence below.
    replicates, means, standard_deviations : per person runs nᵢ, mean and standard deviation sᵢ (None for a single run).
    runs : all runs.
    mean : general mean Σnᵢȳᵢ/Σnᵢ.
    s_x : standard deviation of the persons' means.
    s_r : repeatability standard deviation, √(Σ(nᵢ−1)sᵢ²/Σ(nᵢ−1)).
    s_L : between-person standard deviation, √max(0, (s_d² − s_r²)/n̄).
    s_R : reproducibility standard deviation, √(s_r² + s_L²).
    h : per person (ȳᵢ − mean of the persons' means)/s_x.
    k : per person sᵢ/s_r, None for a single run.
    h_critical : critical |h| by alpha; empty where h cannot be judged.
    k_critical : per alpha one critical k a person, which depends on that person's number of runs.
    cochran, grubbs : tests of the largest spread and of the farthest mean, or None.
    flags : all that stands out.
    reasons : why a figure is missing or cannot be judged, by its name.
    """

    item: Any
    persons: tuple[Any, ...]
    replicates: tuple[int, ...]
    means: tuple[float, ...]
    standard_deviations: tuple[float | None, ...]
    runs: int
    mean: float
    s_x: float | None
    s_r: float | None
    s_L: float | None
    s_R: float | None
    h: tuple[float, ...] | None
    k: tuple[float | None, ...] | None
    h_critical: dict[float, float]
    k_critical: dict[float, tuple[float | None, ...]]
    cochran: ExtremeTest | None
    grubbs: ExtremeTest | None
    flags: tuple[Flag, ...]
    reasons: dict[str, str]


@dataclass(frozen=True, eq=False)
class _Cells:
    """One item's runs person by person: labels, numbers of runs, means, and sums of squares about the mean."""

    persons: tuple[Any, ...]
    n: Ints
    mean: Array
    squares: Array

    @property
    def df(self) -> Ints:
        return self.n - 1


def interlaboratory(values: ArrayLike, person: ArrayLike, item: ArrayLike, *, alphas: tuple[float, ...] = ALPHAS) -> dict[Any, ItemResult]:
    """Interlaboratory statistics, item by item.

    Parameters
    ----------
    values : (N,) one value a run, all of one item in one unit.
    person : (N,) who ran it.
    item : (N,) label of the circulating item.
    alphas : levels of the tests, each strictly between 0 and 1.

    Returns
    -------
    dict
        One ``ItemResult`` an item, sorted by label.

    Raises
    ------
    InputError
        (a ValueError) If lengths differ, there are no values, a value is not finite, or a level is outside (0, 1).

    Notes
    -----
    s_d² = Σnᵢ(ȳᵢ − ȳ)²/(p − 1) about the weighted mean ȳ and n̄ = (Σn − Σn²/Σn)/(p − 1). With n runs from everybody
    s_L² reduces to max(0, s_x² − s_r²/n), and s_R² to the E691 form max(s_r², s_x² + s_r²(n − 1)/n). With a single run
    from everybody s_R is s_x.

    Examples
    --------
    Glucose in serum, material D, eight laboratories with three runs each (worked example of ASTM E691, published figures from memory:
    s_r 2.6251, s_R 3.3657).

    >>> import numpy as np
    >>> from edgehold.pooling import interlaboratory
    >>> glucose = [193.71, 193.59, 193.65, 190.88, 200.14, 194.3, 192.71, 193.28, 190.28, 195.85, 196.36, 199.43,
    ...            192.59, 191.44, 195.12, 195.34, 198.26, 198.13, 194.66, 191.99, 187.13, 197.56, 195.99, 200.82]
    >>> result = interlaboratory(glucose, np.repeat(range(8), 3), ["D"] * 24)["D"]
    >>> round(result.s_r, 3), round(result.s_R, 3)
    (2.625, 3.366)

    Sulfur in coal, level 1, with unequal numbers of runs (ISO 5725-2:1994, data and published figures from memory: mean 0.690, s_r 0.015,
    s_R 0.026).

    >>> runs = ([0.71, 0.71, 0.70, 0.71], [0.69, 0.67, 0.68], [0.66, 0.65, 0.69], [0.67, 0.65, 0.66],
    ...         [0.70, 0.69, 0.66, 0.71, 0.69], [0.73, 0.74, 0.73], [0.71, 0.71, 0.69], [0.70, 0.65, 0.68])
    >>> result = interlaboratory(sum(runs, []), np.repeat(range(8), [len(r) for r in runs]), np.zeros(27))[0.0]
    >>> round(result.mean, 3), round(result.s_r, 3), round(result.s_R, 3)
    (0.69, 0.015, 0.026)
    """
    values, person, item = _checked(values, person, item, alphas)
    labels, index = np.unique(item, return_inverse=True)
    return {
        label: _one_item(label, _cells(values[index == i], person[index == i]), tuple(alphas)) for i, label in enumerate(labels.tolist())
    }


def h_critical(p: int, alpha: float) -> float:
    """(p − 1)t/√(p(t² + p − 2)), t at 1 − alpha/2 on p − 2 degrees of freedom (ASTM E691; ISO 5725-2)."""
    t = t_ppf(1 - alpha / 2, p - 2)
    return float((p - 1) * t / np.sqrt(p * (t**2 + p - 2)))


def k_critical(df: int, total_df: int, alpha: float) -> float:
    """Critical sᵢ/s_r for a person with ``df`` of ``total_df`` degrees of freedom: √(N/(ν + (N − ν)/F)), F at 1 − alpha
    on ν, N − ν.

    Reduces to √(p/(1 + (p − 1)/F)) of ASTM E691 with equal numbers of runs.
    """
    f = f_ppf(1 - alpha, df, total_df - df)
    return float(np.sqrt(total_df / (df + (total_df - df) / f)))


def cochran_critical(df: int, total_df: int, p: int, alpha: float) -> float:
    """Critical share νsᵢ²/Σνs² of the sums of squares: 1/(1 + (N/ν − 1)/F), F at 1 − alpha/p on ν, N − ν ('t Lam 2010).

    Reduces to Cochran's 1/(1 + (p − 1)/F) for s²max/Σs² with equal numbers of runs (ISO 5725-2).
    """
    f = f_ppf(1 - alpha / p, df, total_df - df)
    return float(1 / (1 + (total_df / df - 1) / f))


def grubbs_critical(p: int, alpha: float) -> float:
    """(p − 1)/√p · √(t²/(p − 2 + t²)), t at 1 − alpha/(2p) on p − 2 degrees of freedom (Grubbs 1969; ISO 5725-2),
    two-sided."""
    t = t_ppf(1 - alpha / (2 * p), p - 2)
    return float((p - 1) / np.sqrt(p) * np.sqrt(t**2 / (p - 2 + t**2)))


def _one_item(item: Any, cells: _Cells, alphas: tuple[float, ...]) -> ItemResult:
    reasons: dict[str, str] = {}
    mean = float(cells.n @ (cells.mean - cells.mean[0]) / cells.n.sum() + cells.mean[0])
    s_x = _spread_of_means(cells, reasons)
    s_r = _repeatability(cells, reasons)
    s_L, s_R = _reproducibility(cells, mean, s_r, s_x, reasons)
    h, h_limits = _h(cells, s_x, alphas, reasons)
    k, k_limits = _k(cells, s_r, alphas, reasons)
    cochran, grubbs = _cochran(cells, s_r, alphas, reasons), _grubbs(cells, h, alphas, reasons)
    return ItemResult(
        item=item,
        persons=cells.persons,
        replicates=tuple(cells.n.tolist()),
        means=tuple(cells.mean.tolist()),
        standard_deviations=tuple(_root_mean(squares, df) for squares, df in zip(cells.squares, cells.df, strict=True)),
        runs=int(cells.n.sum()),
        mean=mean,
        s_x=s_x,
        s_r=s_r,
        s_L=s_L,
        s_R=s_R,
        h=h,
        k=k,
        h_critical=h_limits,
        k_critical=k_limits,
        cochran=cochran,
        grubbs=grubbs,
        flags=_flags(cells.persons, h, h_limits, k, k_limits, cochran, grubbs),
        reasons=reasons,
    )


def _cells(values: Array, person: npt.NDArray[Any]) -> _Cells:
    """Means and sums of squares about a first value, so that equal runs give a spread of exactly zero."""
    labels, first, index, n = np.unique(person, return_index=True, return_inverse=True, return_counts=True)
    origin = values[first]
    shifted = values - origin[index]
    shift = np.bincount(index, shifted) / n
    squares = np.bincount(index, (shifted - shift[index]) ** 2).astype(float)
    return _Cells(tuple(labels.tolist()), n, origin + shift, squares)


def _root_mean(squares: float, df: int) -> float | None:
    return float(np.sqrt(squares / df)) if df > 0 else None


def _spread_of_means(cells: _Cells, reasons: dict[str, str]) -> float | None:
    if len(cells.persons) < 2:
        reasons["s_x"] = Reason("separability.item_one_person")
        return None
    return float(np.std(cells.mean - cells.mean[0], ddof=1))


def _repeatability(cells: _Cells, reasons: dict[str, str]) -> float | None:
    total = int(cells.df.sum())
    if total == 0:
        reasons["s_r"] = Reason("separability.item_no_repeats")
        return None
    return float(np.sqrt(cells.squares.sum() / total))


def _reproducibility(
    cells: _Cells, mean: float, s_r: float | None, s_x: float | None, reasons: dict[str, str]
) -> tuple[float | None, float | None]:
    p, total = len(cells.persons), cells.n.sum()
    if p < 2:
        reasons["s_L"] = reasons["s_R"] = Reason("separability.item_one_person")
        return None, None
    if s_r is None:
        reasons["s_L"] = Reason("separability.item_no_repeats_between")
        return None, s_x
    s_d2 = float(cells.n @ (cells.mean - mean) ** 2) / (p - 1)
    mean_n = (total - (cells.n**2).sum() / total) / (p - 1)
    s_L2 = max(0.0, (s_d2 - s_r**2) / mean_n)
    return float(np.sqrt(s_L2)), float(np.sqrt(s_r**2 + s_L2))


def _h(
    cells: _Cells, s_x: float | None, alphas: tuple[float, ...], reasons: dict[str, str]
) -> tuple[tuple[float, ...] | None, dict[float, float]]:
    p = len(cells.persons)
    if not s_x:
        reasons["h"] = Reason("separability.item_one_person" if p < 2 else "separability.item_equal_means")
        return None, {}
    shifted = cells.mean - cells.mean[0]
    h = tuple(((shifted - shifted.mean()) / s_x).tolist())
    if p < LEAST_FOR_H:
        reasons["h_critical"] = Reason("separability.item_few_for_h", persons=p, least=LEAST_FOR_H)
        return h, {}
    return h, {alpha: h_critical(p, alpha) for alpha in alphas}


def _k(
    cells: _Cells, s_r: float | None, alphas: tuple[float, ...], reasons: dict[str, str]
) -> tuple[tuple[float | None, ...] | None, dict[float, tuple[float | None, ...]]]:
    if not s_r:
        reasons["k"] = Reason("separability.item_no_repeats" if s_r is None else "separability.item_equal_runs")
        return None, {}
    total = int(cells.df.sum())
    spreads = (_root_mean(squares, df) for squares, df in zip(cells.squares, cells.df, strict=True))
    k = tuple(None if s is None else s / s_r for s in spreads)
    if np.count_nonzero(cells.df) < 2:
        reasons["k_critical"] = Reason("separability.item_one_repeated")
        return k, {}
    return k, {alpha: tuple(k_critical(int(df), total, alpha) if df else None for df in cells.df) for alpha in alphas}


def _cochran(cells: _Cells, s_r: float | None, alphas: tuple[float, ...], reasons: dict[str, str]) -> ExtremeTest | None:
    """The person whose share of the sums of squares is least likely; with equal numbers of runs, the one with the
    largest spread."""
    repeated = np.flatnonzero(cells.df)
    if not s_r or len(repeated) < 2:
        reasons["cochran"] = reasons.get("k") or reasons["k_critical"]
        return None
    total, shares = int(cells.df.sum()), cells.squares / cells.squares.sum()
    df, share = cells.df[repeated], shares[repeated]
    ratio = share / df * (total - df) / np.maximum(1 - share, np.finfo(float).eps)
    worst = int(repeated[np.argmin(f_sf(ratio, df, total - df))])
    critical = {a: cochran_critical(int(cells.df[worst]), total, len(repeated), a) for a in alphas}
    return ExtremeTest(cells.persons[worst], float(shares[worst]), critical)


def _grubbs(cells: _Cells, h: tuple[float, ...] | None, alphas: tuple[float, ...], reasons: dict[str, str]) -> ExtremeTest | None:
    """Grubbs' G is the largest |h|."""
    p = len(cells.persons)
    if h is None or p < LEAST_FOR_GRUBBS:
        few = Reason("separability.item_few_for_grubbs", persons=p, least=LEAST_FOR_GRUBBS)
        reasons["grubbs"] = few if p < LEAST_FOR_GRUBBS else reasons["h"]
        return None
    farthest = int(np.argmax(np.abs(h)))
    return ExtremeTest(cells.persons[farthest], h[farthest], {a: grubbs_critical(p, a) for a in alphas})


def _flags(
    persons: tuple[Any, ...],
    h: tuple[float, ...] | None,
    h_limits: dict[float, float],
    k: tuple[float | None, ...] | None,
    k_limits: dict[float, tuple[float | None, ...]],
    cochran: ExtremeTest | None,
    grubbs: ExtremeTest | None,
) -> tuple[Flag, ...]:
    found = []
    for i, person in enumerate(persons):
        if h is not None:
            found.append(_flag("h", person, h[i], h_limits))
        if k is not None and (spread := k[i]) is not None:
            limits = {alpha: limit for alpha, of_persons in k_limits.items() if (limit := of_persons[i]) is not None}
            found.append(_flag("k", person, spread, limits))
    for name, test in (("cochran", cochran), ("grubbs", grubbs)):
        if test is not None:
            found.append(_flag(name, test.person, test.statistic, test.critical))
    return tuple(flag for flag in found if flag is not None)


def _flag(statistic: str, person: Any, value: float, limits: dict[float, float]) -> Flag | None:
    exceeded = [alpha for alpha, limit in limits.items() if abs(value) > limit]
    return Flag(statistic, person, value, limits[min(exceeded)], min(exceeded)) if exceeded else None


def _checked(
    values: ArrayLike, person: ArrayLike, item: ArrayLike, alphas: tuple[float, ...]
) -> tuple[Array, npt.NDArray[Any], npt.NDArray[Any]]:
    values = np.asarray(values, dtype=float)
    person, item = np.asarray(person), np.asarray(item)
    if values.ndim != 1 or len(values) == 0 or person.shape != values.shape or item.shape != values.shape:
        shapes = f"{values.shape}, {person.shape} and {item.shape}"
        raise InputError(f"values, person and item must be vectors of the same length, at least 1; got shapes {shapes}")
    if not np.isfinite(values).all():
        place = int(np.argmin(np.isfinite(values)))
        raise NumbersError(f"values must be finite; got {values[place]} at {place}")
    if not alphas or not all(0 < alpha < 1 for alpha in alphas):
        raise InputError(f"alphas must be one or more levels strictly between 0 and 1; got {alphas!r}")
    return values, person, item
