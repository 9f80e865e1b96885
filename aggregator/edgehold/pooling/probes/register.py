"""The probes there are: questions to all runs about something that may bend the results.

A new probe is a new row of ``PROBES``, its column in ``columns``, which may use whatever an ``EndpointRow`` holds, and its words in
the catalogue (``probes.json``), from which objections know its name.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from math import log
from typing import Any

from edgehold.endpoints.rows import EndpointRow
from edgehold.pooling.crossed.runs_design import OWN
from edgehold.words import Reason

from . import columns as of
from .columns import Column, Label

EFFECT, STEELS_AT_EQUAL, SPREAD, AGREEMENT = "effect", "steels at equal value", "spread", "agreement"
TESTED = (EFFECT, SPREAD, AGREEMENT)  # what has a p value
NO_LOSS = ("level", "window", "life")  # a loss holds the start already
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


def _asked(id: str, measures: str, column: Column, *, step: float = 1.0, within: Label | None = None, **more: Any) -> Probe:
    """A probe with its words: those of the catalogue that begin with its name."""
    name = id.replace("-", "_")
    return Probe(
        id=id,
        question=Reason(f"probes.{name}_question"),
        measures=measures,
        estimand=Reason(f"probes.{name}_estimand"),
        column=column,
        step=step,
        within=within,
        subject=Reason(f"probes.{name}_subject"),
        other=Reason(f"probes.{name}_other") if measures == EFFECT else "",
        does_not_show=Reason(f"probes.{name}_does_not_show"),
        **more,
    )


PROBES: tuple[Probe, ...] = (
    _asked("lot", SPREAD, of.lot),
    _asked("coil-position", EFFECT, of.coil_position, step=10.0, within=of.lot_of, beside=(("place in evening", of.place_in_evening),)),
    _asked("run-order", EFFECT, of.place_in_evening, step=4.0, within=of.evening_of_tester),
    _asked("first-and-last", EFFECT, of.last_not_first, within=of.evening_of_tester),
    _asked("second-in-turn", EFFECT, of.second_in_turn, within=of.pair_of),
    _asked("later-evening", EFFECT, of.later_evening, within=of.submission_of),
    _asked("humidity", EFFECT, of.humidity, step=10.0, within=of.tester_of),
    _asked("blinding", EFFECT, of.known_own, replaces=OWN, beside=(("own sharpening", of.own_sharpening), ("not blinded", of.not_blinded))),
    _asked(
        "seal",
        EFFECT,
        of.doubtful_own,
        replaces=OWN,
        beside=(("own sharpening", of.own_sharpening), ("seal broken or late", of.doubtful_seal)),
    ),
    _asked("tester-guess", EFFECT, of.guessed_right, within=of.hands_of, remark=of.luck_of_guesses),
    _asked("interest", EFFECT, of.interest),
    _asked("own-sharpening", EFFECT, of.own_sharpening, replaces=OWN),
    _asked("relative-life", AGREEMENT, of.relative_to_absolute, kinds=LIFE),
    _asked(
        "start-keenness",
        EFFECT,
        of.start_keenness,
        step=log(1.1),
        within=of.both_hands_of,
        informs=of.cell_of,
        kinds=NO_LOSS,
        reading_error=True,
        tautology=True,  # sharpness later is sharpness at the start less what was lost
    ),
    _asked(
        "steels-at-equal-start",
        STEELS_AT_EQUAL,
        of.start_keenness,
        within=of.both_hands_of,
        informs=of.cell_of,
        kinds=NO_LOSS,
        reading_error=True,
    ),
    _asked("edge-angle", EFFECT, of.edge_angle, step=5.0, within=of.sharpener_of),
    _asked("steels-at-equal-angle", STEELS_AT_EQUAL, of.edge_angle, within=of.sharpener_of),
    _asked("finish", EFFECT, of.finish, step=log(2.0), within=of.sharpener_of),
    _asked("steels-at-equal-finish", STEELS_AT_EQUAL, of.finish, within=of.sharpener_of),
    _asked("hardness", EFFECT, of.hardness, informs=of.steel_of),
    _asked("steels-at-equal-hardness", STEELS_AT_EQUAL, of.hardness, informs=of.steel_of),
)
