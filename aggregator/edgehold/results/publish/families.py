"""Families of steels, published."""

from __future__ import annotations

from typing import Literal

from edgehold.pooling.families import ESTIMATED, NOT_ESTIMABLE, NOT_FITTED, Families, FamiliesEstimated
from edgehold.pooling.families import FamilyAnswer as Found
from edgehold.pooling.spread_priors import IN_FAMILY
from edgehold.records.model.protocol import EndpointRule
from edgehold.results.model.answers import PriorResult
from edgehold.results.model.families import FamiliesResult, FamilyAnswer, FamilyMembers
from edgehold.results.model.numbers import needed, published
from edgehold.results.words.families import family_sentence, no_ratio_of_families
from edgehold.results.words.sentences import when

from .answers import how_much_result
from .evidence import judged, ratio_of
from .fields import one_of
from .reasons import reasoned

STATES: tuple[Literal["estimated", "not estimable", "not fitted"], ...] = ("estimated", "not estimable", "not fitted")
ABOUT: tuple[Literal["families", "steels"], ...] = ("families", "steels")
assert {ESTIMATED, NOT_ESTIMABLE, NOT_FITTED} == set(STATES)


def families_result(found: Families | None, rule: EndpointRule, unit: str) -> FamiliesResult | None:
    """What runs say of families; None where steels have no posterior.

    Parameters
    ----------
    found : what pooling found.
    rule, unit : the endpoint and the unit of work, for the sentences.
    """
    if found is None:
        return None
    prior = found.prior
    return FamiliesResult(
        state=one_of(found.state, STATES),
        **reasoned(found.reason),
        members=tuple(FamilyMembers(family=family, steels=steels) for family, steels in found.members.items()),
        apart=found.apart,
        prior=PriorResult(what=IN_FAMILY, df=needed(published(prior.df)), scale=needed(published(prior.scale)), source=prior.source)
        if prior
        else None,
        spread=how_much_result(found.spread) if found.spread else None,
        answers=tuple(_answer(one, rule, unit) for one in found.pairs),
    )


def _answer(one: Found, rule: EndpointRule, unit: str) -> FamilyAnswer:
    opening, about = when(rule, unit), one_of(one.about, ABOUT)
    if not isinstance(one, FamiliesEstimated):
        return FamilyAnswer(
            first=one.first,
            second=one.second,
            state="not estimable",
            about=about,
            sentence=no_ratio_of_families(opening, one),
            **judged(None),
            **reasoned(one.reason),
            result=None,
            another=None,
            steels_first=one.steels_first,
            steels_second=one.steels_second,
        )
    result = ratio_of(one.posterior)
    return FamilyAnswer(
        first=one.first,
        second=one.second,
        state="estimated",
        about=about,
        sentence=family_sentence(opening, one, rule.kind, result),
        **judged(one.verdict),
        **reasoned(""),
        result=result,
        another=ratio_of(one.another),
        steels_first=one.steels_first,
        steels_second=one.steels_second,
    )
