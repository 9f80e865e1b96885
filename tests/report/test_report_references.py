"""What a report says of own reference edges and known weights, against the plain arithmetic of the file."""

import json
import math
from pathlib import Path

import numpy as np
import pytest

from edgehold.pages.safe_text import plain as safe
from edgehold.records.model.submission import Submission
from edgehold.report.assemble import report_json, report_on
from edgehold.report.opening import open_submission
from edgehold.report.page import report_html
from edgehold.report.plain import references_told
from edgehold.report.references import own_references
from edgehold.report.table import table_used
from edgehold.results.model.references import ReferenceSpread, ReferencesResult
from tests.words.says import says

ROOT = Path(__file__).parents[2]
FILE = ROOT / "submissions/simulated/life-on-card/gannet-2026-10-c21.json"  # every figure of it in gf, all on the scale


class Built:
    """As much of the last build as a report on references asks."""

    def __init__(self, references):
        self.pools = (type("Pool", (), {"protocol": "life-on-card", "major": 2, "origin": "simulated", "references": references}),)


def repeats(segment, weight):
    """A pool in which edges and weighings repeat so well."""
    facts = {"typical_ratio": 1.1, "typical_low": 1.0, "typical_high": 1.2, "most_ratio": 1.3, "from_prior_percent": 20.0, "levels": 9}
    spreads = tuple(ReferenceSpread(what=what, ln_sd=sd, sentence="", **facts) for what, sd in (("segment", segment), ("weight", weight)))
    nothing = {"wear": None, "drift": None, "sentences": (), "reason": "", "state": "fitted"}
    counts = dict.fromkeys(("edges", "readings", "evenings", "rigs", "packs", "lots", "weights", "scales"), 9)
    return Built(ReferencesResult(spreads=spreads, **nothing, **counts))


def told(results=None, change=None):
    opened = open_submission(ROOT, str(FILE))
    record = opened.record if change is None else Submission.model_validate_json(json.dumps(change(json.loads(FILE.read_text()))))
    return {one.what: one for one in own_references(record, opened.protocol.record, results)}


def keenness():
    """−mean ln of the repeats, by when and work."""
    record = json.loads(FILE.read_text())
    return {
        (edge["when"], float(reading["work"]) > 0): [-math.log(float(v["written"])) for v in reading["values"]]
        for edge in record["references"]
        for reading in edge["readings"]
    }


def test_the_figures_are_those_of_the_file():
    read, found = {key: np.mean(values) for key, values in keenness().items()}, told()
    drift = np.mean([read["end", after] - read["start", after] for after in (False, True)])
    wear = np.mean([read[when, True] - read[when, False] for when in ("start", "end")])
    weights = [float(w["read"]["written"]) / float(w["known"]["written"]) for w in json.loads(FILE.read_text())["weights"]]
    assert found["drift"].ratio == pytest.approx(math.exp(drift)) and found["wear"].ratio == pytest.approx(math.exp(wear))
    assert found["scale"].ratio == pytest.approx(math.exp(np.mean(np.log(weights))))
    assert says(found["scale"].sentence, "report.reference_scale_high", weights=2)


def test_widths_come_from_how_well_the_pools_references_repeat():
    found = told(repeats(segment=0.08, weight=0.02))
    within = np.mean([np.var(values, ddof=1) for values in keenness().values()])  # two repeats each
    sd = math.sqrt(2 * (0.08**2 + within / 2 / 2))
    assert math.log(found["drift"].high / found["drift"].low) == pytest.approx(2 * 1.96 * sd, rel=1e-4)
    assert math.log(found["scale"].high / found["scale"].low) == pytest.approx(2 * 1.96 * 0.02 / math.sqrt(2), rel=1e-4)
    assert all(says(one.sentence, "report.reference_width") for one in found.values())


def test_without_a_pool_drift_and_scale_have_no_width_and_say_so():
    found = told()
    assert found["drift"].low is None and found["scale"].high is None and found["wear"].low is not None
    assert says(found["drift"].sentence, "report.reference_no_width")


def test_one_edge_alone_shows_wear_and_no_drift():
    found = told(change=lambda record: record | {"references": record["references"][:1], "weights": None})
    assert set(found) == {"wear"} and found["wear"].count == 1


def test_without_references_nothing_is_said():
    assert told(change=lambda record: record | {"references": None, "weights": None}) == {}


def test_the_page_carries_the_same_sentences_as_the_text():
    opened = open_submission(ROOT, str(FILE))
    report = report_on(opened, table_used(ROOT, opened.record, opened.protocol.record))
    assert len(report.references) == 3
    assert all(str(safe(sentence)) in report_html(report) for sentence in references_told(report))
    assert [one["what"] for one in json.loads(report_json(report))["references"]] == ["drift", "wear", "scale"]
