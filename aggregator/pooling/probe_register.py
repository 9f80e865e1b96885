"""The probes there are: questions to all runs about something that may bend the results.

A new probe is a new row of ``PROBES``; its column may use whatever an ``EndpointRow`` holds.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from aggregator.endpoints.rows import EndpointRow

from .runs_design import OWN

Column = Callable[[Sequence[EndpointRow]], list[float | None]]
Label = Callable[[EndpointRow], object]
EFFECT, STEELS_AT_EQUAL = "effect", "steels at equal value"


@dataclass(frozen=True)
class Probe:
    """One question.

    Attributes
    ----------
    id : its name in addresses and objections.
    question : in plain English.
    measures : ``"effect"``, what the moderator itself does to the endpoint; or ``"steels at equal value"``, the ratio of two steels
        with the moderator held equal. The latter is an adjusted estimand: the moderator is a way in which steel and
        sharpening work, so that the headline never holds it equal.
    estimand : what the figure is a ratio of, in words.
    column : the moderator's value for every row of one endpoint, None where it is not known; such runs are left out.
    step : how much of the moderator the ratio speaks of.
    within : runs that share this label are compared with one another only; None where all runs are compared.
    least_runs, least_submissions : runs among which the moderator varies, and their submissions, below which nothing is said.
    subject, other : what is compared, to stand before and after "was sharper than"; for steels at equal value the words that
        open the sentence, and nothing.
    does_not_show : what the answer must not be taken for.
    replaces : the column of the headline's fixed part that this moderator is; empty where it is none of them.
    """

    id: str
    question: str
    measures: str
    estimand: str
    column: Column
    step: float
    within: Label | None
    least_runs: int
    least_submissions: int
    subject: str
    other: str
    does_not_show: str
    replaces: str = ""


def place_in_evening(rows: Sequence[EndpointRow]) -> list[float | None]:
    """How many runs the same tester had made before in the same evening."""
    evenings: dict[object, list[int]] = {}
    for row in rows:
        evenings.setdefault(evening_of_tester(row), []).append(row.order)
    places = {key: sorted(orders) for key, orders in evenings.items()}
    return [None if row.evening is None else float(places[evening_of_tester(row)].index(row.order)) for row in rows]


def later_evening(rows: Sequence[EndpointRow]) -> list[float | None]:
    """1 after the first evening of a submission, 0 on it."""
    first: dict[str, int] = {}
    for row in rows:
        if row.evening is not None:
            first[row.submission] = min(row.evening, first.get(row.submission, row.evening))
    return [None if row.evening is None else float(row.evening > first[row.submission]) for row in rows]


def own_sharpening(rows: Sequence[EndpointRow]) -> list[float | None]:
    """1 where the tester had sharpened the edge."""
    return [float(row.own_sharpening) for row in rows]


def edge_angle(rows: Sequence[EndpointRow]) -> list[float | None]:
    """Degrees per side."""
    return [row.angle_deg for row in rows]


def evening_of_tester(row: EndpointRow) -> object:
    """Label of one tester's runs of one evening."""
    return row.submission, row.evening, row.tester


def sharpener_of(row: EndpointRow) -> object:
    """Label of one sharpener's edges."""
    return row.sharpener


def submission_of(row: EndpointRow) -> object:
    """Label of a submission's runs."""
    return row.submission


PROBES: tuple[Probe, ...] = (
    Probe(
        id="run-order",
        question="Does it matter how late in an evening an edge is cut?",
        measures=EFFECT,
        estimand="An edge cut four runs later by the same tester in the same evening, against one cut earlier; steel and people the same.",
        column=place_in_evening,
        step=4.0,
        within=evening_of_tester,
        least_runs=12,
        least_submissions=3,
        subject="An edge cut four runs later in an evening",
        other="one cut earlier",
        does_not_show="Whether hands tire, the air changes or the rig wears: whatever runs with the evening looks the same here.",
    ),
    Probe(
        id="later-evening",
        question="Do later evenings of one submission read differently from its first?",
        measures=EFFECT,
        estimand="An edge cut on a later evening, against one cut on the first evening of the same submission.",
        column=later_evening,
        step=1.0,
        within=submission_of,
        least_runs=12,
        least_submissions=3,
        subject="An edge cut on a later evening",
        other="one cut on the first evening",
        does_not_show="Whether testers learn, sharpeners improve or blades wear thinner between evenings.",
    ),
    Probe(
        id="own-sharpening",
        question="Does it matter whether testers sharpened the edge themselves?",
        measures=EFFECT,
        estimand="An edge that its tester had sharpened, against one from somebody else; steel, sharpener and tester being as likely.",
        column=own_sharpening,
        step=1.0,
        within=None,
        least_runs=12,
        least_submissions=3,
        subject="An edge that its tester had sharpened",
        other="one from somebody else",
        does_not_show="Whether that is expectation, or an edge that suits the hand that made it: few testers were blinded.",
        replaces=OWN,
    ),
    Probe(
        id="edge-angle",
        question="Does the edge angle matter?",
        measures=EFFECT,
        estimand="An edge five degrees a side wider, against a narrower one by the same sharpener; steel the same, tester being as likely.",
        column=edge_angle,
        step=5.0,
        within=sharpener_of,
        least_runs=12,
        least_submissions=3,
        subject="An edge five degrees a side wider",
        other="a narrower one by the same sharpener",
        does_not_show="What the angle alone does: angles are stated, seldom measured, and who goes wider may do more than that.",
    ),
    Probe(
        id="steels-at-equal-angle",
        question="What is left between two steels at the same edge angle?",
        measures=STEELS_AT_EQUAL,
        estimand="The two steels that most submissions hold, sharpened by the same person at the same stated angle: another question than "
        "the headline's, which lets every steel be sharpened as people sharpen it.",
        column=edge_angle,
        step=1.0,
        within=sharpener_of,
        least_runs=12,
        least_submissions=3,
        subject="At the same edge angle by the same sharpener",
        other="",
        does_not_show="Which steel to choose: the angle is one of the ways in which a steel works, and holding it equal takes that away.",
    ),
)
