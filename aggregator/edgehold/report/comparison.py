"""Which comparison leads a report, its figures, and what they come to."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from edgehold.estimates import Contrast, ContrastBounded, ContrastEstimated, ContrastNotEstimable, SubmissionEstimate
from edgehold.records.model.protocol import EndpointRule, Protocol
from edgehold.results.words.verdicts import kind_of, own_sentence

from .answer import as_ratio, ratio_limits
from .sentences import owner_sentence, verdict_sentence

ASKED = {"sharpener": ("sharpener",), "steel": ("steel", "blade"), "blade": ("blade",), "level": ("level",)}
OTHERWISE = ("sharpener", "steel", "blade")


@dataclass(frozen=True)
class Figure:
    """One endpoint of the leading comparison.

    Attributes
    ----------
    endpoint, title, role, kind, primary : which.
    sentence : the verdict in plain words, then the ratio, a bound or the reason why there is none.
    verdict, verdict_sentence : kind of verdict, and the whole in words.
    ratio, low, high : with the 95 % interval; None where there is none or it is unbounded.
    ruled_out_beyond : a in "a difference larger than ×a either way"; None where none is.
    worthwhile_ratio : what the verdict is held against.
    """

    endpoint: str
    title: str
    role: str
    kind: str
    primary: bool
    sentence: str
    verdict: str
    verdict_sentence: str
    ratio: float | None
    low: float | None
    high: float | None
    ruled_out_beyond: float | None
    worthwhile_ratio: float


@dataclass(frozen=True, eq=False)
class Leading:
    """The comparison that the protocol asks for.

    Attributes
    ----------
    factor, first, second : what is compared.
    owner_sentence : the verdict on the lives, then how much more can be cut before the edge is as dull; ``""`` where no life tells.
    owner_endpoint : the life that it tells of; ``""`` where none tells.
    figures : early, late, life, and what else the protocol computes.
    contrasts : by endpoint.
    others : how many further pairs the submission compares by the same factor.
    """

    factor: str
    first: str
    second: str
    owner_sentence: str
    owner_endpoint: str
    figures: tuple[Figure, ...]
    contrasts: dict[str, Contrast]
    others: int

    @property
    def primary(self) -> Figure:
        """The figure that the verdict is about."""
        return next(figure for figure in self.figures if figure.primary)


def leading(estimates: Sequence[SubmissionEstimate], protocol: Protocol) -> Leading | None:
    """The comparison of the protocol's own factor; of several pairs the first that the primary endpoint has a ratio for.

    None where there is nothing to compare.
    """
    rules = {rule.id: rule for rule in protocol.endpoints}
    primary = next(e for e in estimates if rules[e.endpoint].primary)
    wanted = [*ASKED.get(protocol.question.factor, ()), *OTHERWISE]
    factor = next((f for f in wanted if any(c.factor == f for c in primary.contrasts)), None)
    if factor is None:
        return None
    pairs = [c for c in primary.contrasts if c.factor == factor]
    chosen = min(pairs, key=lambda c: (ContrastEstimated, ContrastBounded, ContrastNotEstimable).index(type(c)))
    contrasts = {
        e.endpoint: c for e in estimates for c in e.contrasts if (c.factor, c.first, c.second) == (factor, chosen.first, chosen.second)
    }
    told = sorted(contrasts, key=lambda name: _place(rules[name]))
    lives = [(contrasts[name], rules[name]) for name in sorted(told, key=lambda n: not rules[n].primary) if rules[name].kind == "life"]
    told_lives = [(sentence, rule.id) for contrast, rule in lives if (sentence := owner_sentence(contrast, rule, protocol))]
    owner, owner_endpoint = next(iter(told_lives), ("", ""))
    return Leading(
        factor=factor,
        first=chosen.first,
        second=chosen.second,
        owner_sentence=owner,
        owner_endpoint=owner_endpoint,
        figures=tuple(_figure(contrasts[name], rules[name], protocol) for name in told),
        contrasts=contrasts,
        others=len(pairs) - 1,
    )


def _place(rule: EndpointRule) -> tuple[int, int]:
    """Level early, level late, life, and the rest."""
    if rule.kind == "level":
        return {"early": 0, "late": 1, "overall": 3}[rule.role], 0
    return (2 if rule.kind == "life" else 4), 0


def _figure(contrast: Contrast, rule: EndpointRule, protocol: Protocol) -> Figure:
    low, high = ratio_limits(contrast)
    excludes = math.inf if isinstance(contrast, ContrastNotEstimable) else contrast.verdict.excludes
    return Figure(
        endpoint=rule.id,
        title=rule.title,
        role=rule.role,
        kind=rule.kind,
        primary=rule.primary,
        sentence=own_sentence(contrast, rule, protocol.work.unit, excluding=False),
        verdict=kind_of(contrast),
        verdict_sentence=verdict_sentence(contrast, rule),
        ratio=as_ratio(contrast.estimate) if isinstance(contrast, ContrastEstimated) else None,
        low=low,
        high=high,
        ruled_out_beyond=excludes if math.isfinite(excludes) else None,
        worthwhile_ratio=rule.worthwhile_ratio,
    )
