"""What numbers failed of is listed with its pool, its endpoint and the reason, and nothing else is."""

from dataclasses import replace

import numpy as np
import pytest
from pooling.test_headline import own_blades

from edgehold.numerics.attempt import NOT_FINITE, NOT_SETTLED, SINGULAR, NotFitted
from edgehold.pooling.crossed.runs_design import checked_runs
from edgehold.pooling.gather.all_answers import Answered
from edgehold.pooling.headline import unanswered
from edgehold.pooling.hierarchical import no_posterior
from edgehold.pooling.what_matters import what_matters
from edgehold.records.canonical import PoolKey
from edgehold.results.publish.not_fitted import of_answers
from edgehold.words import Reason
from edgehold.words.reason import code_of

POOL = PoolKey("small-rope", 1, "measured")


@pytest.fixture(scope="module")
def answered():
    labels = own_blades(people=2)
    values = np.zeros(len(labels["submission"]))
    headline = unanswered(Reason("headline.no_curvature"), checked_runs(values, values, labels))
    return Answered(POOL, "early", 0, 2, None, headline, what_matters(headline), {})


def test_each_of_an_answers_models_is_listed_by_itself(answered):
    failing = replace(
        answered,
        headline=replace(answered.headline, fit=no_posterior(NotFitted(SINGULAR), {}), hanging=NotFitted(NOT_FINITE)),
        linked_reason=NotFitted(NOT_SETTLED),
    )
    lines = [(pool, endpoint, code_of(what), code_of(why)) for pool, endpoint, what, why in of_answers([failing])]
    assert lines == [
        (POOL, "early", "published.hierarchical_model", SINGULAR),
        (POOL, "early", "published.linked_model", NOT_SETTLED),
        (POOL, "early", "published.hanging", NOT_FINITE),
    ]


def test_a_reason_that_is_no_failure_of_numbers_is_not_listed(answered):
    assert list(of_answers([replace(answered, linked_reason=Reason("headline.mode_not_found"))])) == []
