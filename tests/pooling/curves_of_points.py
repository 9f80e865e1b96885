"""Curves of pools from readings, as the path makes them."""

from collections.abc import Iterable, Mapping, Sequence

from edgehold.endpoints.rows import CurvePoint, EndpointRow
from edgehold.numerics.half_t import HalfT
from edgehold.pooling.curves.curves import PoolCurves
from edgehold.pooling.gather.all_answers import AskedOfPool, all_answers


def pooled_curves(
    points: Iterable[CurvePoint],
    rows: Iterable[EndpointRow],
    checkpoints: Sequence[float],
    priors: Mapping[str, HalfT],
    lower_is_keener: bool = True,
) -> PoolCurves:
    """Curves of pools that all have these checkpoints and priors; no endpoint is asked about."""
    points = tuple(points)
    asked = AskedOfPool(tuple(checkpoints), priors, lower_is_keener)
    return all_answers(rows, points, {}, {point.pool: asked for point in points}).curves
