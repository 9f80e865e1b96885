"""Whether a network agrees with itself: designs against each other, and direct against indirect evidence.

The symbols are those of ``edgehold.pooling``; H is the heterogeneity of ``network_design``. A design is the set of
treatments that a study compares.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations

import numpy as np
from scipy.linalg import null_space

from edgehold.numerics.arrays import Array, Bools
from edgehold.numerics.distributions import chi2_sf, f_sf, t_sf
from edgehold.numerics.estimability import TOLERANCE
from edgehold.numerics.residual_spectrum import GeneralisedFit, Spectrum, generalised_fit, maximise, residual_spectrum
from edgehold.numerics.weighted_regression import prepare, weigh
from edgehold.pooling.pairwise.heterogeneity import restricted_maximum_likelihood
from edgehold.words import Reason

from .design import Comparisons


@dataclass(frozen=True)
class ChiSquare:
    """A statistic with its degrees of freedom and p value; p is None where df is 0."""

    q: float
    df: int
    p: float | None


@dataclass(frozen=True)
class Inconsistency:
    """Cochran's Q of a network in its parts, and the design-by-treatment tests.

    Attributes
    ----------
    total : Q of the consistency model at tau2 = 0.
    within_designs : its part within designs, heterogeneity.
    between_designs : its part between designs: the design-by-treatment test with a common effect. Heterogeneity counts as
        inconsistency here.
    random_effects : the same test with heterogeneity allowed for, at the tau2 of the design-by-treatment model. Heterogeneity
        hides inconsistency here; neither test replaces the other.
    random_effects_p_f : p value of q/df of ``random_effects`` against F(df, df within designs). The chi-square p takes tau2 as
        known and says "inconsistent" too often in small networks; this one does not, and says it rarely there
        (``tests/simulation/network.md``).
    tau2 : of the design-by-treatment model.
    designs : number of designs.
    reason : why ``random_effects`` (and ``tau2``) or both tests are missing; empty otherwise.
    """

    total: ChiSquare
    within_designs: ChiSquare
    between_designs: ChiSquare
    random_effects: ChiSquare | None
    random_effects_p_f: float | None
    tau2: float | None
    designs: int
    reason: str


@dataclass(frozen=True)
class NodeSplit:
    """One comparison, by studies that hold both and by the rest of the network.

    Attributes
    ----------
    first, second : treatments.
    studies : number of studies that hold both.
    direct, direct_standard_error, indirect, indirect_standard_error : the two answers.
    difference, difference_standard_error : direct − indirect.
    df, p : degrees of freedom (``inf``: normal) and two-sided p value of the difference; p is None where plain Knapp–Hartung
        leaves no scatter.
    tau2 : with the split allowed for.
    """

    first: object
    second: object
    studies: int
    direct: float
    direct_standard_error: float
    indirect: float
    indirect_standard_error: float
    difference: float
    difference_standard_error: float
    df: float
    p: float | None
    tau2: float


@dataclass(frozen=True)
class NoSplit:
    """One comparison that cannot be split.

    Attributes
    ----------
    first, second, studies : as in `NodeSplit`.
    reason : why.
    """

    first: object
    second: object
    studies: int
    reason: str


def design_by_treatment(data: Comparisons) -> Inconsistency:
    """The design-by-treatment interaction model: every design its own effects (Higgins et al. 2012, Res. Synth. Methods
    3:98–110; White et al. 2012, ibid. 111–125), and Q in its parts (Krahn, Binder & König 2013)."""
    columns, link = _design_columns(data)
    loops = null_space(link[:, data.free].T).T if columns.shape[1] > len(data.free) else np.zeros((0, columns.shape[1]))
    common = generalised_fit(data.y, data.V, columns)
    total = generalised_fit(data.y, data.V, data.design_matrix).q
    n, p, p_design = len(data.y), len(data.free), columns.shape[1]
    random, tau2 = (None, None) if n == p_design else _random_test(data, columns, loops)
    tested = random if len(loops) > 0 else None
    return Inconsistency(
        total=_chi_square(total, n - p),
        within_designs=_chi_square(common.q if n > p_design else 0.0, n - p_design),
        between_designs=_chi_square(_wald(common, loops), len(loops)),
        random_effects=tested,
        random_effects_p_f=float(f_sf(tested.q / tested.df, tested.df, n - p_design)) if tested else None,
        tau2=tau2,
        designs=len(set(data.designs)),
        reason="" if tested else _why_no_test(len(loops)),
    )


def _why_no_test(loops: int) -> str:
    if not loops:
        return Reason("network.no_loop")
    return Reason("network.no_design_repeated")


def _random_test(data: Comparisons, columns: Array, loops: Array) -> tuple[ChiSquare, float]:
    tau2 = maximise(residual_spectrum(data.y, data.V, data.H, columns)).at
    return _chi_square(_wald(generalised_fit(data.y, data.V + tau2 * data.H, columns), loops), len(loops)), tau2


def _design_columns(data: Comparisons) -> tuple[Array, Array]:
    """(n, q) one column for each treatment of each design but the first of its parts; (q, t) what each stands for under
    consistency."""
    columns, link = [], []
    of_row = [data.designs[s] for s in data.study]
    for design in dict.fromkeys(data.designs):
        mine = np.array([other == design for other in of_row])
        for base, *others in design:
            for treatment in others:
                columns.append(np.where(mine, data.incidence[:, treatment], 0.0))
                link.append(np.eye(len(data.treatments))[treatment] - np.eye(len(data.treatments))[base])
    return np.array(columns).T, np.array(link)


def _wald(fit: GeneralisedFit, loops: Array) -> float:
    if not len(loops):
        return 0.0
    gap = loops @ fit.coefficients
    return float(gap @ np.linalg.solve(loops @ fit.covariance @ loops.T, gap))


def _chi_square(q: float, df: int) -> ChiSquare:
    return ChiSquare(q, df, float(chi2_sf(q, df)) if df else None)


def node_splits(data: Comparisons, spectrum: Spectrum, common: bool, interval: str) -> tuple[NodeSplit | NoSplit, ...]:
    """Every pair that some study holds both of, split (Dias et al. 2010; for studies of more than two arms the symmetric form of
    White 2015, Stata J. 15:951–985, where either arm carries half of the difference).

    The split adds one column to the consistency model, so that on the independent parts of its residuals it is a regression with
    one coefficient, and tau2 costs no further factor.
    """
    pairs = [pair for pair in combinations(range(len(data.treatments)), 2) if _holding(data, *pair).any()]
    return tuple(_split(data, spectrum, a, b, common, interval) for a, b in pairs)


def _holding(data: Comparisons, a: int, b: int) -> Bools:
    """Which studies hold both treatments in one piece."""
    return np.array([any(a in part and b in part for part in design) for design in data.designs])


def _split(data: Comparisons, spectrum: Spectrum, a: int, b: int, common: bool, interval: str) -> NodeSplit | NoSplit:
    holding = _holding(data, a, b)
    first, second, count = data.treatments[a], data.treatments[b], int(holding.sum())
    extra = np.where(holding[data.study], (data.incidence[:, a] - data.incidence[:, b]) / 2, 0.0)
    X = data.design_matrix
    if np.linalg.norm(extra - X @ np.linalg.lstsq(X, extra, rcond=None)[0]) <= TOLERANCE * np.linalg.norm(extra):
        return NoSplit(first, second, count, Reason("network.no_other_way"))
    df = len(spectrum.z) - 1
    if df < (2 if interval == "guarded-knapp-hartung" else 1):
        few = Reason("network.split_few_contrasts", contrasts=len(data.y), coefficients=X.shape[1] + 1)
        return NoSplit(first, second, count, few)
    rows = prepare(spectrum.z, spectrum.mu, (spectrum.transform @ extra)[:, None])
    tau2 = 0.0 if common else restricted_maximum_likelihood(rows).tau2
    fit = generalised_fit(data.y, data.V + tau2 * data.H, np.column_stack([X, extra]))
    factor = scale_factor(weigh(rows, tau2).q, df, interval)
    indirect = np.append((np.eye(len(data.treatments))[a] - np.eye(len(data.treatments))[b])[data.free], 0.0)
    split = np.eye(X.shape[1] + 1)[-1]
    answers = [(float(c @ fit.coefficients), float(np.sqrt(factor * c @ fit.covariance @ c))) for c in (indirect + split, indirect, split)]
    interval_df = np.inf if interval == "wald" else float(df)
    p_value = float(2 * t_sf(abs(answers[2][0] / answers[2][1]), interval_df)) if answers[2][1] > 0 else None
    return NodeSplit(first, second, count, *answers[0], *answers[1], *answers[2], interval_df, p_value, tau2)


def scale_factor(q: float, df: int, interval: str) -> float:
    """The Knapp–Hartung factor on a covariance, as the interval's method asks; 1 for ``"wald"``."""
    if interval == "wald":
        return 1.0
    return max(1.0, q / df) if interval == "guarded-knapp-hartung" else q / df
