"""Stage 3. The rows of one submission enter; contrasts, their covariance and degrees of freedom leave.

Nothing of other submissions enters here but the repeatability table. What cannot be told apart is a result with its
reason, never an exception.

``results``        what leaves the stage
``design``         the additive model, the contrasts asked of it, why some cannot be told
``least_squares``  the fit where every run is exact; unequal reading errors; lack of fit
``censored``       the Gaussian likelihood where some are not
``profile``        its intervals
``own_variance``   one submission's run variance by itself
``repeatability``  the table over all submissions, and moderation by it
``verdict``        an interval against the worthwhile ratio
``words``          what is said of all this
``submissions``    the glue
"""

from .repeatability import Repeatability, RepeatabilityTable, repeatability_table
from .results import Contrast, ContrastBounded, ContrastEstimated, ContrastNotEstimable, OneSided, SubmissionEstimate, Verdict
from .submissions import estimate_submissions

__all__ = [
    "Contrast",
    "ContrastBounded",
    "ContrastEstimated",
    "ContrastNotEstimable",
    "OneSided",
    "Repeatability",
    "RepeatabilityTable",
    "SubmissionEstimate",
    "Verdict",
    "estimate_submissions",
    "repeatability_table",
]
