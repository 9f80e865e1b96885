"""What the model of all runs says, in plain English."""

from __future__ import annotations

from edgehold.pooling.crossed.practice_by_steel import PracticeBySteel
from edgehold.pooling.crossed.runs_design import OWN, PRACTICE
from edgehold.pooling.crossed.runs_model import GIVEN, NO_NUMBER, UPPER, RunsModel
from edgehold.pooling.crossed.steel_by_level import SteelByLevel
from edgehold.pooling.crossed.two_roles import ALPHA, TwoRoles
from edgehold.pooling.crossed.within_submissions import WithinSubmissions
from edgehold.results.model.analyses import Spread
from edgehold.results.model.numbers import needed
from edgehold.results.model.ratio import RatioInterval

from .sentences import compared, ratio_text

TYPICALLY = {
    "sharpener": "two sharpeners typically differ",
    "tester": "two testers typically differ",
    "blade": "two blades of one steel typically differ",
    "batch": "two batches of one steel typically differ",
    "submission": "two submissions, all else alike, typically differ",
    "steel × sharpener": "from one sharpener to the next a steel's standing typically shifts",
    "steel × tester": "from one tester to the next a steel's standing typically shifts",
    "run-to-run": "two runs by the same people with the same blade typically differ",
}
HOW_MUCH = {
    "sharpener": "sharpeners differ",
    "tester": "testers differ",
    "blade": "blades of one steel differ",
    "batch": "batches of one steel differ",
    "submission": "submissions differ, all else alike,",
    "steel × sharpener": "a steel's standing depends on who sharpens",
    "steel × tester": "a steel's standing depends on who tests",
    "run-to-run": "runs by the same people with the same blade differ",
}
SHORT = {"sharpener": "two sharpeners", "tester": "two testers", "blade": "two blades of one steel"}
FIXED_WORDS = {
    "version": "minor version of the protocol",
    "steel": "steel",
    PRACTICE: "practised or novice sharpener",
    OWN: "whether the tester had sharpened the edge",
}
OWN_NOTE = "It does not show why: people who test their own edges may differ from others in more than that."


def spread_sentence(spread: Spread) -> str:
    """How much two of them differ, or why that is not known."""
    how_much, typically = HOW_MUCH[spread.what], TYPICALLY[spread.what]
    upper = ratio_text(spread.typical_high)
    if spread.state == NO_NUMBER:
        return f"How much {how_much} is not known: {spread.reason}."
    if spread.state == UPPER:
        limit = f": {typically} by no more than {upper}" if spread.typical_high else ""
        return f"How much {how_much} is known only from above{limit}.{_holds(spread)}"
    if spread.ln_sd == 0:
        limit = f"; {typically} by no more than {upper}" if spread.typical_high else ""
        return f"No sign that {how_much.rstrip(',')}{limit}.{_holds(spread)}"
    known = spread.typical_low is not None and spread.typical_high is not None
    limits = f" (95 % interval {ratio_text(spread.typical_low)} to {upper})" if known else ""
    return (
        f"{typically[0].upper()}{typically[1:]} by {ratio_text(spread.typical_ratio)}{limits}; "
        f"95 % of pairs by less than {ratio_text(spread.most_ratio)}.{_holds(spread)}"
    )


def _holds(spread: Spread) -> str:
    return f" The runs cannot say which of these it is: {spread.holds}." if spread.holds else ""


