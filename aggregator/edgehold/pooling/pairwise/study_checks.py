"""How far one pooled comparison leans on single studies, on symmetry of its funnel and on studies being independent.

The arithmetic is in ``influence``, ``small_study``, ``trim_and_fill`` and ``cluster_robust``; this module only asks them. The symbols
are those of ``edgehold.pooling``. None of the answers changes the pooled result.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from edgehold.numerics.arrays import Array
from edgehold.words import Reason

from .cluster_robust import ClusterRobust, cluster_robust
from .influence import Influence, NoInfluence, influence, leave_one_out
from .random_effects import RandomEffectsFit, StudiesPooled
from .small_study import SmallStudyTest, small_study_test
from .trim_and_fill import TrimAndFill, trim_and_fill


@dataclass(frozen=True, eq=False)
class StudyChecks:
    """What was asked of one pooled comparison.

    Attributes
    ----------
    numbers : of the studies, in the order of the next two.
    influence, without : what each study does to the fit, and the fit without it.
    most : place of the study without which the pooled contrast moves furthest; None where none can be left out.
    small_studies : whether small studies tell another story; refused below ten studies.
    filled : the funnel made symmetric; refused below ten studies.
    by_people : the same pooled contrast with a covariance from clusters of studies; its interval is withheld below ten clusters.
    """

    numbers: tuple[int, ...]
    influence: tuple[Influence | NoInfluence, ...]
    without: tuple[RandomEffectsFit | Reason, ...]
    most: int | None
    small_studies: SmallStudyTest | Reason
    filled: TrimAndFill | Reason
    by_people: ClusterRobust


def study_checks(
    y: Array, v: Array, numbers: Sequence[int], clusters: Sequence[int], fit: StudiesPooled, v_df: float | None
) -> StudyChecks:
    """Ask everything that can be asked of the studies of one comparison.

    Parameters
    ----------
    y, v, numbers : (k,) contrasts, sampling variances and numbers of the studies.
    clusters : (k,) which studies share a person or a blade.
    fit : of all studies.
    v_df : degrees of freedom of the common repeatability, as ``fit`` was given.
    """
    without = leave_one_out(y, v, v_df=v_df)
    moved = [0.0 if isinstance(one, Reason) else abs(float(one.coefficients[0] - fit.coefficients[0])) for one in without]
    return StudyChecks(
        numbers=tuple(int(n) for n in numbers),
        influence=influence(y, v),
        without=without,
        most=int(np.argmax(moved)) if any(not isinstance(one, Reason) for one in without) else None,
        small_studies=small_study_test(y, v),
        filled=trim_and_fill(y, v),
        by_people=cluster_robust(y, v, list(clusters), tau2=fit.tau2),
    )
