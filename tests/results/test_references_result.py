"""What is published of reference edges and known weights: figures of the posterior, sentences that say so, and nothing of single rigs."""

import math
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from edgehold.pooling.curves.curves import curves_asked, read_pool
from edgehold.pooling.curves.shown import shown_by_references
from edgehold.pooling.gather.references import references_of
from edgehold.results.model.ratio import ratio_interval
from edgehold.results.publish.assemble import _through_references, _told_apart
from edgehold.results.publish.references import references_result
from edgehold.results.words.answers import answer_sentence
from edgehold.words import Reason
from tests.pooling.test_references import PRIORS, published
from tests.simulation.reference_coverage import STEELS, WORKS, ReferenceDesign, draw
from tests.words.says import says

DRAWN = draw(ReferenceDesign("published", tables=10, lots=5), 4)


@pytest.fixture(scope="module")
def fitted():
    read = read_pool(DRAWN.points, DRAWN.rows, WORKS, True)
    model = curves_asked(read, WORKS, PRIORS, references_of(read.keys, DRAWN.rows, DRAWN.beside)).model
    return model, model.fitted(())


def test_what_is_counted_is_what_was_read(fitted):
    found = references_result(shown_by_references(*fitted), "m")
    assert (found.edges, found.readings, found.evenings, found.rigs, found.packs, found.lots) == (20, 40, 10, 10, 2, 5)
    assert (found.weights, found.scales) == (20, 10)
    assert [row.what for row in found.spreads] == ["rig", "scale", "drift", "lot", "pack", "segment", "weight"]
    assert {row.what: row.levels for row in found.spreads} == {
        "rig": 10, "scale": 10, "drift": 10, "lot": 5, "pack": 2, "segment": 20, "weight": 20,
    }  # fmt: skip


def test_wear_is_what_is_left_and_drift_what_the_end_reads_beside_the_start(fitted):
    """Against plain means of the same edges, which lie within the posterior's interval and near its middle: the design is balanced."""
    found = references_result(shown_by_references(*fitted), "m")
    edges = DRAWN.beside.edges
    mean = {key: np.mean([e.low for e in edges if (e.when, e.work) == key]) for key in {(e.when, e.work) for e in edges}}
    wear = np.mean([mean[when, 1.0] - mean[when, 0.0] for when in ("start", "end")])
    drift = np.mean([mean["end", work] - mean["start", work] for work in (0.0, 1.0)])
    assert found.wear.low < math.exp(wear) < found.wear.high and found.wear.ratio == pytest.approx(math.exp(wear), rel=0.06)
    assert found.drift.low < math.exp(drift) < found.drift.high
    assert found.wear.low < found.wear.ratio < found.wear.high < 1


def test_each_figure_has_its_sentence_and_the_prior_is_called_so(fitted):
    found = references_result(shown_by_references(*fitted), "m")
    assert says(found.sentences[0], "references.read") and says(found.sentences[1], "references.wear")
    assert says(found.sentences[2], "references.drift")
    codes = {"drift": "drift_apart"}
    for row in found.spreads:
        assert says(row.sentence, f"references.{codes.get(row.what, row.what)}")
        assert says(row.sentence, "references.mostly_prior") == (row.from_prior_percent >= 80)
    assert "person-" not in found.model_dump_json() and "file-" not in found.model_dump_json()


def test_without_a_posterior_the_reason_stands_there(fitted):
    model, _ = fitted
    found = references_result(shown_by_references(model, Reason("headline.mode_not_found")), "m")
    assert (found.state, found.reason_code, found.wear, found.spreads) == ("not fitted", "headline.mode_not_found", None, ())
    assert says(found.sentences[1], "references.no_figures")


def test_without_references_nothing_is_published():
    assert references_result(None, "m") is None


def test_an_answer_through_references_says_so_and_no_other_does():
    one = published(DRAWN).pair(*STEELS)
    assert one.evidence == "reference"
    made = answer_sentence("After 8 m", one, "level", _ratio(one.posterior), None)
    assert says(made, "model_answer.through_reference")
    linked = answer_sentence("After 8 m", replace(one, evidence="linked"), "level", _ratio(one.posterior), None)
    assert not says(linked, "model_answer.through_reference")


def _ratio(posterior):
    return ratio_interval(posterior.quantile(0.5), posterior.interval)


def test_what_the_runs_cannot_tell_apart_says_which_pairs_references_link():
    told = published(DRAWN)
    with_references = _told_apart(told.apart, _through_references(_endpoint(told)))
    steel = next(one for one in with_references if one.what == "steel")
    assert says(steel.sentence, "references.linked_pairs", pairs=1) and steel.verdict == "no"
    assert not any(says(one.sentence, "references.linked_pairs") for one in with_references if one.what != "steel")
    assert _through_references(_endpoint(None)) == ""


def _endpoint(told):
    """As much of an endpoint as is asked: its answers."""
    return SimpleNamespace(steels=() if told is None else told.pairs)
