"""From the contrasts of single submissions to one network of steels for each endpoint.

The arithmetic is in ``network``; this module gathers its arrays. Submissions joined by a tester, a sharpener or a blade are one study
(``studies``): their contrasts are combined by generalised least squares first, so that a study says one thing about each of its steels.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from itertools import combinations

import numpy as np
from scipy.linalg import block_diag

from edgehold.estimates.repeatability import Repeatability, RepeatabilityTable
from edgehold.estimates.results import ContrastEstimated, SubmissionEstimate
from edgehold.numerics.arrays import Array
from edgehold.numerics.attempt import attempt
from edgehold.numerics.residual_spectrum import generalised_fit
from edgehold.pooling.pairwise.studies import cluster_numbers, common_variance
from edgehold.records.canonical import PoolKey
from edgehold.words import Reason

from .design import spanning_pairs
from .inconsistency import NodeSplit
from .network import NetworkContrast, NetworkFit, network

LEAST_STEELS = 3  # below it a network is a single comparison


@dataclass(frozen=True)
class LinkedPair:
    """One steel against another that a chain of comparisons joins it to.

    Attributes
    ----------
    first, second : steels, in alphabetical order; the contrast is first minus second on the ln scale.
    path : the shortest chain of direct comparisons from first to second, both ends included.
    direct_studies : studies with a submission that can tell the two apart; none where all evidence is indirect.
    contrast : direct and indirect evidence together.
    split_p : p value of direct against indirect evidence; None where not looked at.
    """

    first: str
    second: str
    path: tuple[str, ...]
    direct_studies: int
    contrast: NetworkContrast
    split_p: float | None


@dataclass(frozen=True)
class UnlinkedPair:
    """One steel against another that nothing joins it to, and why."""

    first: str
    second: str
    reason: str


@dataclass(frozen=True, eq=False)
class StudyContrasts:
    """Independent contrasts of studies with their sampling covariance.

    Attributes
    ----------
    y, V : (n,) first minus second, and (n, n), block-diagonal in studies.
    first, second, study : (n,) labels of each contrast.
    """

    y: Array
    V: Array
    first: tuple[str, ...]
    second: tuple[str, ...]
    study: tuple[int, ...]


@dataclass(frozen=True, eq=False)
class SteelNetwork:
    """The network of steels at one endpoint of one pool.

    Attributes
    ----------
    pool, endpoint : which.
    steels : all steels that stood beside another one in some submission, sorted.
    fit : the network.
    pairs : every pair of steels.
    apart : how it falls apart; empty where all of it hangs together.
    contrasts : what the network was fitted to.
    """

    pool: PoolKey
    endpoint: str
    steels: tuple[str, ...]
    fit: NetworkFit
    pairs: tuple[LinkedPair | UnlinkedPair, ...]
    apart: str
    contrasts: StudyContrasts


@dataclass(frozen=True)
class NoNetwork:
    """Three steels or more that nothing can be said of together, and why."""

    pool: PoolKey
    endpoint: str
    steels: tuple[str, ...]
    reason: str


def steel_networks(
    estimates: Iterable[SubmissionEstimate], table: RepeatabilityTable
) -> dict[tuple[PoolKey, str], SteelNetwork | NoNetwork]:
    """The network of steels of every pool and endpoint at which three steels or more stood beside another.

    Parameters
    ----------
    estimates : one per submission and endpoint.
    table : the common repeatability that sampling covariances rest on.
    """
    grouped: dict[tuple[PoolKey, str], list[SubmissionEstimate]] = {}
    pools: dict[PoolKey, list[SubmissionEstimate]] = {}
    for estimate in estimates:
        grouped.setdefault((estimate.pool, estimate.endpoint), []).append(estimate)
        pools.setdefault(estimate.pool, []).append(estimate)
    clusters = {pool: cluster_numbers(own) for pool, own in pools.items()}
    found = {key: _network(key, own, clusters[key[0]], table.entry(key)) for key, own in sorted(grouped.items())}
    return {key: one for key, one in found.items() if one is not None}


def study_contrasts(estimates: Iterable[SubmissionEstimate], clusters: Mapping[str, int], s2: float) -> StudyContrasts | None:
    """Each study's independent contrasts of steels; None without any.

    Within a study the steels' contrasts are taken to be the same in all of its submissions; for two steels this is the mean
    weighted by inverse variance.

    Parameters
    ----------
    estimates : of one pool and endpoint.
    clusters : number of its study by submission.
    s2 : run-to-run variance common to all submissions.
    """
    told = [(estimate, own) for estimate in estimates if (own := _independent(estimate, s2))]
    if not told:
        return None
    by_study: dict[int, list[OwnContrasts]] = {}
    for estimate, own in told:
        by_study.setdefault(clusters[estimate.submission], []).append(own)
    combined = {number: _combined(parts) for number, parts in sorted(by_study.items())}
    return StudyContrasts(
        y=np.concatenate([y for y, _, _ in combined.values()]),
        V=block_diag(*(V for _, V, _ in combined.values())),
        first=tuple(a for _, _, pairs in combined.values() for a, _ in pairs),
        second=tuple(b for _, _, pairs in combined.values() for _, b in pairs),
        study=tuple(number for number, (_, _, pairs) in combined.items() for _ in pairs),
    )


OwnContrasts = tuple[Array, Array, list[tuple[str, str]]]
"""Independent contrasts, their covariance, and the steels that each is about."""


def _independent(estimate: SubmissionEstimate, s2: float) -> OwnContrasts | None:
    """Contrasts of steels of one submission that are no sums of others, and their covariance at the common variance."""
    told = [contrast for contrast in estimate.contrasts if isinstance(contrast, ContrastEstimated)]
    steels = [i for i, contrast in enumerate(told) if contrast.factor == "steel"]
    pairs = [(told[i].first, told[i].second) for i in steels]
    chosen = [i for i, joins in zip(steels, spanning_pairs(pairs), strict=True) if joins]
    if not chosen:
        return None
    unit = told[chosen[0]].unscaled_variance / estimate.covariance[chosen[0], chosen[0]]
    y = np.array([told[i].estimate for i in chosen])
    return y, s2 * unit * estimate.covariance[np.ix_(chosen, chosen)], [(told[i].first, told[i].second) for i in chosen]


def _combined(parts: list[OwnContrasts]) -> OwnContrasts:
    """One study from its submissions: as many contrasts as its steels need, by generalised least squares."""
    if len(parts) == 1:
        return parts[0]
    pairs = [pair for _, _, own in parts for pair in own]
    kept = [pair for pair, joins in zip(pairs, spanning_pairs(pairs), strict=True) if joins]
    steels = sorted({steel for pair in pairs for steel in pair})
    design = np.linalg.lstsq(_signs(kept, steels).T, _signs(pairs, steels).T, rcond=None)[0].T
    fit = generalised_fit(np.concatenate([y for y, _, _ in parts]), block_diag(*(V for _, V, _ in parts)), np.rint(design))
    return fit.coefficients, fit.covariance, kept


def _signs(pairs: list[tuple[str, str]], steels: list[str]) -> Array:
    """(pairs, steels) +1 at the first, −1 at the second."""
    return np.array([[(steel == a) - (steel == b) for steel in steels] for a, b in pairs], dtype=float)


def _network(
    key: tuple[PoolKey, str], estimates: list[SubmissionEstimate], clusters: Mapping[str, int], entry: Repeatability
) -> SteelNetwork | NoNetwork | None:
    asked = {name for e in estimates for c in e.contrasts if c.factor == "steel" for name in (c.first, c.second)}
    steels = tuple(sorted(asked))
    if len(steels) < LEAST_STEELS:
        return None
    return attempt(
        lambda: _fitted(key, steels, estimates, clusters, common_variance(entry)[0]),
        lambda why: NoNetwork(*key, steels, why),
        lambda found: () if isinstance(found, NoNetwork) else (found.fit.effects, np.sqrt(np.diag(found.fit.covariance)), found.fit.tau2),
    )


def _fitted(
    key: tuple[PoolKey, str], steels: tuple[str, ...], estimates: list[SubmissionEstimate], clusters: Mapping[str, int], s2: float
) -> SteelNetwork | NoNetwork:
    data = study_contrasts(estimates, clusters, s2)
    if data is None:
        return NoNetwork(*key, steels, Reason("network.no_steels_apart"))
    fit, direct = network(data.y, data.V, data.first, data.second, data.study), _direct_studies(estimates, clusters)
    pairs = tuple(_pair(fit, direct, a, b) for a, b in combinations(steels, 2))
    return SteelNetwork(*key, steels, fit, pairs, _apart(fit, steels), data)


def _direct_studies(estimates: list[SubmissionEstimate], clusters: Mapping[str, int]) -> dict[tuple[str, str], int]:
    """By pair of steels, how many studies have a submission that can tell them apart."""
    told = [(e, {(c.first, c.second) for c in e.contrasts if c.factor == "steel" and isinstance(c, ContrastEstimated)}) for e in estimates]
    studies: dict[tuple[str, str], set[int]] = {}
    for estimate, pairs in told:
        for pair in pairs:
            studies.setdefault(pair, set()).add(clusters[estimate.submission])
    return {pair: len(numbers) for pair, numbers in studies.items()}


def _pair(fit: NetworkFit, direct: Mapping[tuple[str, str], int], first: str, second: str) -> LinkedPair | UnlinkedPair:
    path = shortest_path(direct, first, second)
    if not path:
        return UnlinkedPair(first, second, Reason("network.no_chain", first=first, second=second))
    studies = direct.get((first, second), 0)
    split = next((one for one in fit.splits if {one.first, one.second} == {first, second}), None) if studies else None
    p = split.p if isinstance(split, NodeSplit) else None
    return LinkedPair(first, second, path, studies, fit.contrast(first, second), p)


def shortest_path(pairs: Iterable[tuple[str, str]], first: str, second: str) -> tuple[str, ...]:
    """The shortest chain of pairs from first to second, both ends included; the earliest by name of several; empty without one."""
    neighbours: dict[str, set[str]] = {}
    for a, b in pairs:
        neighbours.setdefault(a, set()).add(b)
        neighbours.setdefault(b, set()).add(a)
    before, queue = {first: ""}, deque([first])
    while queue and second not in before:
        here = queue.popleft()
        for steel in sorted(neighbours.get(here, set()) - before.keys()):
            before[steel] = here
            queue.append(steel)
    if second not in before:
        return ()
    path = [second]
    while path[-1] != first:
        path.append(before[path[-1]])
    return tuple(path[::-1])


def _apart(fit: NetworkFit, steels: tuple[str, ...]) -> str:
    """How the network falls apart; steels that no submission can tell from any other stand alone."""
    alone = [(steel,) for steel in steels if steel not in fit.treatments]
    groups = [*fit.components, *alone]
    if len(groups) == 1:
        return ""
    listed = "; ".join(", ".join(map(str, group)) for group in groups)
    return Reason("network.apart", number=len(groups), groups=listed)
