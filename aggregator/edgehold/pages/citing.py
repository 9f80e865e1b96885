"""How a result is cited: as text, as BibTeX and as CSL-JSON, with the address in the archive that never changes."""

from __future__ import annotations

import json
import re
from dataclasses import dataclass

from markupsafe import Markup

from edgehold.archive.folder import Kept
from edgehold.results.model.results import Provenance
from edgehold.words import Reason

from . import safe_text
from .formatting import MONTHS, month
from .page import Page, render

AUTHOR = "Edgehold contributors"
MONTH = re.compile(r"([0-9]{4})-(0[1-9]|1[0-2])")
TEX = str.maketrans({c: f"\\{c}" for c in "#$%&_"} | {"{": "", "}": "", "\\": "", "~": " ", "^": " "})
"""What BibTeX and TeX read as more than a letter."""


@dataclass(frozen=True)
class Cited:
    """What a page has to know of its build to be cited.

    Attributes
    ----------
    build : name of the build in the archive; empty where it is not kept there.
    base_url : address of the published site; empty where it has none.
    provenance : where the figures come from.
    """

    build: str
    base_url: str
    provenance: Provenance


@dataclass(frozen=True)
class Citation:
    """One citation in the three forms, each a text to copy."""

    text: str
    bibtex: str
    csl: str


def cited_as(kept: Kept, base_url: str) -> Cited:
    """What is cited of a build that is kept."""
    facts = kept.facts
    provenance = Provenance(
        program_version=facts.program_version,
        inputs_sha256=facts.inputs_sha256,
        input_files=facts.input_files,
        repeatability_sha256="",
        repository_url="",
        data_month=facts.month,
        commit=facts.commit,
    )
    return Cited(kept.name, base_url, provenance)


def archive_address(cited: Cited, address: str) -> str:
    """Where a page lies in the archive: an address, or its path where the site has none; empty where it is not kept."""
    if not cited.build:
        return ""
    path = f"archive/{cited.build}{address}"
    return f"{cited.base_url}{path}" if cited.base_url else f"/{path}"


def citation(cited: Cited, title: str, address: str, simulated: bool = False) -> Citation:
    """The citation of one page.

    Parameters
    ----------
    cited : its build.
    title : of the page.
    address : of the page, from the site's root.
    simulated : whether its figures are a demonstration's; the citation says so.
    """
    named = safe_text.title(title, 200)
    whole = str(Reason("citing.simulated_title", title=named)) if simulated else named
    known = cited.provenance
    where = archive_address(cited, address)
    version = str(Reason("citing.version", program=known.program_version, inputs=known.inputs_sha256[:12]))
    text = Reason(
        "citing.text" if _date(cited) else "citing.text_undated",
        author=AUTHOR,
        month=month(known.data_month),
        title=whole,
        version=version,
        where=where or str(Reason("citing.not_kept_short")),
    )
    return Citation(str(text), _bibtex(cited, whole, version, where), _csl(cited, whole, version, where))


def _key(cited: Cited, where: str) -> str:
    """A key that tells this page of this build from every other."""
    path = where.partition(cited.build)[2] if cited.build else ""
    inputs = cited.provenance.inputs_sha256[:12]
    return re.sub(r"[^a-z0-9]+", "-", f"edgehold-{cited.build or inputs}{path}".lower()).strip("-")


def _bibtex(cited: Cited, title: str, version: str, where: str) -> str:
    date = _date(cited)
    fields = {
        "author": f"{{{AUTHOR}}}",
        "title": title.translate(TEX),
        "year": str(date[0]) if date else "",
        "month": MONTHS[date[1] - 1].lower()[:3] if date else "",
        "version": version.translate(TEX),
        "publisher": "Edgehold",
        "url" if cited.base_url else "howpublished": where if cited.base_url else where.translate(TEX),
        "note": _note(cited).translate(TEX),
    }
    lines = [f"{name} = {value if name == 'month' else f'{{{value}}}'}" for name, value in fields.items() if value]
    return f"@misc{{{_key(cited, where)},\n" + ",\n".join(lines) + "\n}"


def _csl(cited: Cited, title: str, version: str, where: str) -> str:
    item: dict[str, object] = {
        "id": _key(cited, where),
        "type": "dataset",
        "title": title,
        "author": [{"literal": AUTHOR}],
        "publisher": "Edgehold",
        "version": version,
    }
    if date := _date(cited):
        item["issued"] = {"date-parts": [list(date)]}
    if cited.base_url and where:
        item["URL"] = where
    if note := _note(cited) or ("" if cited.base_url else where):
        item["note"] = note
    return json.dumps([item], indent=0, ensure_ascii=False)


def _date(cited: Cited) -> tuple[int, int] | None:
    """Year and month of the data; None where no file names one."""
    found = MONTH.fullmatch(cited.provenance.data_month)
    return (int(found[1]), int(found[2])) if found else None


def _note(cited: Cited) -> str:
    """What a citation has to say besides: the commit, if one is known."""
    commit = cited.provenance.commit
    return str(Reason("citing.commit", commit=commit)) if commit else ""


def cite_block(cited: Cited, page: Page) -> Markup:
    """The folded part of a page that says how to cite it."""
    return render(
        "_cite.html",
        forms=_forms(citation(cited, page.title, page.address, page.simulated)),
        heading=Reason("citing.heading"),
        says=_says(cited),
        kept=f"/archive/{cited.build}{page.address}" if cited.build else "",
        number="",
    )


def _forms(made: Citation) -> list[tuple[str, str, Markup]]:
    """Short name, name and text of each form."""
    return [
        ("text", "Text", safe_text.verbatim(made.text)),
        ("bibtex", "BibTeX", safe_text.verbatim(made.bibtex)),
        ("csl", "CSL-JSON", safe_text.verbatim(made.csl)),
    ]


def _says(cited: Cited) -> str:
    """What the address in a citation is worth."""
    if not cited.build:
        return Reason("citing.not_kept")
    return Reason("citing.kept") if cited.base_url else Reason("citing.kept_nowhere")


def cite_build(cited: Cited, number: int) -> Markup:
    """The same for a whole build, on the page that lists them."""
    made = citation(cited, Reason("citing.build_title"), "/")
    return render("_cite.html", forms=_forms(made), heading=Reason("citing.heading_build"), says="", kept="", number=number)