def matters_sentence(model: RunsModel, spreads: tuple[Spread, ...], steels_typical: float | None) -> str:
    """What matters more: steel, sharpener, tester, blade."""
    if model.state != "fitted":
        return f"All runs together were not fitted: {model.reason}."
    found = {spread.what: spread for spread in spreads}
    told = [("two of the steels met", steels_typical)] if steels_typical is not None and steels_typical > 1 else []
    told += [(SHORT[what], needed(found[what].typical_ratio)) for what in SHORT if found[what].state == GIVEN]
    told.sort(key=lambda one: -one[1])
    parts = ["The steels met do not differ by more than chance would make them differ."] if steels_typical == 1 else []
    if told:
        (name, size), *rest = told
        listed = [f"{name[0].upper()}{name[1:]} typically differ by {ratio_text(size)}", *(f"{n} by {ratio_text(x)}" for n, x in rest)]
        parts.append(f"{', '.join(listed)}.")
    above = [what for what in SHORT if found[what].state == UPPER and found[what].typical_high]
    if above:
        bounds = ", ".join(f"{SHORT[what]} by no more than {ratio_text(found[what].typical_high)}" for what in above)
        parts.append(f"Known only from above: {bounds}.")
    unknown = {what: found[what].reason for what in ("sharpener", "tester") if found[what].state == NO_NUMBER}
    for reason in dict.fromkeys(unknown.values()):
        who = " and ".join(f"how much {what}s" for what, why in unknown.items() if why == reason)
        parts.append(f"{who[0].upper()}{who[1:]} differ is not known: {reason}.")
    return " ".join(parts)


def within_note(one: WithinSubmissions | None) -> str:
    """Whether comparisons within submissions agree with the whole; empty where not looked at."""
    if one is None:
        return ""
    if one.result is None:
        return f"Not compared within submissions: {one.reason}."
    if one.all_there_is:
        return "All that is known of this pair comes from within submissions."
    if one.disagrees:
        return "Within submissions the ratio differs from that of all runs by more than chance would make it; why, these runs do not say."
    return "Comparisons within submissions do not differ from all runs by more than chance would make them."


def practice_sentence(
    one: PracticeBySteel, opening: str, kind: str, figures: tuple[RatioInterval, RatioInterval, RatioInterval] | None
) -> str:
    """Whether a steel's advantage depends on who sharpens, or why that is not known."""
    if figures is None:
        return f"Whether {one.first} against {one.second} depends on who sharpens is not known: {one.reason}."
    practised, novice, both = figures
    differ = (both.low or 0.0) > 1 or (both.high is not None and both.high < 1)
    ending = "so it depends on who sharpens" if differ else "whether that is more than chance these runs cannot say"
    return (
        f"{opening}, {one.first} {compared(kind, practised.ratio)} {one.second} when practised people sharpened both, and "
        f"{compared(kind, novice.ratio)} {one.second} when novices did; {ending}."
    )


def level_sentence(one: SteelByLevel, opening: str, step: float, result: RatioInterval | None) -> str:
    """Whether a steel's advantage changes with how good the sharpener is, or why that is not known."""
    if result is None:
        return f"Whether {one.first} against {one.second} changes with how good the sharpener is, is not known: {one.reason}."
    better = f"with a sharpener whose edges of other steels do better by {ratio_text(step)}"
    told = f"the ratio of {one.first} to {one.second} is multiplied by {ratio_text(result.ratio)}"
    limits = f"{100 * result.level:g} % interval {ratio_text(result.low)} to {ratio_text(result.high)}"
    differs = (result.low or 0.0) > 1 or (result.high is not None and result.high < 1)
    ending = "" if differs else "; whether that is more than chance these runs cannot say"
    return f"{opening}, {better} {told} ({limits}){ending}."


def roles_sentence(roles: TwoRoles) -> str:
    """Whether who sharpens well also cuts well; no person is named."""
    if roles.covariance is None or roles.p is None:
        return (
            f"Whether people whose edges do well also get more out of an edge when they test is not known: {roles.reason}. "
            "Sharpeners' and testers' spreads are given as if the two had nothing to do with each other."
        )
    if roles.p < ALPHA:
        tend = "also tend to get more" if roles.covariance > 0 else "tend to get less"
        return f"People whose edges do well {tend} out of an edge when they test (p = {roles.p:.2g}, {roles.people} people in both roles)."
    return (
        f"There is no sign that people whose edges do well get more or less out of an edge when they test (p = {roles.p:.2g}, "
        f"{roles.people} people in both roles)."
    )
