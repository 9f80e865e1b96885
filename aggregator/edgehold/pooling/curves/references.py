"""Reference edges and known weights as rows of a pool's joint model.

A reference edge is read like a run and is none: it has a keenness of its own, fresh, and a loss over its fixed amount of work, and no
steel, blade or sharpener. What it shares with the runs are the rig, the lot that it was cut in and the evening; what it has alone are its
segment and its pack. A known weight shares with them the scale in the rig, and nothing else: it does not pull the thread::

    run         steel's curve + people, blade, lot, run … + rig + scale + place in the evening × (drift + evening's own) + reading
    reference   fresh − wear, if after, + lot, if after, + pack + segment + rig + scale + place × (drift + evening's own) + reading
    weight                                                            scale + weight

So nothing is divided by anything: errors of the reference are estimated and carried on (Federer 1956, Hawaiian Planters' Record
55:191–208, on common checks in incomplete blocks).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import scipy.sparse as sp

from edgehold.numerics.arrays import Array, Bools, Ints, Texts
from edgehold.numerics.half_t import HalfT
from edgehold.pooling.inputs import frozen
from edgehold.pooling.partitions import TermOfRuns

RIG, SCALE, DRIFT, PACK, SEGMENT, WEIGHT = "rig", "scale", "drift", "pack", "segment", "weight"
OF_REFERENCES = (RIG, SCALE, DRIFT, PACK, SEGMENT, WEIGHT)
APART = ("lot",)  # never merged with another term where there are references: they are cut in the lot, by no blade and no sharpener
OF_THE_EVENING = frozenset({"evening", "submission"})  # terms that a reference edge meets whatever was done with it
OF_THE_WORK = frozenset({"lot"})  # and those that it meets only once it has cut
WEIGHING = 20.0  # how many times nearer its rig a weight lies than a reading lies to its line, at least; what is more is estimated
FRESH, WEAR = "fresh", "wear"  # columns that references add beside that of the drift: keenness before the work, and what it takes off


@dataclass(frozen=True, eq=False)
class References:
    """Readings of reference edges and known weights of one pool, and what joins them to its n runs.

    Attributes
    ----------
    low, high : (m,) keenness of a reading lies between them, ln scale; equal where it was on the scale.
    work : (m,) amount of work before it; 0 where the edge was fresh.
    rig, scale, pack, segment : (m,) which rig read it, the scale in that rig, and which pack and segment the edge is.
    labels : (m,) by "lot", "evening" and "submission", as for runs.
    place : (m,) place in the evening, −½ before the first run and ½ after the last.
    shown : (w,) ln of what the rig said of a known weight over what it weighs, with the sign of keenness.
    hung : (w,) the scale that it hung on.
    run_rig, run_scale, run_evening : (n,) those of the runs.
    run_place : (n,) place in the evening.
    """

    low: Array
    high: Array
    work: Array
    rig: Texts
    scale: Texts
    pack: Texts
    segment: Texts
    labels: Mapping[str, Texts]
    place: Array
    shown: Array
    hung: Texts
    run_rig: Texts
    run_scale: Texts
    run_evening: Texts
    run_place: Array

    @property
    def joined(self) -> Bools:
        """(n,) which runs were read on a rig that read a reference edge."""
        return np.isin(self.run_rig, self.rig)


@dataclass(frozen=True, eq=False)
class Augmented:
    """The rows of a joint model, those of references below those of runs.

    Attributes
    ----------
    low, high, X, groups, priors : as ``hierarchical`` takes them.
    names : of the last columns of ``X``, which belong to references.
    references : what was added.
    """

    low: Array
    high: Array
    X: Array
    groups: Mapping[str, sp.csr_matrix]
    priors: Mapping[str, HalfT]
    names: tuple[str, ...]
    references: References


@dataclass(frozen=True, eq=False)
class OfRuns:
    """The joint model of the runs alone.

    Attributes
    ----------
    run : (r,) number of the run of each reading.
    low, high, X : (r,), (r,), (r, p).
    groups, priors : as ``hierarchical`` takes them.
    terms : terms of runs; each has its level in ``groups``, and its trend where ``trends`` names one.
    trends : by term, the name of its trend.
    """

    run: Ints
    low: Array
    high: Array
    X: Array
    groups: Mapping[str, sp.csr_matrix]
    priors: Mapping[str, HalfT]
    terms: Mapping[str, TermOfRuns]
    trends: Mapping[str, str]


def augmented(runs: OfRuns, references: References, along: Array, priors: Mapping[str, HalfT]) -> Augmented:
    """The rows of runs with those of reference edges and known weights below.

    Parameters
    ----------
    runs : the model of the runs alone.
    references : beside them.
    along : (m,) where the reference's readings lie along the work, as trends have it.
    priors : of the spreads of a level, those of ``OF_REFERENCES`` among them.

    Notes
    -----
    A lot counts in the reading after the work as it would count in a run's at the same amount of work, and not at all before.
    A weight's row is multiplied by ``WEIGHING``, so that the spread of readings weighs little in it and its own spread is its own.
    """
    w = len(references.shown)
    groups = {name: _below(Z, _met(name, runs, references, along), w) for name, Z in runs.groups.items()}
    own = _own_terms(runs, references)
    groups |= own
    X, names = _columns(runs, references)
    return Augmented(
        low=frozen(np.concatenate([runs.low, references.low, WEIGHING * references.shown])),
        high=frozen(np.concatenate([runs.high, references.high, WEIGHING * references.shown])),
        X=frozen(X),
        groups=groups,
        priors=dict(runs.priors) | {name: priors[name] for name in own},
        names=names,
        references=references,
    )


def _met(name: str, runs: OfRuns, references: References, along: Array) -> sp.csr_matrix:
    """(m, q) what the levels of a term of runs count in the readings of references."""
    m, q = len(references.low), runs.groups[name].shape[1]
    term, weights = runs.terms.get(name), np.ones(m)
    if term is None:
        term = next((runs.terms[one] for one, trend in runs.trends.items() if trend == name and one in runs.terms), None)
        weights = along
    parts = frozenset(term.parts) if term else frozenset({""})
    if term is None or not parts <= OF_THE_EVENING | OF_THE_WORK:
        return sp.csr_matrix((m, q))
    labels = references.labels[term.parts[0]]
    at = np.searchsorted(term.names, labels).clip(0, q - 1)
    there = (term.names[at] == labels) & ((references.work > 0) | (not parts & OF_THE_WORK))
    return sp.csr_matrix((weights[there], (np.flatnonzero(there), at[there])), shape=(m, q))


def _below(of_runs: sp.csr_matrix, of_references: sp.csr_matrix, weights: int) -> sp.csr_matrix:
    return sp.csr_matrix(sp.vstack([of_runs, of_references, sp.csr_matrix((weights, of_runs.shape[1]))], format="csr"))


def _own_terms(runs: OfRuns, references: References) -> dict[str, sp.csr_matrix]:
    """Terms that references add, but for those with one level."""
    found = _terms_of_weights(runs, references) if len(references.shown) else {}
    if len(references.low):
        found = {name: Z for name, Z in _terms_of_edges(runs, references).items() if Z.shape[1] > 1} | found
    return {name: found[name] for name in OF_REFERENCES if name in found}


def _terms_of_edges(runs: OfRuns, references: References) -> dict[str, sp.csr_matrix]:
    r, m, w = len(runs.low), len(references.low), len(references.shown)
    nothing, nowhere = np.zeros(w), np.array([""] * w)
    rig = np.concatenate([references.run_rig[runs.run], references.rig, nowhere])
    evening = np.concatenate([references.run_evening[runs.run], references.labels["evening"], nowhere])
    pack, segment = (np.concatenate([np.array([""] * r), labels, nowhere]) for labels in (references.pack, references.segment))
    beside = np.concatenate([np.zeros(r), np.ones(m), nothing])
    return {
        RIG: _indicator(rig, np.concatenate([np.ones(r + m), nothing])),
        DRIFT: _indicator(evening, np.concatenate([references.run_place[runs.run], references.place, nothing])),
        PACK: _indicator(pack, beside),
        SEGMENT: _indicator(segment, beside),
    }


def _terms_of_weights(runs: OfRuns, references: References) -> dict[str, sp.csr_matrix]:
    n, w = len(runs.low) + len(references.low), len(references.shown)
    scale = np.concatenate([references.run_scale[runs.run], references.scale, references.hung])
    return {
        SCALE: _indicator(scale, np.concatenate([np.ones(n), np.full(w, WEIGHING)])),
        WEIGHT: sp.csr_matrix((np.full(w, WEIGHING), (np.arange(n, n + w), np.arange(w))), shape=(n + w, w)),
    }


def _indicator(labels: Texts, weights: Array) -> sp.csr_matrix:
    """(n, q) weights of the levels met at a weight other than 0."""
    rows = np.flatnonzero(weights)
    levels, code = np.unique(labels[rows], return_inverse=True)
    return sp.csr_matrix((weights[rows], (rows, code)), shape=(len(labels), len(levels)))


def _columns(runs: OfRuns, references: References) -> tuple[Array, tuple[str, ...]]:
    """Fixed columns, those of references last, but for any that the others hold already."""
    r, m, w = len(runs.low), len(references.low), len(references.shown)
    after = references.work > 0
    place = np.concatenate([references.run_place[runs.run], references.place, np.zeros(w)])
    columns = {
        FRESH: np.concatenate([np.zeros(r), np.ones(m), np.zeros(w)]),
        WEAR: np.concatenate([np.zeros(r), -after.astype(float), np.zeros(w)]),
        DRIFT: place,
    }
    X = np.vstack([runs.X, np.zeros((m + w, runs.X.shape[1]))])
    names: list[str] = []
    if not m:
        return X, ()
    for name, column in columns.items():
        beside = np.column_stack([X, column])
        if np.linalg.matrix_rank(beside) > X.shape[1]:
            X = beside
            names.append(name)
    return X, tuple(names)
