"""What a network of comparisons is made of: independent contrasts, components, designs.

A study of m arms has m − 1 independent contrasts. Where more are given they must be one another's sums, in the estimates and
in V, and the surplus is set aside; nothing is lost with it.
"""

from __future__ import annotations

from collections.abc import Hashable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from edgehold.errors import InputError, NumbersError
from edgehold.numerics.arrays import Array, Bools, Ints
from edgehold.pooling.inputs import check_each, check_estimates, check_variances

SUMS = 1e-6  # how far, relative to the study's own size, surplus contrasts may be from the sums they should be
SYMMETRY = 1e-10  # of V, relative to its variances
SINGULAR = 1e-10  # least eigenvalue of V as correlations: below it contrasts that differ are said to be the same


@dataclass(frozen=True, eq=False)
class Comparisons:
    """The independent contrasts of a network.

    Attributes
    ----------
    y, V : (n,) estimates and (n, n) sampling covariance.
    H : (n, n) heterogeneity for tau2 = 1: 1 for a contrast, ½ for two contrasts of one study that share an arm, −½ if they
        share it with opposite signs, 0 if they share none.
    incidence : (n, t) +1 at the first treatment of a contrast, −1 at the second.
    study : (n,) number of the study.
    treatments, studies : labels, in the order of their numbers; treatments sorted.
    component : (t,) number of the component a treatment is in.
    designs : one a study: which treatments it joins, as a tuple of tuples of numbers.
    surplus : rows of the input set aside because others add up to them.
    """

    y: Array
    V: Array
    H: Array
    incidence: Array
    study: Ints
    treatments: tuple[Hashable, ...]
    studies: tuple[Hashable, ...]
    component: Ints
    designs: tuple[tuple[tuple[int, ...], ...], ...]
    surplus: tuple[int, ...]

    @property
    def design_matrix(self) -> Array:
        """(n, p) of the consistency model: one column a treatment but the first of each component."""
        return self.incidence[:, self.free]

    @property
    def free(self) -> Ints:
        """Numbers of the treatments that have a coefficient: all but the first of each component."""
        return np.setdiff1d(np.arange(len(self.treatments)), np.unique(self.component, return_index=True)[1])


def comparisons(
    y: ArrayLike, V: ArrayLike, first: Sequence[Hashable], second: Sequence[Hashable], study: Sequence[Hashable]
) -> Comparisons:
    """Check the contrasts of a network and keep the independent ones.

    Raises
    ------
    InputError
        As ``network`` says.
    """
    y, V = _checked_numbers(y, V, first, second, study)
    treatments = tuple(sorted({*first, *second}, key=str))
    studies = tuple(dict.fromkeys(study))
    place = {label: i for i, label in enumerate(treatments)}
    ends = np.array([[place[a], place[b]] for a, b in zip(first, second, strict=True)])
    owner = np.array([studies.index(label) for label in study])
    incidence = np.zeros((len(y), len(treatments)))
    incidence[np.arange(len(y)), ends[:, 0]] = 1.0
    incidence[np.arange(len(y)), ends[:, 1]] = -1.0
    kept = np.concatenate([_independent(y, V, ends, incidence, np.flatnonzero(owner == s), studies[s]) for s in range(len(studies))])
    kept.sort()
    _check_definite(V, kept, owner, studies)
    C, own = incidence[kept], owner[kept]
    return Comparisons(
        y=y[kept],
        V=V[np.ix_(kept, kept)],
        H=0.5 * (C @ C.T) * (own[:, None] == own),
        incidence=C,
        study=own,
        treatments=treatments,
        studies=studies,
        component=_joined(ends, len(treatments))[1],
        designs=tuple(_design(ends[kept][own == s]) for s in range(len(studies))),
        surplus=tuple(int(i) for i in np.setdiff1d(np.arange(len(y)), kept)),
    )


def spanning_pairs(pairs: Sequence[tuple[Hashable, Hashable]]) -> Bools:
    """(n,) which pairs join two that were apart until then; the others are sums of those."""
    labels = sorted({label for pair in pairs for label in pair}, key=str)
    ends = np.array([[labels.index(a), labels.index(b)] for a, b in pairs], dtype=int).reshape(-1, 2)
    return _joined(ends, len(labels))[0]


