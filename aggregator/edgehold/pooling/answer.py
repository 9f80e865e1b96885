"""What all runs of one endpoint say of one comparison: an estimate, or why there is none."""

from __future__ import annotations

from dataclasses import dataclass

from edgehold.numerics.interval import Interval

from .hierarchical import ContrastPosterior
from .posterior_verdict import PosteriorVerdict

Compared = tuple[str, str, str]
"""What is compared: factor, first, second."""
STEELS, BLADES, CLASSES, SHARPENERS, LEVELS, TABLES = "steels", "blades", "classes", "sharpeners", "levels", "tables"
SINGLE = (BLADES, SHARPENERS, TABLES)  # what an answer is about where one of the two was met as a single one


@dataclass(frozen=True, eq=False)
class _Two:
    """What an answer is about, whether it is estimated or not.

    Attributes
    ----------
    factor : ``"steel"``, ``"practice"`` or ``"level"``.
    first, second : the difference is first minus second, on the ln scale.
    about : ``"steels"``, or ``"blades"`` where one of them is a single blade; for practice ``"classes"``, or ``"sharpeners"``; for levels
        ``"levels"``, or ``"tables"`` where one of them was met in a single submission.
    units_first, units_second : blades, sharpeners or submissions of each.
    """

    factor: str
    first: str
    second: str
    about: str
    units_first: int
    units_second: int

    @property
    def compared(self) -> Compared:
        """What is compared."""
        return self.factor, self.first, self.second


@dataclass(frozen=True, eq=False)
class NotEstimable(_Two):
    """A comparison without an answer.

    Attributes
    ----------
    reason : why there is none.
    """

    reason: str


@dataclass(frozen=True, eq=False)
class Estimated(_Two):
    """A comparison with an answer.

    Attributes
    ----------
    weak : what weakens it, such as few comparisons across people; empty where nothing does.
    posterior : of what it is about.
    verdict : of steels, classes or levels; None for single blades, sharpeners or tables.
    general : where it is about blades (sharpeners, tables), the posterior for the steels (classes, levels) themselves; else ``posterior``.
    new_hands : posterior for new blades in new hands.
    new_hands_measured : for what they would read with ``headline.RUNS`` runs on each.
    halved, doubled : interval with the scales of all priors halved and doubled; None where it was not asked for or not fitted.
    evidence : ``"direct"`` where runs of both stand in one submission, ``"linked"`` through others, or ``"both"``; ``"reference"`` where
        nothing but reference edges links them.
    direct_share : share of the information that comes from submissions that hold both, between 0 and 1.
    """

    weak: str
    posterior: ContrastPosterior
    verdict: PosteriorVerdict | None
    general: ContrastPosterior
    new_hands: ContrastPosterior
    new_hands_measured: ContrastPosterior
    halved: Interval | None
    doubled: Interval | None
    evidence: str
    direct_share: float

    @property
    def estimate(self) -> float:
        """Median of the posterior, ln scale."""
        return self.posterior.quantile(0.5)

    @property
    def interval(self) -> Interval:
        """Interval of the posterior."""
        return self.posterior.interval


Answer = Estimated | NotEstimable
