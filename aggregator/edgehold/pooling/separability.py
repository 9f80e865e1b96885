"""Whether runs can tell the steel, the sharpener and the tester apart.

Asked of the labels alone, before any reading is looked at. Persons count as fixed where a contrast is judged, so that
nothing rests on a guess about people; where the variances of sharpeners and testers are to be split, sizes have to be
assumed, and the result repeats them.

Nothing is runs by runs. ``numerics.factor_levels`` takes levels that meet as sparse; what is dense is people by people.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType

import numpy as np
import numpy.typing as npt
from numpy.typing import ArrayLike
from scipy.sparse import csr_array
from scipy.sparse.csgraph import connected_components

from edgehold.errors import InputError
from edgehold.numerics.arrays import Array, Bools, Ints, Labels, Texts
from edgehold.numerics.factor_levels import crossed, information_beside, joined, rank_of
from edgehold.words import Reason

from .inputs import frozen
from .random_terms import RANK_TOLERANCE, TermsHeld, check_lengths, checked_column, terms_held

OF_STEELS, OF_LEVELS = ("steel × sharpener", "steel × tester"), ("level × steel", "level × submission")
RANDOM_TERMS = ("blade", "batch", "submission", *OF_STEELS, *OF_LEVELS)  # beside the two roles of people
PEOPLE = ("sharpener", "tester")
PAIRED = {"steel": PEOPLE, "sharpener": ("tester",), "tester": ("sharpener",), "level": PEOPLE}
SPLIT = "split"
EVERYTHING = (*PAIRED, SPLIT)
WEAK_EFFICIENCY, LEAST_CROSSING_DF, LEAST_PEOPLE, LARGEST_CV, LARGEST_VIF = 0.2, 4, 3, 1.0, 2.0
SAME = 1e-5  # part of a difference in the lost directions, as a share of its length, that rounding may leave


@dataclass(frozen=True)
class Component:
    """People joined by who tested whose edges.

    Attributes
    ----------
    sharpeners, testers : their labels, sorted.
    runs : runs between them.
    crossing_runs : those that cross; see ``crosses``.
    """

    sharpeners: tuple[str, ...]
    testers: tuple[str, ...]
    runs: int
    crossing_runs: int


@dataclass(frozen=True, eq=False)
class ContrastVerdict:
    """Whether differences between the levels of one factor can be told.

    Attributes
    ----------
    factor, paired : what is compared, and the factors it has to be told from.
    levels : (a,) labels, sorted.
    verdict : ``"no"`` no pair of levels can be told, ``"yes"`` every pair can, ``"weak"`` anything between.
    sentence : the same for a lay reader.
    efficiencies : canonical efficiencies, largest first: the eigenvalues of C₀^{+½}CC₀^{+½} on the range of C₀. A zero is a
        contrast that is lost.
    rank : rank of C, the number of independent contrasts that can be told.
    groups : levels between which every difference can be told; a difference between two groups cannot.
    pair_efficiency : (a, a) efficiency of each difference, cᵀC₀⁺c/cᵀC⁺c; 0 where it cannot be told.
    crossing_df : (a,) independent comparisons across people in the group of each level.
    units : (a,) blades of each steel; None where none were named, and for people.
    """

    factor: str
    paired: tuple[str, ...]
    levels: tuple[str, ...]
    verdict: str
    sentence: str
    efficiencies: Array
    rank: int
    groups: tuple[tuple[str, ...], ...]
    pair_efficiency: Array
    crossing_df: Ints
    units: Ints | None = None

    @property
    def aliased_contrasts(self) -> tuple[tuple[str, str], ...]:
        """Every pair of levels whose difference cannot be told."""
        a = len(self.levels)
        lost = [(i, j) for i in range(a) for j in range(i + 1, a) if self.pair_efficiency[i, j] == 0]
        return tuple((self.levels[i], self.levels[j]) for i, j in lost)

    def pair(self, first: str, second: str) -> str:
        """Verdict on one difference: ``"no"``, ``"weak"`` or ``"yes"``; ``"no"`` for steels of which one is a single blade.

        Raises
        ------
        InputError
            If a label is not among the levels.
        """
        i, j = (_position(self.levels, label, self.factor) for label in (first, second))
        one_blade = self.units is not None and min(self.units[i], self.units[j]) == 1
        return "no" if one_blade else _pair_verdict(self.pair_efficiency[i, j], self.crossing_df[i])

    def linked(self, first: str, second: str) -> tuple[str, str]:
        """Verdict on one difference beside the people alone, whatever stands for one blade, and why not or what weakens it.

        Raises
        ------
        InputError
            If a label is not among the levels.
        """
        i, j = (_position(self.levels, label, self.factor) for label in (first, second))
        efficiency, df = float(self.pair_efficiency[i, j]), int(self.crossing_df[i])
        told = _pair_verdict(efficiency, df)
        if told == "yes":
            return told, ""
        if told == "no":
            return told, Reason("separability.not_linked")
        if efficiency < WEAK_EFFICIENCY:
            return told, Reason("separability.same_people", share=100 * efficiency)
        return told, Reason("separability.few_comparisons", comparisons=df, wanted=LEAST_CROSSING_DF)


@dataclass(frozen=True, eq=False)
class SplitVerdict:
    """Whether the variances of sharpeners and testers can be split.

    Attributes
    ----------
    verdict : ``"no"``: print no number; ``"weak"``: print upper limits only; ``"yes"``.
    reason : why not ``"yes"``; empty otherwise.
    sentence : the same for a lay reader.
    people : people seen both in own and in foreign pairs (among people who never test their own edges: with two or more
        partners).
    cv : coefficient of variation of each role's variance estimate; empty where a role cannot be held.
    vif : how much the variance of either estimate grows because the other has to be estimated too; None where a role
        cannot be held.
    terms : which random terms the data can hold, the variances assumed among it.
    """

    verdict: str
    reason: str
    sentence: str
    people: int
    cv: Mapping[str, float]
    vif: float | None
    terms: TermsHeld


@dataclass(frozen=True, eq=False)
class Separability:
    """What can be told apart in a set of runs.

    Attributes
    ----------
    contrasts : a verdict for ``"steel"`` and ``"level"`` (where given), ``"sharpener"`` and ``"tester"``, as far as asked for.
    judged_split : the verdict on splitting the variances of sharpeners and testers; None where it was not asked for.
    components : people joined by their runs, the largest first.
    crossing_runs : runs that cross, over all components.
    runs, levels, rank : runs, levels of all fixed factors together, and the rank of their design.
    sentence : all verdicts for a lay reader.
    """

    contrasts: Mapping[str, ContrastVerdict]
    judged_split: SplitVerdict | None
    components: tuple[Component, ...]
    crossing_runs: int
    runs: int
    levels: int
    rank: int
    sentence: str

    @property
    def split(self) -> SplitVerdict:
        """The verdict on splitting the variances of sharpeners and testers.

        Raises
        ------
        ValueError
            If it was not asked for.
        """
        if self.judged_split is None:
            raise ValueError(f"separability was asked of {', '.join(self.contrasts)} alone")
        return self.judged_split


def separability(
    labels: Mapping[str, Labels], *, variances: Mapping[str, float] | None = None, of: Collection[str] = EVERYTHING
) -> Separability:
    """Judge from the labels of runs what can be told apart.

    Parameters
    ----------
    labels : by factor, one label a run. ``"sharpener"`` and ``"tester"`` are needed, with the same label for the same person in
        both; ``"steel"`` and ``"level"`` (of a treatment) may be given. ``RANDOM_TERMS`` are used for the split only. Any other
        factor (version, lot, own sharpening) is a fixed condition, taken out everywhere.
    variances : assumed variances by random term and ``"residual"``, squared ln units; what is not given is taken from
        ``random_terms.ASSUMED_VARIANCES``.
    of : which contrasts are wanted, and ``"split"``; people by people takes the cube of how many there are.

    Returns
    -------
    Separability

    Raises
    ------
    InputError
        If a factor is missing, has another length or a missing label, a variance is not positive, or there are more
        than ``random_terms.LARGEST_LEVELS`` levels.

    Notes
    -----
    C = Zᵀ(I − P_other)Z is the information on a factor, C₀ the same without the factor it is paired with: the people for
    a steel, the other role for a role. A difference is weakly estimable when its efficiency is below 0.2 or fewer than 4
    independent comparisons across people carry it (the rank that factor × people adds to all other factors). With one
    blocking factor the efficiencies are those of an incomplete block design (John & Williams 1995, Cyclic and Computer
    Generated Designs, ch. 2).

    Examples
    --------
    Four people who only test their own edges, each with both steels: the steels come apart, the roles do not.

    >>> from edgehold.pooling import separability
    >>> who = ["a", "a", "b", "b", "c", "c", "d", "d"]
    >>> found = separability({"steel": [1, 2] * 4, "sharpener": who, "tester": who})
    >>> found.contrasts["steel"].verdict, found.contrasts["sharpener"].verdict, found.split.verdict
    ('yes', 'no', 'no')

    Seven things in seven blocks of three, in which every two meet once: each difference keeps 7/9 of what it would have without blocks, the
    efficiency λv/(rk) of a balanced incomplete block design (John & Williams 1995).

    >>> blocks = ["124", "235", "346", "457", "561", "672", "713"]
    >>> labels = {"steel": list("".join(blocks)), "tester": [b for b in blocks for _ in b], "sharpener": ["one"] * 21}
    >>> [round(float(e), 3) for e in separability(labels).contrasts["steel"].efficiencies]
    [0.778, 0.778, 0.778, 0.778, 0.778, 0.778]
    """
    columns = checked_labels(labels)
    fixed = {name: column for name, column in columns.items() if name not in RANDOM_TERMS}
    cells = _distinct(fixed)
    components = find_components(columns["sharpener"], columns["tester"])
    contrasts = {
        name: _contrast(name, fixed, *cells, _blades(columns) if name == "steel" else None)
        for name in PAIRED
        if name in columns and name in of
    }
    split = _split(columns, components, variances) if SPLIT in of else None
    codes, _ = cells
    return Separability(
        contrasts=MappingProxyType(contrasts),
        judged_split=split,
        components=components,
        crossing_runs=sum(c.crossing_runs for c in components),
        runs=len(columns["tester"]),
        levels=sum(len(np.unique(column)) for column in fixed.values()),
        rank=rank_of(list(codes.values())),
        sentence=" ".join([*(c.sentence for c in contrasts.values()), *([] if split is None else [split.sentence])]),
    )


def crosses(sharpener: ArrayLike, tester: ArrayLike) -> Bools:
    """Which runs cross: sharpener ≠ tester, this sharpener also met with another tester, this tester with another
    sharpener.

    Parameters
    ----------
    sharpener, tester : (n,) labels.

    Returns
    -------
    (n,) bool
    """
    one, other = np.asarray(sharpener), np.asarray(tester)
    apart: Bools = one != other
    return apart & (_partners(one, other) > 1) & (_partners(other, one) > 1)


def checked_labels(labels: Mapping[str, Labels]) -> dict[str, Texts]:
    """Labels as arrays of text, with both roles of people among them."""
    missing = [name for name in PEOPLE if name not in labels]
    if missing:
        raise InputError(f"labels must hold 'sharpener' and 'tester'; got {sorted(labels)} without {' and '.join(missing)}")
    columns = {name: checked_column(name, values) for name, values in labels.items()}
    check_lengths(columns)
    return columns


def find_components(sharpener: Texts, tester: Texts) -> tuple[Component, ...]:
    """Sharpeners and testers joined by runs, the component with most runs first."""
    s_levels, s = np.unique(sharpener, return_inverse=True)
    t_levels, t = np.unique(tester, return_inverse=True)
    member = joined(s, t)
    crossing = crosses(sharpener, tester)
    found = []
    for number in range(member.max() + 1):
        here = member[s] == number
        in_s, in_t = s_levels[member[: len(s_levels)] == number], t_levels[member[len(s_levels) :] == number]
        found.append(Component(tuple(map(str, in_s)), tuple(map(str, in_t)), int(here.sum()), int(crossing[here].sum())))
    return tuple(sorted(found, key=lambda c: (-c.runs, c.testers)))


def canonical_efficiencies(information: Array, reference: Array) -> Array:
    """Eigenvalues of C₀^{+½}CC₀^{+½} on the range of C₀, largest first; zeros made exact.

    Parameters
    ----------
    information, reference : (a, a) C and C₀, in runs.
    """
    values, vectors = np.linalg.eigh(reference)
    kept = values > RANK_TOLERANCE * max(values.max(), 1.0)  # in runs, so that a real one is not far below 1
    root = vectors[:, kept] / np.sqrt(values[kept])
    found = np.linalg.eigvalsh(root.T @ information @ root)[::-1]
    return np.where(found > RANK_TOLERANCE, np.minimum(found, 1.0), 0.0)


def _partners(one: npt.NDArray[np.generic], other: npt.NDArray[np.generic]) -> Ints:
    """(n,) of each run, with how many different ``other`` its ``one`` is met."""
    _, a = np.unique(one, return_inverse=True)
    _, b = np.unique(other, return_inverse=True)
    pairs = np.unique(np.column_stack([a, b]), axis=0)
    return np.bincount(pairs[:, 0])[a]


def _distinct(columns: Mapping[str, Texts]) -> tuple[dict[str, Ints], Ints]:
    """Integer codes of the distinct combinations of levels, and how many runs each holds."""
    codes = np.column_stack([np.unique(column, return_inverse=True)[1] for column in columns.values()])
    rows, counts = np.unique(codes, axis=0, return_counts=True)
    return {name: rows[:, i] for i, name in enumerate(columns)}, counts


def _indicator(factor: Ints) -> Array:
    indicator: Array = (factor[:, None] == np.arange(factor.max() + 1)).astype(float)
    return indicator


def _blades(labels: Mapping[str, Texts]) -> Ints | None:
    """Blades of each steel, sorted by steel."""
    if "blade" not in labels:
        return None
    return np.array([len(np.unique(labels["blade"][labels["steel"] == steel])) for steel in np.unique(labels["steel"])])


def _contrast(name: str, fixed: Mapping[str, Texts], codes: dict[str, Ints], counts: Ints, units: Ints | None) -> ContrastVerdict:
    levels = tuple(map(str, np.unique(fixed[name])))
    others = {other: code for other, code in codes.items() if other != name}
    paired = tuple(other for other in PAIRED[name] if other in others)
    weights = counts.astype(float)
    full = information_beside(codes[name], list(others.values()), weights)
    reference = information_beside(codes[name], [code for other, code in others.items() if other not in paired], weights)
    efficiencies = canonical_efficiencies(full, reference) if len(levels) > 1 else np.zeros(0)
    pairs, member = _pair_efficiency(full, reference, np.bincount(codes[name], weights).astype(float))
    df = _crossing_df(codes[name], [others[p] for p in paired], list(others.values()), member)
    groups = tuple(tuple(levels[i] for i in np.flatnonzero(member == g)) for g in range(member.max() + 1))
    verdict, told = _overall(pairs, df, units)
    return ContrastVerdict(
        factor=name,
        paired=paired,
        levels=levels,
        verdict=verdict,
        sentence=_sentence(_told_apart(name, levels, verdict, told, groups, bool((pairs > 0).any()), units)),
        efficiencies=frozen(efficiencies),
        rank=int(np.count_nonzero(efficiencies)),
        groups=groups,
        pair_efficiency=frozen(pairs),
        crossing_df=frozen(df),
        units=None if units is None else frozen(units),
    )


def _pair_efficiency(full: Array, reference: Array, runs: Array) -> tuple[Array, Ints]:
    """Efficiency of every difference of two levels, and the number of the group of each level."""
    scale = np.sqrt(runs)
    values, vectors = np.linalg.eigh(full / np.outer(scale, scale))
    kept = values > RANK_TOLERANCE
    lost = vectors[:, ~kept].T / scale  # a difference can be told when every lost direction is the same at both levels
    same = (_of_differences(lost.T @ lost) < SAME**2 * (1 / runs[:, None] + 1 / runs)) & ~np.eye(len(runs), dtype=bool)
    inverse = (vectors[:, kept] / values[kept]) @ vectors[:, kept].T / np.outer(scale, scale)
    efficiency = np.zeros_like(full)
    best = _of_differences(np.asarray(np.linalg.pinv(reference, rcond=RANK_TOLERANCE, hermitian=True), dtype=float))
    efficiency[same] = (best[same] / _of_differences(inverse)[same]).clip(0, 1)
    return efficiency, connected_components(csr_array(same.astype(int)), directed=False)[1]


def _of_differences(inverse: Array) -> Array:
    """cᵀAc for every difference c of two levels."""
    d = np.diag(inverse)
    spread: Array = d[:, None] + d[None, :] - 2 * inverse
    return spread


def _crossing_df(factor: Ints, paired: list[Ints], others: list[Ints], member: Ints) -> Ints:
    """(a,) rank that factor × people adds to all other factors, in the rows of each level's group."""
    by_group, of_row = [], member[factor]
    order = np.argsort(of_row, kind="stable")
    for rows in np.split(order, np.flatnonzero(np.diff(of_row[order])) + 1):
        rest = [other[rows] for other in others]
        by_group.append(rank_of(rest + [crossed(factor[rows], p[rows]) for p in paired]) - rank_of(rest))
    df: Ints = np.array(by_group)[member]
    return df


