"""A plan in a post: what somebody will do, so that critics can speak before the first cut.

``site/pages/assets/plan/card.js`` writes the same of the same plan, from the same patterns; ``tests/browser/test_cards.py`` holds that.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Sequence

from edgehold.cards.fitting import Line, fitted
from edgehold.cards.method import month_words, wrong
from edgehold.records.model.plan import Plan
from edgehold.records.units import plural
from edgehold.words import Reason

from .advice import Advice
from .chances import SIGHTS
from .occasion import Occasion
from .output import in_evenings


def plan_card(advice: Advice, ask: str = "") -> str:
    """What will be done, in at most ``cards.fitting.LONGEST`` characters; nobody's handle and no drawn order stands in it.

    Parameters
    ----------
    advice : the plan, and what to expect of it.
    ask : address of the form for an objection to its method; empty where the site has none.
    """
    found = advice.found
    seen = [found.seen.get(true, 0.0) for true in SIGHTS]
    expects = Reason("card.plan_tells_nothing", reason=found.reason) if found.reason else expected(found.half_width, seen)
    return fitted(plan_lines(advice.asked, advice.plan, expects, {threat.threat for threat in advice.threats}, ask))


def plan_lines(asked: Occasion, plan: Plan, expects: Reason, leaves_open: Collection[str], ask: str = "") -> list[Line]:
    """The lines of that card in their order.

    Parameters
    ----------
    asked, plan : who, with what, and in which order.
    expects : what to expect of it, of ``expected``.
    leaves_open : kinds of threats that the plan does not close.
    ask : as in ``plan_card``.
    """
    hiding = {"none": "card.plan_open", "helper coded": "card.plan_coded", "sealed": "card.plan_coded"}[plan.blinding]
    people = {name: len({getattr(run, name) for run in plan.runs}) for name in ("blade", "tester")}
    return [
        Line(Reason("card.plan_head", month=month_words(plan.month), question=asked.protocol.question.text)),
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
        Line(expects),
        Line(Reason("card.not_against", kinds=", ".join(sorted(leaves_open))) if leaves_open else "", 4),
        Line(Reason("card.plan_seal", sha256=plan.sha256) if plan.sha256 else Reason("card.plan_seed"), 2),
        Line(wrong(ask)),
    ]


def _sharpeners(asked: Occasion) -> Reason:
    return Reason("card.edges", sharpeners=len(asked.sharpeners))


def expected(half_width: float | None, seen: Sequence[float]) -> Reason:
    """How wide the interval will be and how often a difference is seen.

    Parameters
    ----------
    half_width : of the 95 % interval, ln scale; None or infinite where these runs alone have none.
    seen : chance at each true ratio of ``chances.SIGHTS``.
    """
    if half_width is None or not math.isfinite(half_width):
        return Reason("card.plan_needs_others")
    lesser, larger = map(in_evenings, seen)
    return Reason("card.plan_expects", width=f"{math.exp(half_width):.2f}", seen15=lesser, seen20=larger)
