"""The probes there are: questions to all runs about something that may bend the results.

A new probe is a new row of ``PROBES``, its words in the catalogue (``probes.json``) and its name in ``records.probe_names``; its
column may use whatever an ``EndpointRow`` holds.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from math import log

from edgehold.endpoints.rows import EndpointRow
from edgehold.pooling.crossed.runs_design import OWN
from edgehold.words import Reason

from . import columns as of
from .columns import Column, Label

EFFECT, STEELS_AT_EQUAL, SPREAD, AGREEMENT = "effect", "steels at equal value", "spread", "agreement"
TESTED = (EFFECT, SPREAD, AGREEMENT)  # what has a p value
LIFE, ALL_KINDS = ("life",), ("level", "window", "loss", "life")
LEAST_LEVELS = 4  # of a spread: between fewer its interval would say next to nothing


@dataclass(frozen=True)
class Probe:
    """One question.

    Attributes
    ----------
    id : its name in addresses and objections.
    question : in plain English.
    measures : ``"effect"``, what the moderator itself does to the endpoint; ``"steels at equal value"``, the ratio of two steels
        with the moderator held equal: an adjusted estimand, for the moderator is a way in which steel and sharpening work, so
        that the headline never holds it equal; ``"spread"``, how far levels of a factor without order lie apart;
        ``"agreement"``, the ratio of two arms as one endpoint has it over their ratio as another has it.
    estimand : what the figure is a ratio of, in words.
    column : the moderator's value for every row of one endpoint, None where it is not known; such runs are left out. For a spread
        the level's name; for an agreement the run's ln ratio of the two endpoints.
    step : how much of the moderator the ratio speaks of.
    within : runs that share this label are compared with one another only; None where all runs are compared.
    subject, other : what is compared, to stand before and after "was sharper than"; elsewhere the words that open the sentence,
        and nothing.
    does_not_show : what the answer must not be taken for.
    replaces : the column of the headline's fixed part that this moderator is; empty where it is none of them.
    beside : further columns by name that the model holds, so that what they do is not read as the moderator's doing.
    informs : a run informs where the moderator varies among the runs that share this label; None: that of ``within``.
    kinds : of endpoints that it is asked at.
    reading_error : the column is a reading, so that its slope is corrected for reading error (regression calibration).
    remark : something to add that needs no model; empty where there is nothing to say.
    tautology : an effect is there by what the words mean, so that finding it counts as no finding.
    least_runs, least_submissions : runs among which the moderator varies, and their submissions, below which nothing is said.
    """

    id: str
    question: str
    measures: str
    estimand: str
    column: Column
    step: float
    within: Label | None
    subject: str
    other: str
    does_not_show: str
    replaces: str = ""
    beside: tuple[tuple[str, Column], ...] = ()
    informs: Label | None = None
    kinds: tuple[str, ...] = ALL_KINDS
    reading_error: bool = False
    remark: Callable[[Sequence[EndpointRow]], str] | None = None
    tautology: bool = False
    least_runs: int = 12
    least_submissions: int = 3


def probes_for(kind: str, primary: bool) -> tuple[Probe, ...]:
    """What is asked at an endpoint: everything that fits its kind where it is a level or the primary one, as other endpoints made from
    the same readings would only ask again; else what is asked of its kind alone."""
    return tuple(p for p in PROBES if kind in p.kinds and (primary or kind == "level" or p.kinds == (kind,)))


PROBES: tuple[Probe, ...] = (
    Probe(
        id="lot",
        question=Reason("probes.lot_question"),
        measures=SPREAD,
        estimand=Reason("probes.lot_estimand"),
        column=of.lot,
        step=1.0,
        within=None,
        subject=Reason("probes.lot_subject"),
        other="",
        does_not_show=Reason("probes.lot_does_not_show"),
    ),
    Probe(
        id="coil-position",
        question=Reason("probes.coil_position_question"),
        measures=EFFECT,
        estimand=Reason("probes.coil_position_estimand"),
        column=of.coil_position,
        step=10.0,
        within=of.lot_of,
        subject=Reason("probes.coil_position_subject"),
        other=Reason("probes.coil_position_other"),
        does_not_show=Reason("probes.coil_position_does_not_show"),
        beside=(("place in evening", of.place_in_evening),),
    ),
    Probe(
        id="run-order",
        question=Reason("probes.run_order_question"),
        measures=EFFECT,
        estimand=Reason("probes.run_order_estimand"),
        column=of.place_in_evening,
        step=4.0,
        within=of.evening_of_tester,
        subject=Reason("probes.run_order_subject"),
        other=Reason("probes.run_order_other"),
        does_not_show=Reason("probes.run_order_does_not_show"),
    ),
    Probe(
        id="first-and-last",
        question=Reason("probes.first_and_last_question"),
        measures=EFFECT,
        estimand=Reason("probes.first_and_last_estimand"),
        column=of.last_not_first,
        step=1.0,
        within=of.evening_of_tester,
        subject=Reason("probes.first_and_last_subject"),
        other=Reason("probes.first_and_last_other"),
        does_not_show=Reason("probes.first_and_last_does_not_show"),
    ),
    Probe(
        id="later-evening",
        question=Reason("probes.later_evening_question"),
        measures=EFFECT,
        estimand=Reason("probes.later_evening_estimand"),
        column=of.later_evening,
        step=1.0,
        within=of.submission_of,
        subject=Reason("probes.later_evening_subject"),
        other=Reason("probes.later_evening_other"),
        does_not_show=Reason("probes.later_evening_does_not_show"),
    ),
    Probe(
        id="humidity",
        question=Reason("probes.humidity_question"),
        measures=EFFECT,
        estimand=Reason("probes.humidity_estimand"),
        column=of.humidity,
        step=10.0,
        within=of.tester_of,
        subject=Reason("probes.humidity_subject"),
        other=Reason("probes.humidity_other"),
        does_not_show=Reason("probes.humidity_does_not_show"),
    ),
    Probe(
        id="blinding",
        question=Reason("probes.blinding_question"),
        measures=EFFECT,
        estimand=Reason("probes.blinding_estimand"),
        column=of.known_own,
        step=1.0,
        within=None,
        subject=Reason("probes.blinding_subject"),
        other=Reason("probes.blinding_other"),
        does_not_show=Reason("probes.blinding_does_not_show"),
        replaces=OWN,
        beside=(("own sharpening", of.own_sharpening), ("not blinded", of.not_blinded)),
    ),
    Probe(
        id="seal",
        question=Reason("probes.seal_question"),
        measures=EFFECT,
        estimand=Reason("probes.seal_estimand"),
        column=of.doubtful_own,
        step=1.0,
        within=None,
        subject=Reason("probes.seal_subject"),
        other=Reason("probes.seal_other"),
        does_not_show=Reason("probes.seal_does_not_show"),
        replaces=OWN,
        beside=(("own sharpening", of.own_sharpening), ("seal broken or late", of.doubtful_seal)),
    ),
    Probe(
        id="tester-guess",
        question=Reason("probes.tester_guess_question"),
        measures=EFFECT,
        estimand=Reason("probes.tester_guess_estimand"),
        column=of.guessed_right,
        step=1.0,
        within=of.hands_of,
        subject=Reason("probes.tester_guess_subject"),
        other=Reason("probes.tester_guess_other"),
        does_not_show=Reason("probes.tester_guess_does_not_show"),
        remark=of.luck_of_guesses,
    ),
    Probe(
        id="interest",
        question=Reason("probes.interest_question"),
        measures=EFFECT,
        estimand=Reason("probes.interest_estimand"),
        column=of.interest,
        step=1.0,
        within=None,
        subject=Reason("probes.interest_subject"),
        other=Reason("probes.interest_other"),
        does_not_show=Reason("probes.interest_does_not_show"),
    ),
    Probe(
        id="own-sharpening",
        question=Reason("probes.own_sharpening_question"),
        measures=EFFECT,
        estimand=Reason("probes.own_sharpening_estimand"),
        column=of.own_sharpening,
        step=1.0,
        within=None,
        subject=Reason("probes.own_sharpening_subject"),
        other=Reason("probes.own_sharpening_other"),
        does_not_show=Reason("probes.own_sharpening_does_not_show"),
        replaces=OWN,
    ),
    Probe(
        id="relative-life",
        question=Reason("probes.relative_life_question"),
        measures=AGREEMENT,
        estimand=Reason("probes.relative_life_estimand"),
        column=of.relative_to_absolute,
        step=1.0,
        within=None,
        subject=Reason("probes.relative_life_subject"),
        other="",
        does_not_show=Reason("probes.relative_life_does_not_show"),
        kinds=LIFE,
    ),
    Probe(
        id="start-keenness",
        question=Reason("probes.start_keenness_question"),
        measures=EFFECT,
        estimand=Reason("probes.start_keenness_estimand"),
        column=of.start_keenness,
        step=log(1.1),
        within=of.both_hands_of,
        subject=Reason("probes.start_keenness_subject"),
        other=Reason("probes.start_keenness_other"),
        does_not_show=Reason("probes.start_keenness_does_not_show"),
        informs=of.cell_of,
        kinds=("level", "window", "life"),  # a loss holds the start already
        reading_error=True,
        tautology=True,  # sharpness later is sharpness at the start less what was lost
    ),
    Probe(
        id="steels-at-equal-start",
        question=Reason("probes.steels_at_equal_start_question"),
        measures=STEELS_AT_EQUAL,
        estimand=Reason("probes.steels_at_equal_start_estimand"),
        column=of.start_keenness,
        step=1.0,
        within=of.both_hands_of,
        subject=Reason("probes.steels_at_equal_start_subject"),
        other="",
        does_not_show=Reason("probes.steels_at_equal_start_does_not_show"),
        informs=of.cell_of,
        kinds=("level", "window", "life"),
        reading_error=True,
    ),
    Probe(
        id="edge-angle",
        question=Reason("probes.edge_angle_question"),
        measures=EFFECT,
        estimand=Reason("probes.edge_angle_estimand"),
        column=of.edge_angle,
        step=5.0,
        within=of.sharpener_of,
        subject=Reason("probes.edge_angle_subject"),
        other=Reason("probes.edge_angle_other"),
        does_not_show=Reason("probes.edge_angle_does_not_show"),
    ),
    Probe(
        id="steels-at-equal-angle",
        question=Reason("probes.steels_at_equal_angle_question"),
        measures=STEELS_AT_EQUAL,
        estimand=Reason("probes.steels_at_equal_angle_estimand"),
        column=of.edge_angle,
        step=1.0,
        within=of.sharpener_of,
        subject=Reason("probes.steels_at_equal_angle_subject"),
        other="",
        does_not_show=Reason("probes.steels_at_equal_angle_does_not_show"),
    ),
    Probe(
        id="finish",
        question=Reason("probes.finish_question"),
        measures=EFFECT,
        estimand=Reason("probes.finish_estimand"),
        column=of.finish,
        step=log(2.0),
        within=of.sharpener_of,
        subject=Reason("probes.finish_subject"),
        other=Reason("probes.finish_other"),
        does_not_show=Reason("probes.finish_does_not_show"),
    ),
    Probe(
        id="steels-at-equal-finish",
        question=Reason("probes.steels_at_equal_finish_question"),
        measures=STEELS_AT_EQUAL,
        estimand=Reason("probes.steels_at_equal_finish_estimand"),
        column=of.finish,
        step=1.0,
        within=of.sharpener_of,
        subject=Reason("probes.steels_at_equal_finish_subject"),
        other="",
        does_not_show=Reason("probes.steels_at_equal_finish_does_not_show"),
    ),
    Probe(
        id="hardness",
        question=Reason("probes.hardness_question"),
        measures=EFFECT,
        estimand=Reason("probes.hardness_estimand"),
        column=of.hardness,
        step=1.0,
        within=None,
        subject=Reason("probes.hardness_subject"),
        other=Reason("probes.hardness_other"),
        does_not_show=Reason("probes.hardness_does_not_show"),
        informs=of.steel_of,
    ),
    Probe(
        id="steels-at-equal-hardness",
        question=Reason("probes.steels_at_equal_hardness_question"),
        measures=STEELS_AT_EQUAL,
        estimand=Reason("probes.steels_at_equal_hardness_estimand"),
        column=of.hardness,
        step=1.0,
        within=None,
        subject=Reason("probes.steels_at_equal_hardness_subject"),
        other="",
        does_not_show=Reason("probes.steels_at_equal_hardness_does_not_show"),
        informs=of.steel_of,
    ),
)