def _joined(ends: Ints, count: int) -> tuple[Bools, Ints]:
    """Which pairs join what was apart until then, and the component of each of ``count`` nodes after all of them."""
    label = np.arange(count)
    joins = np.zeros(len(ends), dtype=bool)
    for i, (a, b) in enumerate(ends):
        joins[i] = label[a] != label[b]
        label[label == max(label[a], label[b])] = min(label[a], label[b])
    return joins, np.unique(label, return_inverse=True)[1]


def _design(ends: Ints) -> tuple[tuple[int, ...], ...]:
    nodes, pairs = np.unique(ends, return_inverse=True)
    group = _joined(pairs.reshape(ends.shape), len(nodes))[1]
    return tuple(tuple(int(node) for node in nodes[group == g]) for g in range(group.max() + 1))


def _independent(y: Array, V: Array, ends: Ints, incidence: Array, rows: Ints, study: Hashable) -> Ints:
    """The rows of one study that the others do not add up to."""
    joins = _joined(ends[rows], incidence.shape[1])[0]
    tree, surplus = rows[joins], rows[~joins]
    if len(surplus):
        sums = np.rint(np.linalg.lstsq(incidence[tree].T, incidence[surplus].T, rcond=None)[0].T)
        _check_sums(y, V, tree, surplus, sums, study)
    return tree


def _check_sums(y: Array, V: Array, tree: Ints, surplus: Ints, sums: Array, study: Hashable) -> None:
    errors = np.sqrt(np.diag(V))
    size = np.abs(sums) @ np.abs(y[tree]) + errors[surplus]
    agree = (np.abs(y[surplus] - sums @ y[tree]) <= SUMS * size).all()
    same = (np.abs(V[surplus] - sums @ V[tree]) <= SUMS * np.outer(np.abs(sums) @ errors[tree] + errors[surplus], errors)).all()
    if not (agree and same):
        what = "their estimates do not add up" if not agree else "V does not say that they add up"
        raise NumbersError(
            f"study {study!r}: got contrasts of the same arms more than once or in a loop, and {what}; give each arm against "
            "one common arm only, with the variance of the common arm as their covariance"
        )


def _check_definite(V: Array, kept: Ints, owner: Ints, studies: Sequence[Hashable]) -> None:
    errors = np.sqrt(np.diag(V))
    correlation = V / np.outer(errors, errors)
    for s, label in enumerate(studies):
        own = kept[owner[kept] == s]
        if np.linalg.eigvalsh(correlation[np.ix_(own, own)])[0] < SINGULAR:
            raise NumbersError(
                f"V must be positive definite; got one that is not over study {label!r}: is a covariance larger than a variance?"
            )
    if np.linalg.eigvalsh(correlation[np.ix_(kept, kept)])[0] < SINGULAR:
        raise NumbersError("V must be positive definite; got covariances between studies that are larger than their variances allow")


def _checked_numbers(
    y: ArrayLike, V: ArrayLike, first: Sequence[Hashable], second: Sequence[Hashable], study: Sequence[Hashable]
) -> tuple[Array, Array]:
    y, V = np.asarray(y, dtype=float), np.asarray(V, dtype=float)
    lengths = {len(first), len(second), len(study)}
    if y.ndim != 1 or len(y) == 0 or V.shape != (len(y), len(y)) or lengths != {len(y)}:
        got = f"{y.shape}, {V.shape}, {len(first)}, {len(second)} and {len(study)}"
        raise InputError(f"y (n,), V (n, n), first, second and study must agree in length, at least 1; got {got}")
    check_estimates(y)
    check_each("V", V, np.isfinite(V), "finite numbers")
    check_variances("the diagonal of V", np.diag(V))
    if (np.abs(V - V.T) > SYMMETRY * np.sqrt(np.outer(np.diag(V), np.diag(V)))).any():
        raise InputError("V must be symmetric; got a matrix that differs from its transpose")
    for i, (a, b) in enumerate(zip(first, second, strict=True)):
        if a == b:
            raise InputError(f"a contrast needs two different treatments; got {a!r} against itself at [{i}]")
    return y, V