def _pair_verdict(efficiency: float, crossing_df: int) -> str:
    if efficiency == 0:
        return "no"
    return "weak" if efficiency < WEAK_EFFICIENCY or crossing_df < LEAST_CROSSING_DF else "yes"


def _overall(pairs: Array, df: Ints, units: Ints | None) -> tuple[str, tuple[int, int, int]]:
    """Verdict over all pairs, and how many pairs there are, can be told, and can be told well."""
    upper = np.triu_indices(len(pairs), 1)
    efficiency, pair_df = pairs[upper], df[upper[0]]
    told = efficiency > 0
    if units is not None:
        told &= np.minimum(units[upper[0]], units[upper[1]]) > 1
    well = told & (efficiency >= WEAK_EFFICIENCY) & (pair_df >= LEAST_CROSSING_DF)
    counts = (len(efficiency), int(told.sum()), int(well.sum()))
    if not told.any():
        return "no", counts
    return ("yes" if well.all() else "weak"), counts


THESE = {name: Reason(f"separability.{name}s") for name in PAIRED}
THOSE = {
    "steel": Reason("separability.hands"),
    "level": Reason("separability.hands"),
    "sharpener": THESE["tester"],
    "tester": THESE["sharpener"],
}


def _sentence(told: str) -> str:
    """What is told, with a full stop."""
    return f"{told}."


