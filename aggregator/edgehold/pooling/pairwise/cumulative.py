"""How one pooled contrast built up: the random-effects fit of everything tested by the end of each month (Lau et al. 1992).

Lau, J., Antman, E. M., Jimenez-Silva, J., Kupelnick, B., Mosteller, F. & Chalmers, T. C. (1992). Cumulative meta-analysis of
therapeutic trials for myocardial infarction. New England Journal of Medicine 327, 248-254.
"""

from __future__ import annotations

from dataclasses import dataclass

from .random_effects import StudiesPooled
from .studies import Lines, pool_lines


@dataclass(frozen=True, eq=False)
class Cumulative:
    """What stood at the end of one month.

    Attributes
    ----------
    month : of the tests, as written in the files.
    submissions, studies : that had a two-sided contrast by then.
    fit : of the studies; None where they were fewer than three or its numbers failed.
    """

    month: str
    submissions: int
    studies: int
    fit: StudiesPooled | None


def cumulative(lines: Lines) -> tuple[Cumulative, ...]:
    """The lines pooled anew at the end of each month that brought one, oldest first; the last is the fit of all of them.

    Sampling variances and who counts as one study are those of all lines, not what was known at the time: the course shows how the
    pooled ratio depends on how much is pooled, and nothing else.
    """
    usable = lines.usable
    months = {index: lines.pairs[index][0].month for index in usable}
    found = []
    for month in sorted(set(months.values())):
        chosen = [index for index in usable if months[index] <= month]
        pooled = pool_lines(lines, chosen, whole=False)
        found.append(Cumulative(month, len(chosen), len(pooled.numbers), pooled.fit))
    return tuple(found)
