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

from edgehold.pages import bars, formatting
from edgehold.pages.safe_text import finalize
from edgehold.records.units import plural
from edgehold.results.model.ratio import RatioInterval
from edgehold.results.words.sentences import ratio_text
from edgehold.words import Reason

from .assemble import SubmissionReport
from .comparison import Figure
from .drawing import panels
from .plain import other_comparisons, reached, ruled_out, table_sentence


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
    intervals = {figure.endpoint: _interval(figure) for figure in figures}
    axis = bars.axis(intervals.values(), max((figure.worthwhile_ratio for figure in figures), default=1.25))
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
            scale=bars.scale(axis),
            bars={f.endpoint: bars.bar(intervals[f.endpoint], bars.Axis(axis.reach, f.worthwhile_ratio)) for f in figures},
            ratios={f.endpoint: _told(f) for f in figures},
            panels=panels(report.curves, report.protocol),
            works=sorted({r.work for c in report.curves for r in c.readings}),
            readings={c.run: {r.work: r for r in c.readings} for c in report.curves},
            unit=plural(report.protocol.work.unit),
            ruled_out=ruled_out(report),
            reached=reached(report),
            table_sentence=table_sentence(report),
            rest=other_comparisons(report),
            formatting=formatting,
        )
    )


def policy(style: str) -> str:
    """The page's own policy (Content Security Policy Level 3): its one style sheet by hash, and nothing else at all."""
    digest = base64.b64encode(hashlib.sha256(style.encode()).digest()).decode()
    return f"default-src 'none'; style-src 'sha256-{digest}'; base-uri 'none'; form-action 'none'"


def _interval(figure: Figure) -> RatioInterval | None:
    if figure.ratio is None:
        return None
    return RatioInterval(ratio=figure.ratio, low=figure.low, high=figure.high, level=0.95, method="")


def _told(figure: Figure) -> str:
    """Ratio and limits, for the table."""
    end = "" if figure.ratio is not None else "_at_least" if figure.low is not None else "_at_most" if figure.high is not None else "_none"
    return Reason(f"report.cell{end}", ratio=ratio_text(figure.ratio), low=ratio_text(figure.low), high=ratio_text(figure.high))
