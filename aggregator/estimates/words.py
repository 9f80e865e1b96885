"""What an estimate rests on, and why there is none, in plain words.

The page that answers in the browser says the same (it is handed these patterns).
"""

from __future__ import annotations

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
REASONS = {
    "no_run": "no usable run of {names}",
    "together": "cannot be told apart: {factor} and {others} change together in these runs",
    "with_the_rest": "cannot be told apart: {factor} changes together with the rest of these runs",
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
