"""Households and what `edgehold plan` makes of each: three hours or ninety minutes, alone or three people, little rope or much, a
scale or none, one blade or four, whole edges, halves of one or two blades in turn. The planner in the browser is held to the same."""

from __future__ import annotations

from collections.abc import Mapping

from edgehold.cards.fitting import fitted
from edgehold.forms.planner import planner_rules
from edgehold.planning.adds import additions
from edgehold.planning.advice import Known, glance
from edgehold.planning.card import expected, plan_lines
from edgehold.planning.chances import spread_of
from edgehold.planning.designs import Design, doable, other_designs
from edgehold.planning.occasion import Occasion, occasion, stock
from edgehold.planning.plans import draw_plan
from edgehold.planning.remedies import Outlook
from edgehold.planning.threats import open_threats
from edgehold.records.model.protocol import Protocol, Question
from edgehold.records.sharpeners import planned_by
from edgehold.results.publish.repeatability import _form_entry, assumption

from .boatyard_plans import pooled, protocol

HALVES = ("two-sharpeners-rope", "2.0.0")
FINISH = ("two-sharpeners-rope", "2.0.0 of two levels")
THREE_LEVELS = ("two-sharpeners-rope", "1.1.0 of three levels")
ROPE, STEELS, CARD = ("two-sharpeners-rope", "1.1.0"), ("steels-exchanged-rope", "2.0.0"), ("life-on-card", "1.0.0")
FIRST, TURNS = ("first-evening-paper", "1.0.0"), ("steels-exchanged-rope", "3.0.0")
SEEDS = (3, 11, 2**40 + 7)
PEOPLE = {"sharpeners": ["tern", "wren"], "testers": ["fennel"]}
ONE = {"sharpeners": ["wren"], "testers": ["fennel"]}
WAYS = {"sharpeners": ["wren (freehand)", "wren (with a guide)"], "testers": ["fennel"]}
BOTH = {"sharpeners": ["tern", "wren"], "testers": ["tern", "wren"]}
THREE = {"sharpeners": ["auk", "tern", "wren"], "testers": ["fennel"], "coder": "moss"}
HOUSEHOLDS: dict[str, tuple[tuple[str, str], dict, dict]] = {
    "three hours, two sharpeners, a helper, 20 m": (ROPE, PEOPLE | {"blades": 1, "coder": "moss"}, {"minutes": 180, "lots_m": (20,)}),
    "the same in the open, 6 m": (ROPE, PEOPLE | {"blades": 1}, {"minutes": 180, "lots_m": (6,)}),
    "ninety minutes, alone": (ROPE, {"sharpeners": ["tern"], "alone": "wren", "blades": 1}, {"minutes": 90, "lots_m": (6,)}),
    "both take turns at testing, two evenings": (ROPE, BOTH | {"blades": 1}, {"minutes": 240, "evenings": 2}),
    "four blades, two sharpeners, a long day": (ROPE, PEOPLE | {"blades": 4}, {"minutes": 600, "runs_a_hand": 9}),
    "three sharpeners under codes": (ROPE, THREE | {"blades": 1}, {"minutes": 330}),
    "hardly any time and rope": (ROPE, PEOPLE | {"blades": 1}, {"minutes": 40, "lots_m": (0.15,), "most_runs": 1}),
    "to 40 cuts, a larger difference asked for": (ROPE, PEOPLE | {"blades": 1, "last_checkpoint": 40, "worthwhile_ratio": 1.5}, {}),
    "no scale, alone, ninety minutes": (CARD, {"alone": "wren", "blades": 2}, {"minutes": 90}),
    "no scale, a helper, three hours": (CARD, ONE | {"blades": 2, "coder": "moss"}, {"minutes": 180, "lots_m": (600,)}),
    "two blades under codes, two evenings": (STEELS, ONE | {"blades": 2, "coder": "moss"}, {"minutes": 400, "evenings": 2}),
    "a first evening, no scale, ninety minutes": (FIRST, PEOPLE | {"blades": 1}, {"minutes": 90}),
    "a first evening, an hour, a helper": (FIRST, PEOPLE | {"blades": 1, "coder": "moss"}, {"minutes": 60, "lots_m": (50,)}),
    "halves, three hours, a helper, 20 m": (HALVES, PEOPLE | {"blades": 1, "coder": "moss"}, {"minutes": 180, "lots_m": (20,)}),
    "halves, ninety minutes in the open, 6 m": (HALVES, PEOPLE | {"blades": 1}, {"minutes": 90, "lots_m": (6,)}),
    "halves, alone": (HALVES, {"sharpeners": ["tern"], "alone": "wren", "blades": 2}, {"minutes": 180}),
    "halves, an hour": (HALVES, PEOPLE | {"blades": 1}, {"minutes": 60}),
    "halves, hardly any time and rope": (HALVES, PEOPLE | {"blades": 1}, {"minutes": 30, "lots_m": (0.05,), "steel_mm": 0.01}),
    "halves, both take turns at testing, two evenings, three blades": (HALVES, BOTH | {"blades": 3}, {"minutes": 240, "evenings": 2}),
    "two blades in turn, three hours": (TURNS, ONE | {"blades": 2}, {"minutes": 180}),
    "two blades in turn, ninety minutes, alone": (TURNS, {"alone": "wren", "blades": 2}, {"minutes": 90, "lots_m": (6,)}),
    "two blades in turn, two sharpeners, a helper": (TURNS, PEOPLE | {"blades": 2, "coder": "moss"}, {"minutes": 330, "lots_m": (20,)}),
    "two blades in turn, one as somebody left it": (TURNS, {"sharpeners": ["tern"], "alone": "wren", "blades": 2}, {"minutes": 180}),
    "three blades in turn, both take turns at testing, two evenings": (TURNS, BOTH | {"blades": 3}, {"minutes": 330, "evenings": 2}),
    "four blades in turn, too many for the evening": (TURNS, ONE | {"blades": 4}, {"minutes": 120, "lots_m": (1,)}),
    "five blades in turn, two lots": (TURNS, ONE | {"blades": 5}, {"minutes": 400, "evenings": 3, "lots_m": (9, 9)}),
    "two blades in turn, hardly any time and steel": (TURNS, ONE | {"blades": 2}, {"minutes": 30, "lots_m": (0.05,), "steel_mm": 0.01}),
    "before and now, halves of two blades": (HALVES, {"sharpeners": ["wren (before)"], "alone": "wren", "blades": 2}, {"minutes": 180}),
    "the factory's edges and one's own": (HALVES, {"sharpeners": ["factory"], "alone": "wren", "blades": 2}, {"minutes": 180}),
    "one person's two ways, a helper": (HALVES, WAYS | {"blades": 1, "coder": "moss"}, {"minutes": 180, "lots_m": (20,)}),
    "two levels in halves, a helper": (FINISH, ONE | {"blades": 1, "coder": "moss"}, {"minutes": 180, "lots_m": (20,)}),
    "two levels in halves, alone, two evenings": (FINISH, {"alone": "wren", "blades": 2}, {"minutes": 180, "evenings": 2}),
    "three levels on one blade, three hours": (THREE_LEVELS, ONE | {"blades": 1}, {"minutes": 180}),
    "three levels, alone, hardly any time": (THREE_LEVELS, {"alone": "wren", "blades": 1}, {"minutes": 40}),
    "four blades, one sharpener, two lots": (STEELS, ONE | {"blades": 4}, {"minutes": 330, "evenings": 2, "lots_m": (9, 9)}),
}  # fmt: skip