def _told_apart(
    name: str,
    levels: Sequence[str],
    verdict: str,
    told: tuple[int, int, int],
    groups: Sequence[tuple[str, ...]],
    linked: bool,
    units: Ints | None,
) -> str:
    these, those = THESE[name], THOSE[name]
    pairs, can, well = told
    if len(levels) < 2:
        return Reason("separability.only_one", factor=name)
    if verdict == "no" and linked and units is not None:
        single = int((units == 1).sum())
        code = "separability.all_single_blades" if single == len(units) else "separability.single_blades"
        return Reason(code, single=single, steels=len(units))
    if verdict == "no":
        return Reason("separability.not_apart", these=these, those=those)
    if verdict == "yes":
        return Reason("separability.apart", these=these, those=those)
    if can == pairs and not well:
        return Reason("separability.weakly", these=these, those=those)
    code = "separability.partly_in_groups" if len(groups) > 1 else "separability.partly"
    surely = Reason("separability.some", well=well) if well else Reason("separability.none")
    return Reason(code, these=these, those=those, can=can, pairs=pairs, well=surely, groups=len(groups))


def _split(labels: Mapping[str, Texts], components: tuple[Component, ...], variances: Mapping[str, float] | None) -> SplitVerdict:
    fixed = [column for name, column in labels.items() if name not in RANDOM_TERMS and name not in PEOPLE]
    groups = {name: labels[name] for name in (*PEOPLE, *RANDOM_TERMS) if name in labels}
    columns = [_indicator(np.unique(column, return_inverse=True)[1]) for column in fixed]
    X = np.hstack(columns) if columns else None
    terms = terms_held(groups, X=X, variances=variances)
    people = _linking_people(labels["sharpener"], labels["tester"])
    both = all(name in terms.held for name in PEOPLE)
    cv = {name: terms.cv[name] for name in PEOPLE} if both else {}
    vif = _inflation(terms) if both else None
    verdict, reason = _split_verdict(terms, people, cv, vif)
    crossing = sum(c.crossing_runs for c in components)
    return SplitVerdict(verdict, reason, _sentence(_told_split(verdict, reason, crossing)), people, MappingProxyType(cv), vif, terms)


