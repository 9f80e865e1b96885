"""Stage 2. Records enter; one row a run and endpoint leaves, and the points of every curve.

Pydantic stops here: from here on there are arrays and labels. Nothing is compared between runs in this stage, and
nothing is dropped: a row that has no value carries the reason.
"""

from .collect import curve_points, endpoint_rows
from .rows import CurvePoint, EndpointRow

__all__ = ["CurvePoint", "EndpointRow", "curve_points", "endpoint_rows"]
