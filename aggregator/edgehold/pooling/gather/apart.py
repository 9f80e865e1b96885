"""From rows of runs to the further runs that would help each pool most.

The question is answered in ``exchanges``; this module only gathers its labels.
"""

from __future__ import annotations

from collections.abc import Iterable

from edgehold.endpoints.rows import EndpointRow
from edgehold.pooling.exchanges import ExchangePlan, best_exchanges
from edgehold.records.canonical import PoolKey

SPLIT = ("split",)  # the target of exchanges that help to tell sharpeners from testers


def further_runs(rows: Iterable[EndpointRow], count: int) -> dict[PoolKey, ExchangePlan]:
    """For every pool the further runs that would best help to tell sharpeners from testers."""
    found = {}
    for pool, labels in labels_by_pool(rows).items():
        design = {name: labels[name] for name in ("steel", "blade", "sharpener", "tester")}
        found[pool] = best_exchanges(design, SPLIT, count=count)
    return found


def labels_by_pool(rows: Iterable[EndpointRow]) -> dict[PoolKey, dict[str, list[str]]]:
    """Labels by pool and factor, one a run; a run that two testers shared tells nothing here and is left out.

    A blade of unknown steel counts as a steel of its own.
    """
    runs = {(row.pool, row.submission, row.run): row for row in rows if not row.split_tester}
    found: dict[PoolKey, dict[str, list[str]]] = {}
    for key in sorted(runs):
        row = runs[key]
        labels = found.setdefault(row.pool, {name: [] for name in ("steel", "blade", "sharpener", "tester", "submission")})
        labels["steel"].append(row.steel or f"steel of {row.blade}")
        labels["blade"].append(row.blade)
        labels["sharpener"].append(row.sharpener)
        labels["tester"].append(row.tester)
        labels["submission"].append(row.submission)
    return found