def _split_verdict(terms: TermsHeld, people: int, cv: Mapping[str, float], vif: float | None) -> tuple[str, str]:
    lost = [term.reason for term in terms.dropped if term.name in PEOPLE]
    if lost:
        return "no", lost[0]
    if people < LEAST_PEOPLE:
        code = "separability.nobody_linked" if people == 0 else "separability.few_linked"
        return "no", Reason(code, people=people, needed=LEAST_PEOPLE)
    if max(cv.values()) > LARGEST_CV:
        name = max(cv, key=cv.__getitem__)
        return "weak", Reason("separability.variance_rough", role=name, percent=100 * cv[name])
    if vif is not None and vif > LARGEST_VIF:
        return "weak", Reason("separability.variance_inflated", times=vif)
    return "yes", ""


def _told_split(verdict: str, reason: str, crossing: int) -> str:
    if verdict == "no":
        return Reason("separability.not_split", why=reason)
    runs = Reason("separability.joining_runs", runs=crossing)
    return Reason("separability.split", runs=runs) if verdict == "yes" else Reason("separability.split_limits", runs=runs, why=reason)


def _linking_people(sharpener: Texts, tester: Texts) -> int:
    """People seen in own and in foreign pairs; or, if more, people who never test their own edges and meet two
    partners."""
    own = sharpener == tester
    at_home = set(sharpener[own])
    abroad = set(sharpener[~own]) | set(tester[~own])
    movers = set(sharpener[_partners(sharpener, tester) > 1]) | set(tester[_partners(tester, sharpener) > 1])
    return max(len(at_home & abroad), len(movers - at_home))


def _inflation(terms: TermsHeld) -> float:
    """1/(1 − ρ²), ρ the correlation of the two roles' variance estimates."""
    at = [terms.names.index(name) for name in PEOPLE]
    covariance = np.linalg.inv(terms.information)[np.ix_(at, at)]
    return float(1 / (1 - covariance[0, 1] ** 2 / (covariance[0, 0] * covariance[1, 1])))


def _position(levels: tuple[str, ...], label: str, factor: str) -> int:
    if str(label) not in levels:
        raise InputError(f"a {factor} must be one of {', '.join(levels)}; got {label!r}")
    return levels.index(str(label))
