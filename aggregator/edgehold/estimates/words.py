"""What an estimate rests on, and why there is none, in plain words.

The page that answers in the browser says the same (it is handed these patterns).
"""

from __future__ import annotations

from collections.abc import Iterable

from edgehold.reasons import Reason, code_of

FACTORS = {
    "blade": "the blade",
    "steel": "the steel",
    "sharpener": "who sharpened",
    "practice": "who sharpened",
    "tester": "who tested",
    "evening": "the evening",
    "lot": "the lot of the medium",
    "edge part": "the part of the edge",
    "angle": "the edge angle",
}
MOVES_TOGETHER = {
    "together": "{factor} and {others} change together in these runs",
    "with_the_rest": "{factor} changes together with the rest of these runs",
}
REASONS = {
    "no_run": "no usable run of {names}",
    **{code: f"cannot be told apart: {pattern}" for code, pattern in MOVES_TOGETHER.items()},
    "bound": "{arms}: only a bound can be given",
    "no_bound": "{arms}: not even a bound can be given",
    "arms_censored": "every run of {names} is censored",
    "many_censored": "too many runs are censored",
}
METHODS = {
    "none": "not fitted: no usable run",
    "least_squares": "least squares",
    "weighted": "least squares weighted for unequal reading errors (REML)",
    "likelihood": "Gaussian likelihood with censored runs",
    "assumed": "run variance as the protocol assumes it, until there are pooled data",
    "no_replicates": "no replicates of its own: pooled run variance",
    "left_out": "too few runs per {blocks} to take its effect out",
    "own_variance": "its own run variance was {why}",
    "one_split": "1 run with two testers left out",
    "splits": "{runs} runs with two testers left out",
}
FROM_CENSORED_RUNS = frozenset({"bound", "no_bound", "arms_censored", "many_censored"})  # reasons that lie in how runs ended


def why_none(code: str, **arguments: str) -> Reason:
    """Why a contrast has no estimate."""
    return Reason(code, REASONS[code], **arguments)


def left_out(blocks: Iterable[str]) -> str:
    """That too few runs share what is named for its effect to be taken out."""
    return METHODS["left_out"].format(blocks=" and ".join(blocks))


def moves_together(why: str) -> str:
    """What changes together, where that is the reason; empty for every other reason."""
    pattern = MOVES_TOGETHER.get(code_of(why), "")
    return pattern.format(**why.arguments) if isinstance(why, Reason) else ""
