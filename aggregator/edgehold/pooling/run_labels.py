"""Labels of runs, by factor, as every model of runs takes them."""

from __future__ import annotations

from edgehold.endpoints.rows import EndpointRow


def labels_of(rows: list[EndpointRow]) -> dict[str, list[object]]:
    """Labels of runs as ``runs_model`` takes them."""
    plain = (
        "steel",
        "blade",
        "batch",
        "sharpener",
        "tester",
        "submission",
        "own_sharpening",
        "sharpening",
        "edge_part",
        "level",
        "level_place",
    )
    labels: dict[str, list[object]] = {name: [getattr(row, name) for row in rows] for name in plain}
    labels["version"] = [row.version.rpartition(".")[0] for row in rows]  # MAJOR.MINOR: a PATCH changes words only
    return labels


def all_labels(rows: list[EndpointRow]) -> dict[str, list[object]]:
    """Those, and lot, evening and pair."""
    return labels_of(rows) | {
        "lot": [row.lot for row in rows],
        "evening": [None if row.evening is None else str(row.evening) for row in rows],
        "pair": [row.pair for row in rows],
    }
