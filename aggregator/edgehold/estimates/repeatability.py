"""How much runs differ that should be alike: pooled over submissions, and what one submission borrows from it."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import overload

import numpy as np
from scipy.special import digamma, polygamma

from edgehold.endpoints.rows import EndpointRow
from edgehold.errors import InputError, NotSettledError
from edgehold.numerics.arrays import Array
from edgehold.numerics.attempt import attempt
from edgehold.numerics.distributions import chi2_sf
from edgehold.records.canonical import LoadedProtocol, PoolKey
from edgehold.records.model.protocol import EndpointRule, major

from .own_variance import attempted_own_variance

LEAST_SUBMISSIONS = 5  # with replicates, before their spread is asked whether submissions differ in repeatability
EVIDENT = 0.05  # p value below which submissions do differ in repeatability
SMALLEST_SHARE = 1e-5  # of the median: what a variance of 0 counts as where its logarithm is taken
MOST_STEPS, SETTLED = 100, 1e-15  # of the search for prior degrees of freedom: how many, and the last one's share of what is found
POOLED, ASSUMED = "pooled", "assumed"
Key = tuple[PoolKey, str]


@dataclass(frozen=True)
class Repeatability:
    """Run variance of one endpoint of one pool.

    Attributes
    ----------
    s2_pooled, df_pooled : variance pooled over submissions, weights their degrees of freedom ν; nan and 0 without any.
    prior_df, prior_s2 : d₀ and s₀² that one submission's own variance is moderated with; d₀ may be infinite.
    source : ``pooled``, or ``assumed`` where there are no replicates yet and the protocol's own figure stands in.
    submissions : how many contributed.
    reason : why d₀ and s₀² could not be fitted, so that all submissions are taken to repeat alike; empty otherwise.
    """

    s2_pooled: float
    df_pooled: float
    prior_df: float
    prior_s2: float
    source: str
    submissions: int
    reason: str = ""

    @overload
    def moderate(self, s2: float, df: float) -> tuple[float, float]: ...
    @overload
    def moderate(self, s2: Array, df: float) -> tuple[Array | float, float]: ...
    def moderate(self, s2: Array | float, df: float) -> tuple[Array | float, float]:
        """s̃² = (d₀s₀² + ds²)/(d₀ + d) and its degrees of freedom d₀ + d (Smyth 2004, section 4).

        The degrees of freedom are never more than the pooled ν that all of it rests on.

        Parameters
        ----------
        s2, df : a submission's own variance (or many) and degrees of freedom d; ``s2`` is not looked at where ``df`` is 0.
        """
        if df == 0 or math.isinf(self.prior_df):
            moderated: Array | float = self.prior_s2
        else:
            moderated = (self.prior_df * self.prior_s2 + df * s2) / (self.prior_df + df)
        total = self.prior_df + df
        return moderated, min(total, self.df_pooled) if self.source == POOLED else total

    @property
    def finite_prior_df(self) -> float:
        """d₀, or the ν it rests on where d₀ is larger."""
        return min(self.prior_df, self.df_pooled) if self.source == POOLED else self.prior_df


@dataclass(frozen=True)
class RepeatabilityTable:
    """Repeatability of every endpoint of every pool.

    Attributes
    ----------
    entries : by pool and endpoint.
    contributions : per entry (submission, s², df), the submissions with replicates.
    assumed : per entry the protocol's (ln SD, prior df).
    failed : per entry (submission, reason), the submissions whose own variance could not be fitted.
    """

    entries: Mapping[Key, Repeatability]
    contributions: Mapping[Key, tuple[tuple[str, float, float], ...]]
    assumed: Mapping[Key, tuple[float, float]]
    failed: Mapping[Key, tuple[tuple[str, str], ...]] = field(default_factory=dict)

    def entry(self, key: Key) -> Repeatability:
        """The entry of a pool and endpoint.

        Raises
        ------
        InputError
            If the table has no such entry: it was made from other protocols or rows.
        """
        if key not in self.entries:
            raise InputError(f"the repeatability table has no entry for {key}; it has {sorted(self.entries)}")
        return self.entries[key]

    def only(self, key: Key) -> RepeatabilityTable:
        """What an estimate on one endpoint of one pool needs of it."""
        return RepeatabilityTable({key: self.entry(key)}, {key: self.contributions[key]}, {key: self.assumed[key]})

    def entry_without(self, key: Key, submission: str) -> Repeatability:
        """The entry as it would be without one submission, so that a file is not moderated by itself."""
        entry = self.entry(key)
        if all(c[0] != submission for c in self.contributions[key]):
            return entry
        return _entry([c for c in self.contributions[key] if c[0] != submission], *self.assumed[key])

    def leave_out(self, submission: str) -> RepeatabilityTable:
        """The table without one submission."""
        kept = {key: tuple(c for c in own if c[0] != submission) for key, own in self.contributions.items()}
        return RepeatabilityTable({key: self.entry_without(key, submission) for key in kept}, kept, self.assumed, self.failed)


def repeatability_table(rows: Iterable[EndpointRow], protocols: Mapping[tuple[str, str], LoadedProtocol]) -> RepeatabilityTable:
    """Repeatability per protocol MAJOR, endpoint and origin.

    Parameters
    ----------
    rows : all endpoint rows.
    protocols : by id and version, as in ``Repository``.
    """
    rules = endpoint_rules(protocols)
    grouped: dict[Key, dict[str, list[EndpointRow]]] = {}
    for row in rows:
        grouped.setdefault((row.pool, row.endpoint), {}).setdefault(row.submission, []).append(row)
    contributions, assumed, failed = {}, {}, {}
    for key in sorted(grouped):
        estimands = {s: estimand_of(own[0], protocols) for s, own in grouped[key].items()}
        own = [(s, *attempted_own_variance(grouped[key][s], estimands[s])) for s in sorted(grouped[key])]
        contributions[key] = tuple((s, s2, df) for s, s2, df, _ in own if df > 0)
        failed[key] = tuple((s, why) for s, *_, why in own if why)
        rule = rules[(key[0].protocol, key[0].major, key[1])].assumed_repeatability
        assumed[key] = (rule.ln_sd, rule.prior_df)
    entries = {key: _entry(contributions[key], *assumed[key]) for key in contributions}
    return RepeatabilityTable(entries, contributions, assumed, failed)


def endpoint_rules(
    protocols: Mapping[tuple[str, str], LoadedProtocol],
) -> dict[tuple[str, int, str], EndpointRule]:
    """Endpoint rules by protocol, MAJOR and endpoint; the newest version that has one speaks for its MAJOR."""
    newest = sorted(protocols, key=lambda key: (key[0], [int(part) for part in key[1].split(".")]))
    return {(name, major(version), rule.id): rule for name, version in newest for rule in protocols[(name, version)].record.endpoints}


def estimand_of(row: EndpointRow, protocols: Mapping[tuple[str, str], LoadedProtocol]) -> str:
    """The estimand of the protocol version that a row was made by."""
    return protocols[(row.pool.protocol, row.version)].record.estimand


def _entry(own: Iterable[tuple[str, float, float]], ln_sd: float, assumed_df: float) -> Repeatability:
    """Pool the contributions; without any, the protocol's assumption."""
    own = tuple(own)
    s2, df = np.array([c[1] for c in own], dtype=float), np.array([c[2] for c in own], dtype=float)
    if not len(own) or not s2.any():
        return Repeatability(float("nan"), 0.0, float(assumed_df), float(ln_sd**2), ASSUMED, 0)
    pooled = float((s2 * df).sum() / df.sum())
    prior_df, prior_s2, reason = attempt(
        lambda: (*_prior(s2, df, pooled), ""), lambda why: (math.inf, pooled, why), lambda found: [1 / found[0], found[1]]
    )
    return Repeatability(pooled, float(df.sum()), prior_df, prior_s2, POOLED, len(own), reason)


