"""Questions to whoever merges a request: what invented numbers would look like, and honest ones hardly ever do.

Beside the path: nothing here is a finding, stops a request, or stands on a page. A screen compares the readings of a new submission with
those of all others of its pool and says what it finds unlikely; people then ask the sender. How often each asks about honest files, and
how often about six ways of inventing, stands in ``tests/simulation/screens.md``.

================  =============================================================================================================
``readings``      the readings of a repository as arrays
``copies``        two runs that share too many readings: equal, shifted by one amount, or in one ratio
``spreads``       repeats closer together, or a course smoother, than reading allows
``digits``        last digits that no instrument gives
``circumstances`` evenings too full, values finer than the instrument, references unlike all others, many new handles at once
================  =============================================================================================================
"""

from .questions import Asked, questions

__all__ = ["Asked", "questions"]