LEVELS = {"two": ("coarse", "fine"), "three": ("coarse", "fine", "stropped")}


def followed_by(key: tuple[str, str]) -> Protocol:
    """The protocol of a household; of levels where its version says so."""
    version, _, words = key[1].partition(" of ")
    record = protocol(key[0], version)
    if not words:
        return record
    levels = [{"word": word, "text": f"The edge is {word}."} for word in LEVELS[words.split()[0]]]
    question = Question.model_validate({"factor": "level", "text": "Which lasts?", "treatment": "finish", "levels": levels}, strict=False)
    return record.model_copy(update={"question": question, "estimand": "total"})


def known(followed: Protocol) -> Known:
    """The protocol's assumptions, but for one endpoint that is known from many submissions."""
    entries = {rule.id: assumption(rule) for rule in followed.endpoints}
    return Known(entries | {"early": pooled(0.2, 23.0)}, None, None)


def wanted(name: str) -> Occasion:
    """What a household asks for."""
    key, asks, has = HOUSEHOLDS[name]
    followed = followed_by(key)
    blades = [f"wren.b{number}" for number in range(1, asks["blades"] + 1)]
    return occasion(followed, stock(followed, **has), **(asks | {"blades": blades}))


def planned(asked: Occasion, seed: int) -> dict[str, object]:
    """The plan and what else the same time holds, as plain values."""
    design = doable(asked)
    return _shown(design, asked, seed) | {
        "changes": [[change.code, dict(change.arguments) | {"units": ""}] for change in design.changes],
        "others": [_shown(other, asked, seed) for other in other_designs(design)],
    }


