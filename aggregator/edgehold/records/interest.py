"""Who has an interest in what a submission finds."""

from __future__ import annotations

from .canonical import Repository
from .model.submission import Submission

INTERESTS = ("none", "owner", "maker", "seller")  # weakest first


def interest_of(record: Submission) -> str:
    """Strongest interest that anybody named has in a blade; "not stated" where nothing is said."""
    stated = [i.interest for blade in record.blades for i in (blade.interest or ())]
    return max(stated, key=INTERESTS.index) if stated else "not stated"


def interested_submissions(repository: Repository) -> frozenset[str]:
    """Submissions in which somebody makes or sells a blade."""
    return frozenset(s.record.id for s in repository.submissions if interest_of(s.record) in ("maker", "seller"))
