"""What a page says of itself for machines: its data as a schema.org Dataset, in JSON-LD.

https://schema.org/Dataset, and what search engines for data ask of it: name, description, licence, creator, distribution.
"""

from __future__ import annotations

import json

from edgehold.results.model.results import Pool, Provenance, Results
from edgehold.words import Reason

from . import addresses
from .citing import AUTHOR, Cited, archive_address
from .formatting import pool_name

LICENCE = "https://creativecommons.org/publicdomain/zero/1.0/"
KINDS = {"csv": "text/csv", "json": "application/json", "parquet": "application/vnd.apache.parquet", "zip": "application/zip"}


def all_data(results: Results, downloads: tuple[str, ...], cited: Cited) -> str:
    """The whole of the data, for the page that offers them."""
    months = [month for pool in results.pools for month in (pool.first_month, pool.last_month)]
    files = [name for name in downloads if "/" not in name and name.rpartition(".")[2] in KINDS]
    return _dataset(
        cited,
        "/data/",
        str(Reason("citing.build_title")),
        str(Reason("structured.all_data", pools=len(results.pools), submissions=len(results.submissions))),
        coverage=_span(months),
        distribution=[_download(cited, name) for name in files],
        variables=sorted({e.title for pool in results.pools for e in pool.endpoints}),
    )


def of_pool(pool: Pool, cited: Cited) -> str:
    """One pool's results; those of the demonstration say first that nothing was measured."""
    name = pool_name(pool)
    return _dataset(
        cited,
        addresses.pool(pool),
        str(Reason("citing.simulated_title", title=name)) if pool.origin == "simulated" else name,
        " ".join(
            [
                *([str(Reason("structured.simulated"))] if pool.origin == "simulated" else []),
                pool.headline,
                str(Reason("structured.pool", medium=pool.medium, submissions=pool.counts.submissions, runs=pool.counts.runs)),
            ]
        ),
        coverage=_span([pool.first_month, pool.last_month]),
        distribution=[_download(cited, "results.json")],
        variables=sorted(e.title for e in pool.endpoints),
    )


def _dataset(
    cited: Cited, address: str, name: str, description: str, *, coverage: str, distribution: list[dict[str, str]], variables: list[str]
) -> str:
    known: Provenance = cited.provenance
    kept = archive_address(cited, address) if cited.base_url else ""
    written: dict[str, object] = {
        "@context": "https://schema.org",
        "@type": "Dataset",
        "name": name,
        "description": description,
        "url": _absolute(cited, address),
        "identifier": kept,
        "version": str(Reason("citing.version", program=known.program_version, inputs=known.inputs_sha256[:12])),
        "dateModified": known.data_month,
        "temporalCoverage": coverage,
        "license": LICENCE,
        "isAccessibleForFree": True,
        "creator": {"@type": "Organization", "name": AUTHOR},
        "variableMeasured": variables,
        "distribution": distribution,
    }
    return json.dumps({key: value for key, value in written.items() if value not in ("", [])}, ensure_ascii=False)


def _download(cited: Cited, name: str) -> dict[str, str]:
    made = {
        "@type": "DataDownload",
        "name": name,
        "encodingFormat": KINDS[name.rpartition(".")[2]],
        "contentUrl": _absolute(cited, f"/{addresses.download_path(name)}"),
    }
    return {key: value for key, value in made.items() if value}


def _absolute(cited: Cited, address: str) -> str:
    """The address of a page; empty where the site has none, for a path alone would mean something else elsewhere."""
    return f"{cited.base_url}{address.removeprefix('/')}" if cited.base_url else ""


def _span(months: list[str]) -> str:
    """An interval of months as ISO 8601 writes it."""
    return f"{min(months)}/{max(months)}" if months else ""