def added(asked: Occasion, seed: int) -> list[tuple[str, float | None, list[float]]]:
    """What edges exchanged, a friend's table and a second evening add: kind, half width, chances."""
    design = doable(asked)
    plan = draw_plan(design.asked, design.fits, id="x-1", month="2026-05", seed=seed, sealed=False)
    entry = known(asked.protocol).entries[design.asked.rule.id]
    outlook = Outlook(entry, spread_of(entry), seed)
    return [(one.kind, one.half_width, list(one.seen.values())) for one in additions(design.asked, plan, outlook)]


def _shown(design: Design, asked: Occasion, seed: int) -> dict[str, object]:
    plan = draw_plan(design.asked, design.fits, id="x-1", month="2026-05", seed=seed, sealed=False)
    seen = glance(design, known(asked.protocol), seed)
    fields = ("order", "block", "evening", "lot", "coil_position_m", "blade", "edge_part", "partner", "tester", "code")
    return {
        "last": design.asked.last_checkpoint,
        "endpoint": design.asked.rule.id,
        "runs": [{field: getattr(run, field) for field in fields} | {"sharpener": planned_by(run)} for run in plan.runs],
        "limits": [[limit.name, limit.runs] for limit in design.fits.limits],
        "buy_m": design.fits.buy_m,
        "half_width": seen.half_width,
        "seen": list(seen.seen.values()),
    }


def handed_out(name: str) -> dict[str, object]:
    """The rules of the planner for a household's protocol, with the spreads of ``known``."""
    key = HOUSEHOLDS[name][0]
    followed = followed_by(key)
    spreads = {endpoint: _form_entry(entry) for endpoint, entry in known(followed).entries.items()}
    forms: dict[tuple[str, str], Mapping[str, object]] = {
        (followed.id, followed.version): {"protocol": followed.model_dump(mode="json"), "repeatability": {"endpoints": spreads}}
    }
    return planner_rules(forms)


def asked_in_the_browser(name: str) -> dict[str, object]:
    """The same question as the scripts take it."""
    asked = wanted(name)
    has = asked.stock
    return {
        "protocol": asked.protocol.id,
        "blades": list(asked.blades),
        "sharpeners": list(asked.sharpeners),
        "testers": list(asked.testers),
        "coder": asked.coder,
        "alone": asked.alone,
        "last": asked.last_checkpoint,
        "ratio": asked.worthwhile_ratio,
        "stock": {
            "lots_m": list(has.lots_m), "mm_per_unit": has.mm_per_unit, "minutes": has.minutes, "evenings": has.evenings,
            "runs_a_hand": has.runs_a_hand, "most_runs": has.most_runs, "steel_mm": has.steel_mm,
        },
    }  # fmt: skip


def card(name: str, seed: int, ask: str = "") -> str:
    """What the program says of the first design in a post, by the chances that the browser reckons with."""
    asked = wanted(name)
    design = doable(asked)
    plan = draw_plan(design.asked, design.fits, id="x-1", month="2026-05", seed=seed, sealed=False)
    seen = glance(design, known(asked.protocol), seed)
    leaves_open = {threat.threat for threat in open_threats(design.asked, plan)}
    return fitted(plan_lines(design.asked, plan, expected(seen.half_width, list(seen.seen.values())), leaves_open, ask))
