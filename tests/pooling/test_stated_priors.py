"""Priors that a protocol states itself: they are used, named beside the answers, and refused by name where there is no such spread."""

import json

import numpy as np
import pytest
from pydantic import ValidationError

from edgehold.everything import find_everything
from edgehold.pipeline import read
from edgehold.pooling.gather.of_protocols import spread_priors_of
from edgehold.pooling.spread_priors import priors_for
from edgehold.records.model.protocol import EndpointRule
from edgehold.results.publish.assemble import assemble
from tests.whole_path.repositories import level_endpoint, protocol_text, run, submission, write_repository

STATED = {"blade": {"scale": 0.02, "df": 30, "source": "blades cut from one plate"}}


def rule_of(**changes) -> EndpointRule:
    return EndpointRule.model_validate_json(json.dumps(level_endpoint(20) | changes))


def test_a_stated_prior_stands_beside_the_defaults_scaled_to_the_assumed_repeatability():
    plain, stated = spread_priors_of(rule_of()), spread_priors_of(rule_of(assumed_spreads=STATED))
    assert plain == priors_for(0.25, "made up for a test")
    assert (stated["blade"].scale, stated["blade"].df, stated["blade"].source) == (0.02, 30, "blades cut from one plate")
    assert {name: one for name, one in stated.items() if name != "blade"} == {name: one for name, one in plain.items() if name != "blade"}


@pytest.mark.parametrize(
    "spread", [{"knife": STATED["blade"]}, {"blade": STATED["blade"] | {"scale": 0}}, {"blade": {"scale": 0.1, "df": 4}}],
    ids=["no such spread", "no width", "no source"],
)  # fmt: skip
def test_a_prior_that_is_none_is_refused(spread):
    with pytest.raises(ValidationError, match="assumed_spreads"):
        rule_of(assumed_spreads=spread)


def published(root, **changes):
    """What is published of two steels, a blade each person, four people: the general ratio's width and the priors named."""
    chance, sent = np.random.default_rng(3), []
    for number in range(4):
        who = f"auk-{number}"
        blades = [{"key": f"{who}.{key}", "steel": {"designation": steel}, "edge": "plain"} for key, steel in (("a", "1095"), ("b", "O1"))]
        runs = [
            run(
                n + 1,
                blades[n % 2]["key"],
                who,
                [(w, [round(float(np.exp(0.6 + 0.02 * w + chance.normal(0, 0.1))), 3)]) for w in (0, 10, 20)],
            )
            for n in range(4)
        ]
        sent.append(submission(f"evening-{number}", [who], blades, runs, month=f"2026-0{number + 1}"))
    text = protocol_text(endpoints=[level_endpoint(20) | changes], early_checkpoint=10, late_checkpoint=40)
    results = assemble(find_everything(read(write_repository(root, text, sent))))
    (endpoint,) = results.pools[0].endpoints
    return endpoint.steels[0].result, {one.what: one for one in endpoint.model.priors}


def test_the_model_takes_them_and_the_results_name_them(tmp_path):
    wide, plain = published(tmp_path / "plain")
    narrow, stated = published(tmp_path / "stated", assumed_spreads=STATED | {"steel_sharpener": dict(STATED["blade"])})
    assert narrow.high / narrow.low < wide.high / wide.low
    (named,) = [one for one in stated.values() if STATED["blade"]["source"] in one.source]
    assert "blade" in named.what and not [one for one in plain.values() if STATED["blade"]["source"] in one.source]
