"""A plan as a page to print: the site's own template, and one file that needs nothing beside it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

from markupsafe import escape

from edgehold.pages.hands import hands_of
from edgehold.pages.sheet_pages import SheetView, ViewedRun, sheet_html, style_sheet
from edgehold.records.model.protocol import Protocol
from edgehold.records.sharpeners import in_condition

from .lines import run_lines
from .rows import SheetPlan, SheetRun, run_value

_DOCUMENT = """<!DOCTYPE html>
<html lang="en"><head><meta charset="utf-8"><meta name="viewport" content="width=device-width, initial-scale=1">
<meta http-equiv="Content-Security-Policy" content="default-src 'none'; style-src 'unsafe-inline'">
<title>{title}</title><style>{style}</style></head><body class="sheet-alone"><main>{body}</main></body></html>
"""


HIDDEN = ("blade", "sharpener", "condition", "level")  # what would tell whose edge it is


def sheet_view(
    plan: SheetPlan, protocol: Protocol, figures: Mapping[str, str], body: str = "", *, table: bool = True, key: bool = False
) -> SheetView:
    """What the print page shows of a plan.

    Parameters
    ----------
    plan, protocol : as in `files.write_sheets`, the plan as a sheet shows it.
    figures : drawings as SVG by path beside the protocol; those missing are left out.
    body : the method's text, for the sentences that it stresses.
    table, key : whether the pages for the testing table, and those for the sharpeners, are part of it.
    """
    lines = {line.key: line for line in run_lines(protocol)}

    def told(run: SheetRun) -> ViewedRun:
        blade, sharpener, condition, level = (run_value(lines[name], run, plan, protocol) if name in lines else "" for name in HIDDEN)
        return replace(viewed(run), blade=blade, sharpener=in_condition(sharpener, condition or level or None))

    def viewed(run: SheetRun) -> ViewedRun:
        sharpener = in_condition(run.sharpener, run.condition or run.level or None)
        return ViewedRun(
            run.order, run.block, run.code, run.blade, sharpener, run.tester, run.evening, run.lot, run.begun_at_m, run.edge_part,
            run.partner.removeprefix("run-"),
        )  # fmt: skip

    drawn = tuple(map(viewed, plan.runs))
    return SheetView(
        front=protocol.model_dump(mode="json"),
        runs=tuple(map(told, plan.runs)) if plan.plan else tuple(replace(run, blade="", sharpener="") for run in drawn),
        drawn=drawn,
        people=plan.people,
        blades=plan.blades,
        hands=hands_of(protocol, body, figures, "sheet-"),
        last=plan.last,
        plan=plan.plan,
        seal=plan.seal,
        seed=plan.seed,
        blinding=plan.blinding,
        table=table,
        key=key,
    )


def printed_sheet(plan: SheetPlan, protocol: Protocol, figures: Mapping[str, str], body: str = "") -> str:
    """The sheet as one HTML file; the sharpeners' page is part of it only where nothing is hidden from the tester."""
    return _document(sheet_view(plan, protocol, figures, body, key=plan.blinding == "none"), f"{protocol.title}: sheet {plan.plan}")


def printed_key(plan: SheetPlan, protocol: Protocol, figures: Mapping[str, str], body: str = "") -> str:
    """The sharpeners' page alone, for the key envelope."""
    return _document(sheet_view(plan, protocol, figures, body, table=False, key=True), f"{protocol.title}: key of {plan.plan}")


def _document(view: SheetView, title: str) -> str:
    return _DOCUMENT.format(title=escape(title), style=style_sheet(), body=sheet_html(view))
