"""What the model of all runs says, in plain English."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from edgehold.pooling.crossed.practice_by_steel import PracticeBySteel
from edgehold.pooling.crossed.steel_by_level import SteelByLevel
from edgehold.pooling.crossed.two_roles import ALPHA, TwoRoles
from edgehold.pooling.crossed.within_submissions import WithinSubmissions
from edgehold.results.model.analyses import Spread
from edgehold.results.model.numbers import needed
from edgehold.results.model.ratio import RatioInterval
from edgehold.words import Reason, capital, together

from .sentences import compared, ratio_text

GIVEN, UPPER, NO_NUMBER = "given", "upper limit only", "no number"
SHORT = ("sharpener", "tester", "blade")  # what is told beside the steels


def fixed_words(names: Iterable[str]) -> tuple[str, ...]:
    """What is held fixed, in words."""
    return tuple(_word("fixed", name) for name in names)


def _word(kind: str, what: str) -> Reason:
    return Reason(f"all_runs.{kind}_{what.replace(' × ', '_by_').replace(' ', '_')}")


def spread_sentence(spread: Spread) -> str:
    """How much two of them differ, or why that is not known."""
    how_much, typically = _word("how_much", spread.what), _word("typically", spread.what)
    if spread.state == NO_NUMBER:
        return Reason("all_runs.unknown", how_much=how_much, reason=spread.reason)
    upper = ratio_text(spread.typical_high)
    limit = "_limit" if spread.typical_high else ""
    if spread.state == UPPER:
        told = Reason(f"all_runs.above{limit}", how_much=how_much, typically=typically, upper=upper)
    elif spread.ln_sd == 0:
        told = Reason(f"all_runs.no_sign{limit}", how_much=how_much.rstrip(","), typically=typically, upper=upper)
    else:
        size = {"typical": ratio_text(spread.typical_ratio), "most": ratio_text(spread.most_ratio)}
        known = "_limits" if spread.typical_low is not None and spread.typical_high is not None else ""
        low = ratio_text(spread.typical_low)
        told = Reason(f"all_runs.given{known}", typically=capital(typically), low=low, high=upper, **size)
    return together(told, Reason("all_runs.holds", holds=spread.holds) if spread.holds else "")


def matters_sentence(spreads: tuple[Spread, ...], steels_typical: float | None) -> str:
    """What matters more: steel, sharpener, tester, blade."""
    found = {spread.what: spread for spread in spreads}
    alike = Reason("all_runs.steels_alike") if steels_typical == 1 else ""
    above = [what for what in SHORT if found[what].state == UPPER and found[what].typical_high]
    bounds = ", ".join(Reason("all_runs.no_more", who=_word("two", what), ratio=ratio_text(found[what].typical_high)) for what in above)
    only_above = Reason("all_runs.only_above", bounds=bounds) if above else ""
    return together(alike, _sizes(found, steels_typical), only_above, *_unknown(found))


def _sizes(found: Mapping[str, Spread], steels_typical: float | None) -> str:
    """By how much two of a kind differ, the largest first; empty where none is known."""
    sizes = {"steel": steels_typical} if steels_typical is not None and steels_typical > 1 else {}
    sizes |= {what: needed(found[what].typical_ratio) for what in SHORT if found[what].state == GIVEN}
    told = [
        Reason(f"all_runs.{'by' if place else 'differ_by'}", who=_word("two", what), ratio=ratio_text(size))
        for place, (what, size) in enumerate(sorted(sizes.items(), key=lambda one: -one[1]))
    ]
    return f"{capital(', '.join(told))}." if told else ""


def _unknown(found: Mapping[str, Spread]) -> list[Reason]:
    """Whose spread is not known, and why; told of both at once where the reason is one."""
    unknown = {what: found[what].reason for what in ("sharpener", "tester") if found[what].state == NO_NUMBER}
    if len(unknown) == 2 and len(set(unknown.values())) == 1:
        return [Reason("all_runs.both_unknown", reason=unknown["tester"])]
    return [Reason("all_runs.unknown", how_much=_word("how_much", what), reason=reason) for what, reason in unknown.items()]


def within_note(one: WithinSubmissions | None) -> str:
    """Whether comparisons within submissions agree with the whole; empty where not looked at."""
    if one is None:
        return ""
    if one.result is None:
        return Reason("all_runs.within_not_compared", reason=one.reason)
    return Reason(f"all_runs.within_{'all' if one.all_there_is else 'disagree' if one.disagrees else 'agree'}")


def practice_sentence(
    one: PracticeBySteel, opening: str, kind: str, figures: tuple[RatioInterval, RatioInterval, RatioInterval] | None
) -> Reason:
    """Whether a steel's advantage depends on who sharpens, or why that is not known."""
    if figures is None:
        return Reason("all_runs.practice_unknown", first=one.first, second=one.second, reason=one.reason)
    practised, novice, both = figures
    return Reason(
        f"all_runs.practice_{'matters' if _off_one(both) else 'open'}",
        opening=opening,
        first=one.first,
        second=one.second,
        practised=compared(kind, practised.ratio),
        novice=compared(kind, novice.ratio),
    )


def _off_one(result: RatioInterval) -> bool:
    return (result.low or 0.0) > 1 or (result.high is not None and result.high < 1)


def level_sentence(one: SteelByLevel, opening: str, step: float, result: RatioInterval | None) -> Reason:
    """Whether a steel's advantage changes with how good the sharpener is, or why that is not known."""
    if result is None:
        return Reason("all_runs.level_unknown", first=one.first, second=one.second, reason=one.reason)
    return Reason(
        f"all_runs.level_{'matters' if _off_one(result) else 'open'}",
        opening=opening,
        first=one.first,
        second=one.second,
        step=ratio_text(step),
        ratio=ratio_text(result.ratio),
        level=f"{100 * result.level:g}",
        low=ratio_text(result.low),
        high=ratio_text(result.high),
    )


def roles_sentence(roles: TwoRoles) -> Reason:
    """Whether who sharpens well also cuts well; no person is named."""
    if roles.covariance is None or roles.p is None:
        return Reason("all_runs.roles_unknown", reason=roles.reason)
    how = "none" if roles.p >= ALPHA else "more" if roles.covariance > 0 else "less"
    return Reason(f"all_runs.roles_{how}", p=roles.p, people=roles.people)
