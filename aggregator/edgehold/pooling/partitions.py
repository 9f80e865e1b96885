"""Random terms by the runs they join: which are one and the same to these runs, and which join nothing."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from edgehold.numerics.arrays import Bools, Ints, Texts
from edgehold.numerics.half_t import HalfT

from .crossed.inputs import RESIDUAL
from .crossed.runs_design import Runs

LEAST_SPLIT = 3  # levels of the coarser of two nested terms that must be split for them to count as two
ORDER = (
    "sharpener", "tester", "blade", "batch", "lot", "evening", "pair", "submission", "steel × sharpener", "steel × tester",
    "level × steel", "level × submission",
)  # fmt: skip


@dataclass(frozen=True, eq=False)
class TermOfRuns:
    """One random term, or several that these runs cannot tell apart.

    Attributes
    ----------
    name : the names of all of them, joined by "or".
    parts : their names.
    labels : (n,) which level a run belongs to.
    names : (q,) the levels, sorted; those of all runs where ``labels`` are of some of them.
    prior : of the standard deviation; of several, with their scales' root sum of squares.
    """

    name: str
    parts: tuple[str, ...]
    labels: Texts
    names: Texts
    prior: HalfT

    @property
    def levels(self) -> int:
        """How many levels."""
        return len(self.names)

    def chosen(self, rows: Bools | Ints) -> TermOfRuns:
        """The term at some runs, with all its levels."""
        return replace(self, labels=self.labels[rows])


def terms_of(
    runs: Runs, priors: Mapping[str, HalfT], apart: Collection[str] = ()
) -> tuple[dict[str, TermOfRuns], HalfT, tuple[str, ...], tuple[str, ...]]:
    """Random terms of runs, equal ones merged.

    Parameters
    ----------
    runs : n runs.
    priors : by term, and the residual's.
    apart : terms that are never merged, because something beside the runs tells them from others.

    Returns
    -------
    The terms by name; the prior of the residual; the terms that are part of the residual because each run has a level of its own; and
    those that have one level only.
    """
    groups = {name: runs.groups()[name] for name in ORDER if name in runs.groups()}
    groups |= {name: labels for name, labels in (("lot", runs.lot), ("evening", runs.evening), ("pair", runs.pair)) if labels is not None}
    codes = {name: _first_met(groups[name]) for name in ORDER if name in groups}
    terms: dict[str, TermOfRuns] = {}
    single: list[str] = []
    within: list[str] = []
    for names in _joined(codes, apart):
        mine = codes[names[0]]
        levels = int(mine.max()) + 1
        if levels == 1:
            single += names
        elif levels == len(mine):
            within += names
        else:
            labels, prior = groups[names[0]], together([priors[name] for name in names])
            term = TermOfRuns(" or ".join(names), tuple(names), labels, np.unique(labels), prior)
            terms[term.name] = term
    residual = together([priors[RESIDUAL], *(priors[name] for name in within)])
    return terms, residual, tuple(within), tuple(single)


def holding(terms: Mapping[str, TermOfRuns], part: str) -> TermOfRuns | None:
    """The term that a part belongs to; None where it has none of its own."""
    return next((term for term in terms.values() if part in term.parts), None)


def _joined(codes: Mapping[str, Ints], apart: Collection[str]) -> list[list[str]]:
    """Names of terms that join the same runs, the term with more levels first where they are not quite the same.

    One that splits fewer than ``LEAST_SPLIT`` levels of a coarser one counts as the same: so few cannot say which of the two varies.
    """
    found: list[list[str]] = []
    for name in sorted(codes, key=lambda one: (-codes[one].max(), ORDER.index(one))):
        alone = name in apart
        home = next((names for names in found if not alone and names[0] not in apart and _hardly_split(codes[names[0]], codes[name])), None)
        if home is None:
            found.append([name])
        else:
            home.append(name)
    return sorted(found, key=lambda names: min(map(ORDER.index, names)))


def _hardly_split(fine: Ints, coarse: Ints) -> bool:
    """Whether ``fine`` is nested in ``coarse`` and splits fewer than ``LEAST_SPLIT`` of its levels, and fewer than it leaves whole."""
    pairs = np.unique(np.column_stack([fine, coarse]), axis=0)
    if len(pairs) > fine.max() + 1:
        return False
    split = int((np.bincount(pairs[:, 1]) > 1).sum())
    return split < LEAST_SPLIT and 2 * split <= coarse.max()


def _first_met(labels: Texts) -> Ints:
    """Levels numbered in the order in which they are met, so that equal partitions have equal numbers."""
    _, first, codes = np.unique(labels, return_index=True, return_inverse=True)
    rank = np.empty(len(first), dtype=int)
    rank[np.argsort(first)] = np.arange(len(first))
    return rank[codes]


def together(priors: Sequence[HalfT]) -> HalfT:
    """The prior of the root of a sum of squares, about: the scales' root sum of squares, the heaviest tail."""
    scale = float(np.sqrt(sum(prior.scale**2 for prior in priors)))
    sources = list(dict.fromkeys(prior.source for prior in priors))
    return HalfT(min(prior.df for prior in priors), scale, sources[0] if len(sources) == 1 else "; ".join(sources))
