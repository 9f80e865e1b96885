"""Sheets to print: one page for every protocol version that takes submissions, and the same template for a plan of one's own."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from itertools import zip_longest
from pathlib import Path
from typing import get_args

from markupsafe import Markup

from edgehold.records.model.submission import Run
from edgehold.records.units import quantity_text
from edgehold.words import Reason
from edgehold.words.cautions import CAUTIONS

from . import addresses
from .hands import Hands
from .page import Findable, Page, render

_HERE = Path(__file__).resolve()
STYLE = next(
    path for path in (_HERE.with_name("sheet.css"), _HERE.parents[3] / "site" / "pages" / "assets" / "sheet.css") if path.is_file()
)
"""The sheets' style: inside an installed package, among the site's assets in a checkout."""


@dataclass(frozen=True)
class ViewedRun:
    """One run of a sheet; what the reader is not to know, or what is to be filled in, is empty."""

    order: int
    block: int
    code: str
    blade: str
    sharpener: str
    tester: str
    evening: str = ""
    lot: str = ""
    begun_at_m: str = ""
    edge_part: str = ""
    partner: str = ""


@dataclass(frozen=True)
class SheetView:
    """All that the print page knows.

    Attributes
    ----------
    front : the protocol's machine-readable part.
    runs : as they may be read at the testing table; ``drawn`` : the same with everything, for the page of those who sharpen.
    people, blades : (letter, name), the name empty where it is to be filled in.
    hands : what the hands need at each step.
    last : how far every run is meant to go; None: for the tester to say.
    plan, seal, seed, blinding : of the plan; empty where there is none.
    table, key : whether the pages for the testing table, and those for the sharpeners, are part of it.
    """

    front: Mapping[str, object]
    runs: tuple[ViewedRun, ...]
    drawn: tuple[ViewedRun, ...]
    people: tuple[tuple[str, str], ...]
    blades: tuple[tuple[str, str], ...]
    hands: Hands
    last: float | None = None
    plan: str = ""
    seal: str = ""
    seed: str = ""
    blinding: str = ""
    table: bool = True
    key: bool = True

    @property
    def ready(self) -> bool:
        """Whether nobody's name is known: a sheet drawn for whoever comes."""
        return not self.plan

    @property
    def reference_work(self) -> str:
        """How much work lies between the two readings of a reference edge; empty where none is asked for."""
        work, reference = self.front.get("work"), self.front.get("reference")
        return quantity_text(reference["work"], work["unit"]) if isinstance(work, dict) and isinstance(reference, dict) else ""

    @property
    def evenings(self) -> tuple[str, ...]:
        """The evenings of the runs in their order; one without a name where none is drawn."""
        return tuple(dict.fromkeys(run.evening for run in self.runs))

    @property
    def who(self) -> list[tuple[tuple[str, str], tuple[str, str]]]:
        """Label and what is known already, two beside each other: who and what the whole evening has in common."""
        left = [("Month", ""), *((f"Person {letter} (handle)", name) for letter, name in self.people), ("Note", "")]
        right = [("Medium, lot", ""), *((f"Blade {letter} (key)", name) for letter, name in self.blades)]
        right += [(Reason("pages.scale_or_instrument"), ""), ("Temperature, humidity", "")]
        return list(zip_longest(left, right, fillvalue=("", "")))


def sheet_pages(sheets: Mapping[tuple[str, str], SheetView]) -> Iterator[Page]:
    """The print page of each ready-drawn sheet."""
    for (name, version), view in sheets.items():
        html = render("sheet_page.html", sheet=sheet_html(view), front=view.front)
        method = str(view.front["title"])
        title, told = Reason("pages.sheet_title", title=method, version=version), Reason("pages.sheet_told", title=method)
        yield Page(addresses.sheet(name, version), title, html, Reason("pages.tonight_title"), told, record=True, found=Findable("sheet"))


def sheet_html(view: SheetView) -> Markup:
    """The sheet itself, as a fragment of a page."""
    return render("sheet.html", sheet=view, front=view.front, cautions=CAUTIONS, ended=get_args(Run.model_fields["ended"].annotation))


def style_sheet() -> str:
    """The style of a sheet on paper, for a file that has nothing beside it."""
    return STYLE.read_text(encoding="utf-8")
