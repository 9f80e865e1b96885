"""A plan in a post: what somebody will do, so that critics can speak before the first cut."""

from __future__ import annotations

import math

from edgehold.cards.fitting import Line, fitted
from edgehold.records.units import plural
from edgehold.words import Reason

from .advice import Advice
from .chances import SIGHTS
from .occasion import Occasion
from .output import in_evenings


def plan_card(advice: Advice) -> str:
    """What will be done, in at most ``cards.fitting.LONGEST`` characters; nobody's handle and no drawn order stands in it."""
    asked, plan, found = advice.asked, advice.plan, advice.found
    lesser, larger = (in_evenings(found.seen.get(true, 0.0)) for true in SIGHTS)
    hiding = {"none": "card.plan_open", "helper coded": "card.plan_coded", "sealed": "card.plan_coded"}[plan.blinding]
    people = {name: len({getattr(run, name) for run in plan.runs}) for name in ("blade", "tester")}
    open_kinds = sorted({threat.threat for threat in advice.threats})
    return fitted(
        [
            Line(Reason("card.plan_head", month=plan.month, question=asked.protocol.question.text)),
            Line(Reason("card.plan_method", title=asked.protocol.title, id=plan.protocol.id, version=plan.protocol.version)),
            Line(
                Reason(
                    "card.plan_runs",
                    runs=len(plan.runs),
                    last=f"{asked.last_checkpoint:g}",
                    units=plural(asked.protocol.work.unit),
                    medium=asked.protocol.medium.name,
                    blades=Reason("card.blades", blades=people["blade"]),
                    edges=Reason("card.levels", levels=", ".join(asked.levels)) if asked.levels else _sharpeners(asked),
                    testers=Reason("card.testers", testers=people["tester"]),
                )
            ),
            Line(Reason(hiding)),
            Line(Reason("card.order", text=asked.protocol.design.order), 3, True),
            Line(Reason("card.answer", title=asked.rule.title[:1].lower() + asked.rule.title[1:], ratio=f"{asked.worthwhile_ratio:g}")),
            Line(_expects(advice, lesser, larger)),
            Line(Reason("card.not_against", kinds=", ".join(open_kinds)) if open_kinds else "", 4),
            Line(Reason("card.plan_seal", sha256=plan.sha256) if plan.sha256 else Reason("card.plan_seed"), 2),
            Line(Reason("card.wrong_here")),
        ]
    )


def _sharpeners(asked: Occasion) -> Reason:
    return Reason("card.edges", sharpeners=len(asked.sharpeners))


def _expects(advice: Advice, lesser: Reason, larger: Reason) -> Reason:
    found = advice.found
    if found.reason or found.half_width is None:
        return Reason("card.plan_tells_nothing", reason=found.reason)
    return Reason("card.plan_expects", width=f"{math.exp(found.half_width):.2f}", seen15=lesser, seen20=larger)
