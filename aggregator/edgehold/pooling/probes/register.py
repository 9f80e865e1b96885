"""The probes there are: questions to all runs about something that may bend the results.

A new probe is a new row of ``PROBES`` and its name in ``records.probe_names``; its column may use whatever an ``EndpointRow`` holds.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from math import log

from edgehold.endpoints.rows import EndpointRow
from edgehold.pooling.crossed.runs_design import OWN

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
        question="Does the lot of the medium matter?",
        measures=SPREAD,
        estimand="Two runs on different lots of the medium, all else the same: the ratio by which half of such pairs differ more and "
        "half less.",
        column=of.lot,
        step=1.0,
        within=None,
        subject="Two lots of the medium",
        other="",
        does_not_show="What is different about a lot, or which way: it has no direction. Who bought which lot, and when, goes with it.",
    ),
    Probe(
        id="coil-position",
        question="Does it matter how deep in the coil the medium lay?",
        measures=EFFECT,
        estimand="An edge that cut ten metres deeper into a coil, against one that cut the same coil further out; steel, people and place "
        "in the evening the same.",
        column=of.coil_position,
        step=10.0,
        within=of.lot_of,
        subject="An edge that cut ten metres deeper in the coil",
        other="one that cut further out",
        does_not_show="Whether the inner turns are harder, drier or tighter, or what happens at the very end of a coil.",
        beside=(("place in evening", of.place_in_evening),),
    ),
    Probe(
        id="run-order",
        question="Does it matter how late in an evening an edge is cut?",
        measures=EFFECT,
        estimand="An edge cut four runs later by the same tester in the same evening, against one cut earlier; steel and people the same.",
        column=of.place_in_evening,
        step=4.0,
        within=of.evening_of_tester,
        subject="An edge cut four runs later in an evening",
        other="one cut earlier",
        does_not_show="Whether hands tire, the air changes or the rig wears: whatever runs with the evening looks the same here.",
    ),
    Probe(
        id="first-and-last",
        question="Is the last run of an evening different from the first?",
        measures=EFFECT,
        estimand="The last edge that a tester cut in an evening, against the first; steel and people the same.",
        column=of.last_not_first,
        step=1.0,
        within=of.evening_of_tester,
        subject="The last edge of an evening",
        other="the first",
        does_not_show="What happens between, or why: whatever runs with the evening looks the same here. Evenings differ in length.",
    ),
    Probe(
        id="later-evening",
        question="Do later evenings of one submission read differently from its first?",
        measures=EFFECT,
        estimand="An edge cut on a later evening, against one cut on the first evening of the same submission.",
        column=of.later_evening,
        step=1.0,
        within=of.submission_of,
        subject="An edge cut on a later evening",
        other="one cut on the first evening",
        does_not_show="Whether testers learn, sharpeners improve or blades wear thinner between evenings.",
    ),
    Probe(
        id="humidity",
        question="Does damp air matter?",
        measures=EFFECT,
        estimand="An edge cut in air ten points of relative humidity damper, against one cut by the same tester in drier air.",
        column=of.humidity,
        step=10.0,
        within=of.tester_of,
        subject="An edge cut in air ten points damper",
        other="one cut by the same tester in drier air",
        does_not_show="What wet medium does: the air is noted, not the medium, and season and place go with the air.",
    ),
    Probe(
        id="blinding",
        question="Do testers favour their own edges when they know them?",
        measures=EFFECT,
        estimand="What being the tester's own work adds to an edge where that was known, over what it adds where edges were coded: the "
        "part of own sharpening that expectation may explain.",
        column=of.known_own,
        step=1.0,
        within=None,
        subject="A tester's own edge, known to be so,",
        other="knowing aside it would have been",
        does_not_show="That a blind test was blind: testers may recognise a blade, or feel their own edge.",
        replaces=OWN,
        beside=(("own sharpening", of.own_sharpening), ("not blinded", of.not_blinded)),
    ),
    Probe(
        id="seal",
        question="Do testers favour their own edges more where a seal was broken or late?",
        measures=EFFECT,
        estimand="What being the tester's own work adds to an edge where the plan's seal was broken or late, over what it adds where the "
        "seal held.",
        column=of.doubtful_own,
        step=1.0,
        within=None,
        subject="A tester's own edge under a broken or late seal",
        other="the seal aside it would have been",
        does_not_show="That anybody looked: seals break by oversight too. A seal that held keeps nobody from recognising a blade.",
        replaces=OWN,
        beside=(("own sharpening", of.own_sharpening), ("seal broken or late", of.doubtful_seal)),
    ),
    Probe(
        id="tester-guess",
        question="Do blind testers who guess right read differently from those who guess wrong?",
        measures=EFFECT,
        estimand="A coded edge of which the tester named the right sharpener or blade, against one of which the same tester named a wrong "
        "one; steel and people the same.",
        column=of.guessed_right,
        step=1.0,
        within=of.hands_of,
        subject="A coded edge that its tester guessed right",
        other="one guessed wrong",
        does_not_show="Which came first: a keen edge may give its sharpener away, and a guess may bend the reading.",
        remark=of.luck_of_guesses,
    ),
    Probe(
        id="interest",
        question="Do blades read better in the hands of those who own, made or sell them?",
        measures=EFFECT,
        estimand="An edge of a blade that its tester owns, made or sells, against one in which the tester has no interest; steel and "
        "people being as likely.",
        column=of.interest,
        step=1.0,
        within=None,
        subject="An edge of a blade in which its tester has an interest",
        other="one in which there is none",
        does_not_show="Whether that is partiality, or a blade that suits the hand that chose it; interests that nobody stated.",
    ),
    Probe(
        id="own-sharpening",
        question="Does it matter whether testers sharpened the edge themselves?",
        measures=EFFECT,
        estimand="An edge that its tester had sharpened, against one from somebody else; steel, sharpener and tester being as likely.",
        column=of.own_sharpening,
        step=1.0,
        within=None,
        subject="An edge that its tester had sharpened",
        other="one from somebody else",
        does_not_show="Whether that is expectation, or an edge that suits the hand that made it: few testers were blinded.",
        replaces=OWN,
    ),
    Probe(
        id="relative-life",
        question="Would a life relative to each edge's own start give the same answer?",
        measures=AGREEMENT,
        estimand="The ratio of the two steels that most submissions hold (where there are none: of practised to novice sharpeners) in life "
        "relative to each edge's own start, over their ratio in life to a fixed sharpness, in runs that reached both.",
        column=of.relative_to_absolute,
        step=1.0,
        within=None,
        subject="Life relative to the start",
        other="",
        does_not_show="Which of the two lives to trust. Edges that outlasted the last checkpoint or were past it early are not in it.",
        kinds=LIFE,
    ),
    Probe(
        id="start-keenness",
        question="Does an edge that starts sharper stay sharper?",
        measures=EFFECT,
        estimand="An edge that starts 10 % sharper, against one of the same steel from the same sharpener and tester in the same "
        "submission; reading error of the start taken out.",
        column=of.start_keenness,
        step=log(1.1),
        within=of.both_hands_of,
        subject="An edge that starts 10 % sharper",
        other="one that starts less sharp",
        does_not_show="That a keener start would make it so: what makes one edge keener at the start may also make it last.",
        informs=of.cell_of,
        kinds=("level", "window", "life"),  # a loss holds the start already
        reading_error=True,
        tautology=True,  # sharpness later is sharpness at the start less what was lost
    ),
    Probe(
        id="steels-at-equal-start",
        question="What is left between two steels that start equally sharp?",
        measures=STEELS_AT_EQUAL,
        estimand="The two steels that most submissions hold, sharpened by the same person to the same sharpness before the first cut; "
        "reading error of the start taken out.",
        column=of.start_keenness,
        step=1.0,
        within=of.both_hands_of,
        subject="Starting equally sharp by the same sharpener",
        other="",
        does_not_show="Which steel to choose: how keen an edge a steel takes is one of the ways in which it works.",
        informs=of.cell_of,
        kinds=("level", "window", "life"),
        reading_error=True,
    ),
    Probe(
        id="edge-angle",
        question="Does the edge angle matter?",
        measures=EFFECT,
        estimand="An edge five degrees a side wider, against a narrower one by the same sharpener; steel the same, tester being as likely.",
        column=of.edge_angle,
        step=5.0,
        within=of.sharpener_of,
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
        column=of.edge_angle,
        step=1.0,
        within=of.sharpener_of,
        subject="At the same edge angle by the same sharpener",
        other="",
        does_not_show="Which steel to choose: the angle is one of the ways in which a steel works, and holding it equal takes that away.",
    ),
    Probe(
        id="finish",
        question="Does a coarser finish matter?",
        measures=EFFECT,
        estimand="An edge finished on particles twice as coarse, against a finer one by the same sharpener; steel the same, tester being "
        "as likely.",
        column=of.finish,
        step=log(2.0),
        within=of.sharpener_of,
        subject="An edge finished twice as coarse",
        other="a finer one by the same sharpener",
        does_not_show="What the abrasive alone does: sizes are those of designations, and worn or stropped edges are finer than they say.",
    ),
    Probe(
        id="steels-at-equal-finish",
        question="What is left between two steels at the same finish?",
        measures=STEELS_AT_EQUAL,
        estimand="The two steels that most submissions hold, finished by the same person on particles of the same size.",
        column=of.finish,
        step=1.0,
        within=of.sharpener_of,
        subject="At the same finish by the same sharpener",
        other="",
        does_not_show="Which steel to choose: which finish a steel bears is one of the ways in which it works.",
    ),
    Probe(
        id="hardness",
        question="Do harder blades of a steel do better?",
        measures=EFFECT,
        estimand="An edge of a blade one point Rockwell C harder, against one of a softer blade of the same steel; people being as likely.",
        column=of.hardness,
        step=1.0,
        within=None,
        subject="An edge of a blade one point Rockwell C harder",
        other="one of a softer blade of the same steel",
        does_not_show="What a heat treatment does: blades differ in more than hardness, and most hardnesses are stated, not measured.",
        informs=of.steel_of,
    ),
    Probe(
        id="steels-at-equal-hardness",
        question="What is left between two steels at the same hardness?",
        measures=STEELS_AT_EQUAL,
        estimand="The two steels that most submissions hold at the same hardness, as the difference between harder and softer blades of "
        "one steel carries over to a hardness that neither may ever have.",
        column=of.hardness,
        step=1.0,
        within=None,
        subject="At the same hardness",
        other="",
        does_not_show="Which steel to choose: how hard a steel can be is one of the ways in which it works.",
        informs=of.steel_of,
    ),
)
