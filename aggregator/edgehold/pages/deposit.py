"""The file that a depositor with a DOI takes: data, what they were made from, hashes, and metadata that machines read."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from string import Template

from edgehold.archive.build import SUMS, sums_of
from edgehold.results.model.results import Results
from edgehold.words import Reason

from . import structured
from .citing import Cited, citation
from .formatting import month

README = Path(__file__).parent / "templates" / "deposit.txt"
METADATA = "metadata.jsonld"


def deposit_files(results: Results, data: Mapping[str, bytes], sources: Mapping[str, bytes], base_url: str, title: str) -> dict[str, bytes]:
    """Every file of a deposit by its path.

    Parameters
    ----------
    results : what was found.
    data : files with figures, by name; one that only packs the others is left out.
    sources : files of the repository, by path.
    base_url : address of the published site; empty where it has none.
    title : what the whole is called.
    """
    known = results.provenance
    cited = Cited("", base_url, known)
    made = citation(cited, title, "/")
    told = {
        "title": title,
        "month": month(known.data_month) or str(Reason("archive.undated")),
        "program_version": known.program_version,
        "commit": known.commit or str(Reason("archive.no_commit")),
        "inputs_sha256": known.inputs_sha256,
        "submissions": str(len(results.submissions)),
        "measured": str(sum(s.origin == "measured" for s in results.submissions)),
    }
    files = {f"data/{name}": content for name, content in data.items() if not name.endswith(".zip")} | {
        f"repository/{path}": c for path, c in sources.items()
    }
    files |= {
        "README.txt": Template(README.read_text(encoding="utf-8")).substitute(told).encode(),
        METADATA: (structured.all_data(results, tuple(sorted(data)), cited) + "\n").encode(),
        "citation.bib": f"{made.bibtex}\n".encode(),
        "citation.json": f"{made.csl}\n".encode(),
    }
    return files | {SUMS: sums_of(files)}
