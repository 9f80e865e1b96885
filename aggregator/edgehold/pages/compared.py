"""What stands against what over all pools: two steels, two levels of a protocol's treatment, practised against novice sharpeners.

Answers are gathered and put in order. Nothing is estimated, and nothing is averaged: every method keeps its own answer.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass
from itertools import groupby

from edgehold.results.model.answers import Answer, MethodLine
from edgehold.results.model.results import Comparison, EndpointResult, Pool, Results
from edgehold.results.words.answers import MOSTLY_PRIOR
from edgehold.results.words.sentences import named
from edgehold.words import Reason

from . import addresses, choose
from .formatting import INTERESTS, endpoints_in_order, percent

Found = tuple[EndpointResult, Answer]
HALVED, DOUBLED = "hierarchical model, prior scales halved", "hierarchical model, prior scales doubled"


@dataclass(frozen=True)
class Method:
    """What the runs of one pool say of one pair.

    Attributes
    ----------
    pool : the pool.
    found : its endpoints and answers: early, late, overall.
    studies : by endpoint, the comparison study by study where some submission holds both.
    """

    pool: Pool
    found: tuple[Found, ...]
    studies: Mapping[str, Comparison]

    @property
    def lead(self) -> Found:
        """The answer that is said first."""
        return choose.leading(self.pool, list(self.found))

    @property
    def detail(self) -> str:
        """The page of this pair in this pool, study by study."""
        return addresses.in_pool(self.pool, self.lead[1])

    @property
    def holding_both(self) -> Comparison | None:
        """The submissions that hold both, at the endpoint that is said first; None where none does."""
        return self.studies.get(self.lead[0].id)

    @property
    def interests(self) -> list[tuple[str, int]]:
        """How many of those submissions have which strongest interest in a blade; of all in the pool where none holds both."""
        both = self.holding_both
        counted = Counter(line.interest for line in both.lines) if both is not None else Counter(self.pool.interests)
        return [(name, counted[name]) for name in INTERESTS if counted[name]]

    @property
    def rests_on_prior(self) -> str:
        """How many of the spreads lean on their prior, because these runs say little or nothing of them; empty without a model."""
        e, _ = self.lead
        spreads = [row for row in e.model.matters if row.what != "steel"] if e.model is not None else []  # steels are fixed in the answers
        rows = [row for row in spreads if row.most_ratio is not None or row.state == "withheld"]
        leaning = [row for row in rows if row.from_prior_percent is None or row.from_prior_percent >= MOSTLY_PRIOR]
        return Reason("compare.rests_on_prior", some=len(leaning), all=len(rows)) if rows else ""

    @property
    def has_ratio(self) -> bool:
        """Whether it has a ratio of the two at any endpoint."""
        return any(c.result is not None for _, c in self.found)


@dataclass(frozen=True)
class Pair:
    """Two that some pool met, with everything that is said of them.

    Attributes
    ----------
    factor : steel, level or practice.
    first, second : as in every answer; a ratio above 1 favours ``first``.
    protocol : the protocol whose levels they are; empty for the other factors.
    methods : the pools shown, measured ones where there are any: those of one medium together, and in each the one that tells most first.
    demonstration : simulated pools that met them too, where measured ones are shown.
    """

    factor: str
    first: str
    second: str
    protocol: str
    methods: tuple[Method, ...]
    demonstration: tuple[Method, ...]

    @property
    def address(self) -> str:
        """The page of this pair."""
        return addresses.compared(self.factor, self.first, self.second, self.protocol)

    @property
    def origin(self) -> str:
        """Whether what is shown is measured or simulated."""
        return self.methods[0].pool.origin

    @property
    def media(self) -> list[tuple[str, list[Method]]]:
        """What each medium says, never averaged."""
        return [(medium, list(group)) for medium, group in groupby(self.methods, lambda method: method.pool.medium)]

    @property
    def telling(self) -> list[Method]:
        """Methods that have a ratio of the two."""
        return [method for method in self.methods if method.has_ratio]

    @property
    def silent(self) -> list[Method]:
        """Methods that met both and have none."""
        return [method for method in self.methods if not method.has_ratio]


def pairs(results: Results) -> list[Pair]:
    """Every pair that some pool met: steels, then levels, then sharpeners, by name."""
    met: dict[tuple[str, str, str, str], list[Method]] = {}
    for pool in results.pools:
        studies: dict[tuple[str, str, str], dict[str, Comparison]] = {}
        for e in pool.endpoints:
            for study in e.pairwise:
                studies.setdefault((study.factor, study.first, study.second), {})[e.id] = study
        for (factor, first, second), found in _answers(pool).items():
            method = Method(pool, tuple(found), studies.get((factor, first, second), {}))
            met.setdefault((factor, pool.protocol if factor == "level" else "", first, second), []).append(method)
    order = {"steel": 0, "level": 1, "practice": 2}
    return [_pair(*key, met[key]) for key in sorted(met, key=lambda key: (order[key[0]], *key))]


def _answers(pool: Pool) -> dict[tuple[str, str, str], list[Found]]:
    found: dict[tuple[str, str, str], list[Found]] = {}
    for e in endpoints_in_order(pool):
        for c in e.answers:
            found.setdefault((c.factor, c.first, c.second), []).append((e, c))
    return found


def _pair(factor: str, protocol: str, first: str, second: str, methods: list[Method]) -> Pair:
    measured = [method for method in methods if method.pool.origin == "measured"]
    demonstration = [method for method in methods if method.pool.origin == "simulated"] if measured else []
    ordered = sorted(measured or methods, key=_most_told)
    media = list(dict.fromkeys(method.pool.medium for method in ordered))
    shown = sorted(ordered, key=lambda method: media.index(method.pool.medium))
    return Pair(factor, first, second, protocol, tuple(shown), tuple(demonstration))


def _most_told(method: Method) -> tuple[bool, bool, int, int, str, int]:
    """As a pool chooses its lead: what speaks of more than single blades, from most submissions that hold both."""
    _, c = method.lead
    pool = method.pool
    return (c.result is None, c.general is not None, -c.direct_submissions, -pool.counts.submissions, pool.protocol, -pool.major)


def in_short(endpoint: EndpointResult, answer: Answer) -> Reason:
    """What an answer comes to, in a few words, from its verdict's code."""
    if answer.result is None:
        return Reason("compare.no_ratio")
    if answer.general is not None:
        return Reason(f"compare.units_{answer.factor}")
    ahead = {"ahead": named(answer.factor, answer.first if first_is_ahead(answer) else answer.second)}
    if answer.verdict in ("better", "worse"):
        return Reason(f"compare.{endpoint.quantity}_beyond", **ahead)
    if answer.verdict == "different, size undecided":
        return Reason(f"compare.{endpoint.quantity}_differ", **ahead)
    return Reason("compare.alike" if answer.verdict == "no difference worth having" else "compare.undecided")


def first_is_ahead(answer: Answer) -> bool:
    """Which of two that differ is ahead, by the verdict; where that leaves the size open, by the ratio."""
    if answer.verdict in ("better", "worse"):
        return answer.verdict == "better"
    return answer.result is not None and answer.result.ratio > 1


def stands_on(answer: Answer) -> str:
    """How much of an answer is direct and how much goes through others; empty where there is no ratio."""
    if answer.evidence == "both" and answer.direct_percent is not None:
        return Reason("compare.evidence_both", direct=percent(answer.direct_percent), through=percent(100 - answer.direct_percent))
    return Reason(f"compare.evidence_{answer.evidence}") if answer.evidence in ("direct", "linked", "reference") else ""


def halved_and_doubled(answer: Answer) -> list[MethodLine]:
    """The same answer with the scales of all priors halved, and doubled."""
    return [line for line in answer.methods if line.method in (HALVED, DOUBLED)]
