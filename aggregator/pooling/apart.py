"""From rows of runs to what can be told apart in each pool, and which further runs would tell more.

The questions are answered in ``separability`` and ``exchanges``; this module only gathers their labels.
"""

from __future__ import annotations

from collections.abc import Iterable

from aggregator.endpoints.rows import EndpointRow
from aggregator.numerics.attempt import NotFitted, attempt
from aggregator.records.canonical import PoolKey

from .exchanges import ExchangePlan, best_exchanges
from .separability import Separability, separability

SPLIT = ("split",)  # the target of exchanges that help to tell sharpeners from testers


def told_apart(rows: Iterable[EndpointRow]) -> dict[PoolKey, Separability | NotFitted]:
    """What the runs of every pool can tell apart, whatever they read; the reason where numbers fail."""
    return {pool: _judged(labels) for pool, labels in labels_by_pool(rows).items()}


def _judged(labels: dict[str, list[str]]) -> Separability | NotFitted:
    return attempt(lambda: separability(labels), lambda why: why, lambda found: (one.pair_efficiency for one in found.contrasts.values()))


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
