"""Stage 3. The rows of one submission enter; contrasts, their covariance and degrees of freedom leave.

Nothing of other submissions enters here but the repeatability table. What cannot be told apart is a result with its
reason, never an exception.
"""

from .repeatability import Repeatability, RepeatabilityTable, repeatability_table
from .results import Contrast, OneSided, SubmissionEstimate, Verdict
from .submissions import estimate_submissions

__all__ = [
    "Contrast",
    "OneSided",
    "Repeatability",
    "RepeatabilityTable",
    "SubmissionEstimate",
    "Verdict",
    "estimate_submissions",
    "repeatability_table",
]
