"""The evidence of every pair, submission by submission, for readers who choose among it in their browser: JSON beside the CSV files.

Nothing is new in it: all of it stands in the results, ``comparisons.csv`` and ``contributions.csv`` too. People are in it as the number
of the study that their submissions count in, and in no other way.
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from edgehold.results.model.answers import Answer
from edgehold.results.model.ratio import RatioInterval
from edgehold.results.model.results import Comparison, EndpointResult, Pool, Results, StudyLine, SubmissionResult

FOLDER = "explore"
NOT_IN_A_NAME = re.compile(r"[^A-Za-z0-9.-]+|\.{2,}|-{2,}")
LONGEST = 40  # characters of one side in a name
Compared = tuple[str, str, str]
"""What a comparison is of: factor, first, second."""


@dataclass(frozen=True)
class Evidence:
    """One pair of a pool of which some submission has a ratio.

    Attributes
    ----------
    pool : the pool.
    compared : factor, first and second.
    pool_id, pair_id : what they are called in an address; the same pair of the same pool in every build.
    """

    pool: Pool
    compared: Compared
    pool_id: str
    pair_id: str

    @property
    def file(self) -> str:
        """Name among the downloads."""
        return f"{FOLDER}/{self.pool_id}/{self.pair_id}.json"


def all_evidence(results: Results) -> tuple[Evidence, ...]:
    """Every pair of every pool that some submission has a ratio of, by pool, factor and names."""
    return tuple(one for pool in results.pools for one in evidence_of(pool))


def evidence_of(pool: Pool) -> Iterator[Evidence]:
    """The pairs of one pool that some submission has a ratio of, by factor and names."""
    told = {_compared(c) for e in pool.endpoints for c in e.pairwise if any(line.ln_variance is not None for line in c.lines)}
    met: dict[str, int] = {}
    for compared in sorted(told):
        name = _name(compared)
        met[name] = met.get(name, 0) + 1
        yield Evidence(pool, compared, f"{pool.protocol}-v{pool.major}-{pool.origin}", name if met[name] == 1 else f"{name}-{met[name]}")


def evidence_files(results: Results) -> dict[str, bytes]:
    """A JSON file for every pair, by its name among the downloads."""
    submissions = {s.id: s for s in results.submissions}
    return {one.file: _json(_pair(one, submissions)) for one in all_evidence(results)}


def draws() -> dict[str, object]:
    """The points that every prediction interval is drawn from, as ``site/pages/assets/explore/prediction.js`` takes them."""
    import numpy as np

    from edgehold.pooling.pairwise.prediction import point_digits  # here, for every build draws the same and finds them kept
    from edgehold.pooling.pairwise.random_effects import PREDICTION_SEED

    shifts, directions = point_digits(np.random.default_rng(PREDICTION_SEED))
    return {"shifts": list(shifts), "directions": [list(own) for own in directions]}


def _compared(of: Comparison | Answer) -> Compared:
    return of.factor, of.first, of.second


def _name(compared: Compared) -> str:
    """A pair's name in an address: a level's words are the protocol's and may hold anything."""
    factor, first, second = compared
    words = (NOT_IN_A_NAME.sub("-", word)[:LONGEST].strip(".-") or "other" for word in (first, second))
    return ("level-" if factor == "level" else "") + "-and-".join(words)


def _pair(of: Evidence, submissions: dict[str, SubmissionResult]) -> dict[str, object]:
    """One file: the submissions once, then every endpoint's figures in the same order."""
    pool, (factor, first, second) = of.pool, of.compared
    found = [(e, next((c for c in e.pairwise if _compared(c) == of.compared), None)) for e in pool.endpoints]
    asked = [(e, c) for e, c in found if c is not None]
    lines = {line.submission: line for _, c in asked for line in c.lines}
    ordered = sorted(lines.values(), key=lambda line: (line.cluster, line.submission))
    return {
        "pool": of.pool_id,
        "pair": of.pair_id,
        "origin": pool.origin,
        "protocol": pool.protocol,
        "factor": factor,
        "first": first,
        "second": second,
        "submissions": [_submission(line, submissions[line.submission]) for line in ordered],
        "endpoints": [_endpoint(e, c, [line.submission for line in ordered]) for e, c in asked],
    }


def _submission(line: StudyLine, submission: SubmissionResult) -> dict[str, object]:
    return {
        "id": line.submission,
        "study": line.cluster,
        "month": line.month,
        "version": submission.version,
        "interest": line.interest,
        "blinding": submission.blinding,
        "grade": 1 if submission.evidence is None else submission.evidence.grade,
    }


def _endpoint(endpoint: EndpointResult, comparison: Comparison, order: Iterable[str]) -> dict[str, object]:
    by_submission = {line.submission: line for line in comparison.lines}
    lines = [by_submission.get(name) for name in order]
    return {
        "id": endpoint.id,
        "title": endpoint.title,
        "role": endpoint.role,
        "kind": endpoint.kind,
        "primary": endpoint.primary,
        "worthwhile_ratio": endpoint.worthwhile_ratio,
        "variance_df": None if endpoint.repeatability is None else endpoint.repeatability.df,
        "ln_ratio": [line and line.ln_estimate if line is None or line.ln_variance is not None else None for line in lines],
        "ln_variance": [line and line.ln_variance for line in lines],
        "bound": [line and line.bound for line in lines],
        "published": _published(endpoint, _compared(comparison)),
        "by_studies": _ratio(comparison.result),
    }


def _published(endpoint: EndpointResult, compared: Compared) -> dict[str, object] | None:
    """The answer that stands: of the hierarchical model of all runs."""
    answer = next((one for one in endpoint.answers if _compared(one) == compared), None)
    return None if answer is None else {"sentence": answer.sentence, "result": _ratio(answer.result)}


def _ratio(result: RatioInterval | None) -> dict[str, object] | None:
    return None if result is None else {"ratio": result.ratio, "low": result.low, "high": result.high, "level": result.level}


def _json(plain: object) -> bytes:
    return f"{json.dumps(plain, ensure_ascii=False, separators=(',', ':'), allow_nan=False)}\n".encode()