def _prior(s2: Array, df: Array, pooled: float) -> tuple[float, float]:
    """d₀ and s₀²: infinity and the pooled variance where submissions do not evidently differ."""
    evident = len(s2) >= LEAST_SUBMISSIONS and heterogeneity_p(s2, df) < EVIDENT
    return fit_prior(s2, df) if evident else (math.inf, pooled)


def heterogeneity_p(s2: Array, df: Array) -> float:
    """p value of Bartlett's test that all variances are equal (Bartlett 1937, Proc. R. Soc. A 160:268–282).

    Reduces to ``scipy.stats.bartlett`` where each variance is that of a sample.

    Parameters
    ----------
    s2, df : (G,) variances and their degrees of freedom, G ≥ 2, not all variances 0.
    """
    total = df.sum()
    statistic = total * np.log((s2 * df).sum() / total) - (df * np.log(_raised(s2))).sum()
    correction = 1 + ((1 / df).sum() - 1 / total) / (3 * (len(s2) - 1))
    return float(chi2_sf(statistic / correction, len(s2) - 1))


def _raised(s2: Array) -> Array:
    """Variances with those of 0 raised, so that they have a logarithm."""
    return np.maximum(s2, SMALLEST_SHARE * float(np.median(s2) or s2.max()))


def fit_prior(s2: Array, df: Array) -> tuple[float, float]:
    """Prior degrees of freedom d₀ and variance s₀² of a set of variances (Smyth 2004, section 6.2).

    With e = ln s² − ψ(d/2) + ln(d/2): ψ′(d₀/2) = mean of (e − ē)²G/(G − 1) − ψ′(d/2), and
    ln s₀² = ē + ψ(d₀/2) − ln(d₀/2). Where the right-hand side is not positive the variances differ by no more than
    chance: d₀ is infinite and s₀² the pooled variance. (Smyth GK 2004, Linear models and empirical Bayes methods for
    assessing differential expression in microarray experiments, Stat. Appl. Genet. Mol. Biol. 3:3.)

    Parameters
    ----------
    s2, df : (G,) variances and their degrees of freedom, G ≥ 2, not all variances 0.
    """
    e = np.log(_raised(s2)) - digamma(df / 2) + np.log(df / 2)
    excess = float(e.var(ddof=1) - polygamma(1, df / 2).mean())
    if excess <= 0:
        return math.inf, float((s2 * df).sum() / df.sum())
    prior_df = 2 * trigamma_inverse(excess)
    return prior_df, float(np.exp(e.mean() + digamma(prior_df / 2) - np.log(prior_df / 2)))


def trigamma_inverse(x: float) -> float:
    """The y > 0 at which ψ′(y) = x > 0, by Newton's method on 1/ψ′, which is convex, so that it comes down to y from ½ + 1/x without
    passing it (Smyth 2004, appendix)."""
    y = 0.5 + 1 / x
    for _ in range(MOST_STEPS):
        value = float(polygamma(1, y))
        step = value * (1 - value / x) / float(polygamma(2, y))
        y += step
        if abs(step) <= SETTLED * y:
            return y
    raise NotSettledError(f"the inverse of trigamma at {x:g} is not settled after {MOST_STEPS} steps")
