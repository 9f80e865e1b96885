"""What the program itself says of a selection of submissions: its own pooling, asked with nothing but what the explorer is handed."""

from __future__ import annotations

import itertools
import math
from typing import Any
from urllib.parse import parse_qs

from edgehold.estimates import Contrast, ContrastEstimated, ContrastNotEstimable
from edgehold.estimates.verdict import verdict_of
from edgehold.numerics.interval import Interval
from edgehold.pooling import leave_one_out
from edgehold.pooling.pairwise.studies import Lines, pool_lines

INTERESTED = {"maker", "seller"}


def kept(pair: dict[str, Any], endpoint: dict[str, Any], query: str) -> list[int]:
    """Places of the submissions that an address keeps and that have a ratio."""
    asked = {name: values[0] for name, values in parse_qs(query).items()}

    def named(name: str) -> set[str]:
        return set(filter(None, asked.get(name, "").split(",")))

    def stays(one: dict[str, Any]) -> bool:
        return not (
            one["id"] in named("leave")
            or str(one["study"]) in named("studies")
            or one["version"] in named("versions")
            or (asked.get("interest") == "out" and one["interest"] in INTERESTED)
            or (asked.get("blind") == "only" and one["blinding"] != "every run")
            or one["grade"] < int(asked.get("grade", 0))
            or one["month"] < asked.get("from", "")
            or one["month"] > asked.get("to", "9999-12")
        )

    return [i for i, one in enumerate(pair["submissions"]) if endpoint["ln_variance"][i] is not None and stays(one)]


def answer(pair: dict[str, Any], endpoint: dict[str, Any], query: str) -> dict[str, Any]:
    """Every figure that the explorer shows of a selection."""
    chosen = kept(pair, endpoint, query)
    lines = _lines(pair, endpoint)
    pooled = pool_lines(lines, chosen)
    return {
        "kept": [pair["submissions"][i]["id"] for i in chosen],
        "studies": pooled.numbers.tolist(),
        "fit": _fit(pooled.fit),
        "within": pooled.tau2_within,
        "weights": None if pooled.fit is None else _weights(pooled, [lines.studies[i] for i in chosen]),
        "spread": None if pooled.fit is None else _spread(pooled.fit),
        "prediction": None if pooled.fit is None else [pooled.fit.prediction.low, pooled.fit.prediction.high],
        "without": None if pooled.fit is None else [_fit(one) for one in leave_one_out(pooled.y, pooled.v)],
        "months": list(_months(pair, lines, chosen)),
    }


def _lines(pair: dict[str, Any], endpoint: dict[str, Any]) -> Lines:
    contrasts = tuple((None, _contrast(y)) for y in endpoint["ln_ratio"])
    df = math.inf if endpoint["variance_df"] is None else endpoint["variance_df"]
    return Lines(contrasts, tuple(one["study"] for one in pair["submissions"]), tuple(endpoint["ln_variance"]), df)  # type: ignore[arg-type]


def _contrast(y: float | None) -> Contrast:
    """A contrast of which pooling asks no more than its estimate."""
    if y is None:
        return ContrastNotEstimable("steel", "a", "b", None, 1, 1, 1, 1, "not known")
    return ContrastEstimated(
        "steel", "a", "b", None, 1, 1, 1, 1, y, 0.1, 9.0, Interval(y, y, 0.95, "t"), 1.0, verdict_of(y, 0.1, 9.0, 1.25)
    )


def _fit(fit: Any) -> dict[str, Any] | None:
    if fit is None:
        return None
    ends = fit.intervals[0] if fit.intervals else None
    return {
        "estimate": float(fit.coefficients[0]),
        "se": float(fit.standard_errors[0]),
        "low": ends and ends.low,
        "high": ends and ends.high,
        "tau2": fit.tau2,
    }


def _weights(pooled: Any, studies: list[int]) -> list[float]:
    of_studies = 1 / (pooled.v + pooled.fit.tau2)
    share = dict(zip(pooled.numbers.tolist(), of_studies / of_studies.sum(), strict=True))
    return [float(own * share[n]) for own, n in zip(pooled.shares, studies, strict=True)]


def _spread(fit: Any) -> dict[str, Any]:
    told = fit.tau2_interval.high > 0
    ends = {"tau2Low": fit.tau2_interval.low, "tau2High": fit.tau2_interval.high} if told else {"tau2Low": None, "tau2High": None}
    return {"q": fit.q, "qP": fit.q_p, "i2": fit.i2, **ends}


def _months(pair: dict[str, Any], lines: Lines, chosen: list[int]) -> Any:
    def month(i: int) -> str:
        return str(pair["submissions"][i]["month"])

    for last, _ in itertools.groupby(sorted(chosen, key=month), key=month):
        known = [i for i in chosen if month(i) <= last]
        pooled = pool_lines(lines, known, whole=False)
        yield {"month": last, "submissions": len(known), "studies": len(pooled.numbers), "fit": _fit(pooled.fit)}
