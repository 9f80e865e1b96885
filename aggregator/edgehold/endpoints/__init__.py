"""Stage 2. Records enter; one row a run and endpoint leaves, and the points of every curve.

Pydantic stops here: from here on there are arrays and labels. Nothing is compared between runs in this stage, and
nothing is dropped: a row that has no value carries the reason.

``rows``      what leaves the stage
``readings``  keenness of one reading, what censors it, how well it was read
``curve``     the work axis; levels, windows and losses as straight-line functions of the readings
``draws``     normal deviates that every machine draws alike
``life``      life to a threshold, and between passes and fails
``runs``      canonical runs as curves
``values``    the protocol's endpoints of one run
``flags``     what to look at twice
``moderators``  what else was different about a run, for probes
``references``  reference edges and known weights
``words``     what is said of all this
``collect``   the glue
"""

from .collect import curve_points, endpoint_rows
from .references import beside_runs
from .rows import CurvePoint, EndpointRow

__all__ = ["CurvePoint", "EndpointRow", "beside_runs", "curve_points", "endpoint_rows"]
