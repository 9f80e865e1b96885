"""A report as one file of HTML that needs nothing else: no script, no other file, no other host.

Every text that people wrote goes through ``pages.safe_text``, as on the site.
"""

from __future__ import annotations

import base64
import hashlib
from functools import lru_cache
from importlib.resources import files

from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup

from edgehold.pages import formatting
from edgehold.pages.safe_text import finalize
from edgehold.records.units import plural
from edgehold.words import Reason

from .adds import OWN, Addition
from .assemble import SubmissionReport
from .bars import Drawn, bar_of, common_reach
from .comparison import Figure, Leading
from .drawing import panels
from .plain import other_comparisons, reached, references_told, ruled_out, table_sentence


@lru_cache(maxsize=1)
def _environment() -> Environment:
    return Environment(
        loader=PackageLoader("edgehold.report"),
        autoescape=True,
        finalize=finalize,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )


def report_html(report: SubmissionReport) -> str:
    """The page."""
    style = (files("edgehold.report") / "templates" / "report.css").read_text(encoding="utf-8")
    figures = report.lead.figures if report.lead else ()
    shown = {figure.endpoint: _drawn(report.lead, figure) for figure in figures} if report.lead else {}
    additions = report.adds.additions if report.adds else ()
    added = [_added(one) for one in additions]
    reach = common_reach([*shown.values(), *(drawn for pair in added for drawn in pair)])
    return str(
        _environment()
        .get_template("report.html")
        .render(
            report=report,
            record=report.record,
            protocol=report.protocol,
            style=Markup(style),
            policy=policy(style),
            figures=figures,
            bars={endpoint: bar_of(one, reach) for endpoint, one in shown.items()},
            added=[[(one.title, bar_of(one, reach)) for one in pair] for pair in added],
            bars_words=Reason("own_answer.bars"),
            panels=panels(report.curves, report.protocol),
            works=sorted({r.work for c in report.curves for r in c.readings}),
            readings={c.run: {r.work: r for r in c.readings} for c in report.curves},
            unit=plural(report.protocol.work.unit),
            ruled_out=ruled_out(report),
            reached=reached(report),
            references=references_told(report),
            table_sentence=table_sentence(report),
            rest=other_comparisons(report),
            formatting=formatting,
        )
    )


def policy(style: str) -> str:
    """The page's own policy (Content Security Policy Level 3): its one style sheet by hash, and nothing else at all."""
    digest = base64.b64encode(hashlib.sha256(style.encode()).digest()).decode()
    return f"default-src 'none'; style-src 'sha256-{digest}'; base-uri 'none'; form-action 'none'"


def _drawn(lead: Leading, figure: Figure) -> Drawn:
    """What the bar of one figure shows."""
    return Drawn(
        title=figure.title,
        factor=lead.factor,
        first=lead.first,
        second=lead.second,
        kind=figure.kind,
        ratio=figure.ratio,
        low=figure.low,
        high=figure.high,
        worthwhile=figure.worthwhile_ratio,
    )


def _added(one: Addition) -> tuple[Drawn, Drawn]:
    """The bars of the pool without these runs and with them."""
    own = one.factor == OWN
    first, second = (Reason("report.adds_own_short"), Reason("report.adds_anothers_short")) if own else (one.first, one.second)
    bars = ((Reason("report.adds_without_bar"), one.without), (Reason("report.adds_with_bar"), one.joined))
    without, joined = (
        Drawn(
            title=title,
            factor=one.factor,
            first=first,
            second=second,
            kind=one.kind,
            ratio=result.ratio if result else None,
            low=result.low if result else None,
            high=result.high if result else None,
            worthwhile=one.worthwhile_ratio,
        )
        for title, result in bars
    )
    return without, joined
