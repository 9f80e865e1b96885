"""Families of steels held against each other, a pool and endpoint at a time."""

from __future__ import annotations

from collections.abc import Mapping

from edgehold.numerics.attempt import attempt
from edgehold.pooling.families import Families, families, unfitted
from edgehold.records.canonical import Repository

from .all_answers import Answered, Key

FITTED = "fitted"


def family_of_steels(repository: Repository) -> dict[str, str]:
    """Alloy group of every steel and class of steels that is registered."""
    return {name: entry.family for name, entry in repository.steels.by_id.items()}


def all_families(answers: Mapping[Key, Answered], family_of: Mapping[str, str], worthwhile: Mapping[Key, float]) -> dict[Key, Families]:
    """Every two families of every pool and endpoint whose steels have a posterior.

    Parameters
    ----------
    answers : with their posteriors.
    family_of : family of every known steel.
    worthwhile : smallest ratio worth acting on.
    """
    return {key: _families(one, family_of, worthwhile[key]) for key, one in answers.items() if one.headline.state == FITTED}


def _families(one: Answered, family_of: Mapping[str, str], worthwhile: float) -> Families:
    return attempt(
        lambda: families(one.headline, family_of, worthwhile),
        unfitted,
        lambda found: [
            *(pair.posterior.mixture.means for pair in found.pairs if pair.posterior is not None),
            *((found.prior.df, found.prior.scale) if found.prior is not None else ()),
        ],
    )
