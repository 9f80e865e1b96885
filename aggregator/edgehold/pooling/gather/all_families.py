"""Families of steels held against each other, an endpoint of a pool at a time."""

from __future__ import annotations

from collections.abc import Mapping

from edgehold.numerics.attempt import attempt
from edgehold.pooling.families import Families, FamiliesEstimated, families, unfitted
from edgehold.pooling.headline import Headline, HeadlineFitted
from edgehold.records.canonical import Repository


def family_of_steels(repository: Repository) -> dict[str, str]:
    """Alloy group of every steel and class of steels that is registered."""
    return {name: entry.family for name, entry in repository.steels.by_id.items()}


def families_of(headline: Headline, family_of: Mapping[str, str], worthwhile: float) -> Families | None:
    """Every two families of an endpoint; None where its steels have no posterior.

    Parameters
    ----------
    headline : with its posterior.
    family_of : family of every known steel.
    worthwhile : smallest ratio worth acting on.
    """
    if not isinstance(headline, HeadlineFitted):
        return None
    return attempt(
        lambda: families(headline, family_of, worthwhile),
        unfitted,
        lambda found: [
            *(pair.posterior.mixture.means for pair in found.pairs if isinstance(pair, FamiliesEstimated)),
            *((found.prior.df, found.prior.scale) if found.prior is not None else ()),
        ],
    )
