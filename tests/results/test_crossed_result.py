"""The model of all runs as it is published: no person, no number where there is to be none, ratios as the text says."""

import json
import math

import numpy as np
import pytest
from estimates.rows import POOL, make_protocols, make_row
from pooling.designs import TRUTH, labels_of_exchange, values_of

from edgehold.numerics.interval import Interval
from edgehold.pooling.crossed.runs_fit import Difference
from edgehold.pooling.crossed.within_submissions import WithinSubmissions
from edgehold.pooling.gather.all_runs import all_runs
from edgehold.pooling.run_labels import labels_of
from edgehold.records.model.protocol import EndpointRule
from edgehold.results.model.analyses import CrossedResult
from edgehold.results.publish.crossed import crossed_result
from edgehold.results.words.crossed import within_note
from edgehold.results.words.sentences import ratio_text
from edgehold.words import Reason, capital
from tests.words.says import says

PROTOCOL = next(iter(make_protocols().values())).record


def rule(kind: str) -> EndpointRule:
    return next(one for one in PROTOCOL.endpoints if one.kind == kind)


def rows_of(labels, values, endpoint):
    """Endpoint rows of invented runs; handles that no number or sentence could hold by chance."""
    rows = []
    for i, value in enumerate(values):
        facts = {name: column[i] for name, column in labels.items() if name != "version"}
        facts |= {role: f"handle-{facts[role]}" for role in ("sharpener", "tester")}
        own = facts["sharpener"] == facts["tester"]
        rows.append(make_row(value, i + 1, endpoint, version="2.0.0", own_sharpening=own, **facts))
    return rows


def published(labels, values, kind="level") -> CrossedResult:
    endpoint = rule(kind)
    found = all_runs(rows_of(labels, values, endpoint.id), {POOL: endpoint.id})[(POOL, endpoint.id)]
    return crossed_result(found, endpoint, "cut")


def spread(result, what):
    return next(one for one in result.spreads if one.what == what)


@pytest.fixture(scope="module")
def crossing():
    labels = labels_of_exchange(people=40, partners=4, blades=20)
    return published(labels, list(values_of(labels, 3)))


@pytest.fixture(scope="module")
def own_edges():
    labels = labels_of_exchange(people=10, partners=1, blades=6)
    return published(labels, list(values_of(labels, 0)))


def test_effects_of_people_never_leave(crossing, own_edges):
    assert "handle" not in crossing.model_dump_json() + own_edges.model_dump_json()


def test_run_to_run_stands_last_and_the_others_by_name(crossing):
    names = [one.what for one in crossing.spreads]
    assert names == [*sorted(names[:-1]), "run-to-run"]


def test_a_spread_is_shown_as_the_median_and_the_95_percent_point_of_pairs(crossing):
    """Of 400,000 drawn pairs, against the published factors."""
    told = spread(crossing, "tester")
    assert told.state == "given"
    pairs = np.abs(told.ln_sd * math.sqrt(2) * np.random.default_rng(0).standard_normal(400_000))
    assert told.typical_ratio == pytest.approx(math.exp(np.median(pairs)), rel=0.002)
    assert told.most_ratio == pytest.approx(math.exp(np.quantile(pairs, 0.95)), rel=0.004)
    assert (told.typical_low, told.typical_high) == (None, None), "no limits are computed in the path"
    typically = capital(Reason("all_runs.typically_tester"))
    assert says(told.sentence, "all_runs.given", typically=typically, typical=ratio_text(told.typical_ratio))


def test_shares_are_of_all_random_terms_together(crossing):
    given = [one for one in crossing.spreads if one.share_percent is not None]
    assert sum(one.share_percent for one in given) <= 100 + 1e-6
    a, b = given[0], given[-1]
    assert a.share_percent / b.share_percent == pytest.approx(a.ln_sd**2 / b.ln_sd**2, rel=1e-6)


def test_where_everybody_tests_their_own_edges_people_have_the_reason_and_no_number(own_edges):
    assert own_edges.state == "fitted"
    for what in ("sharpener", "tester"):
        told = spread(own_edges, what)
        numbers = (told.ln_sd, told.ln_sd_low, told.ln_sd_high, told.typical_ratio, told.typical_high, told.most_ratio, told.share_percent)
        assert told.state == "no number" and numbers == (None,) * 7
        assert told.reason and told.reason in told.sentence
    assert own_edges.own_sharpening is None
    assert own_edges.own_sharpening_note == Reason("crossed.all_own")
    assert says(own_edges.sentence, "all_runs.both_unknown")
    assert "×" not in own_edges.two_roles


def test_no_number_and_the_reason_where_the_split_is_weak():
    labels = labels_of_exchange(people=6, partners=2, blades=4)
    result = published(labels, list(values_of(labels, 2)))
    told = spread(result, "tester")
    numbers = (told.ln_sd, told.ln_sd_high, told.typical_ratio, told.typical_high, told.most_ratio, told.share_percent)
    assert (told.state, numbers) == ("no number", (None,) * 6) and told.reason
    unknown = Reason("all_runs.unknown", how_much=Reason("all_runs.how_much_tester"), reason=told.reason)
    assert told.sentence == unknown
    assert unknown in result.sentence or Reason("all_runs.both_unknown", reason=told.reason) in result.sentence
    assert not says(result.sentence, "all_runs.only_above")


def test_a_zero_is_a_zero_with_the_number_of_levels_beside_it():
    labels = labels_of_exchange(people=40, partners=4, blades=20)
    told = spread(published(labels, list(values_of(labels, 8, TRUTH | {"tester": 0.0}))), "tester")
    assert (told.state, told.ln_sd, told.typical_ratio, told.typical_high, told.levels) == ("given", 0.0, 1.0, None, 40)
    assert told.sentence == Reason("all_runs.no_sign", how_much=Reason("all_runs.how_much_tester"))


def test_every_pair_of_steels_stands_with_intervals_that_widen_from_left_to_right(crossing):
    assert [(one.first, one.second) for one in crossing.contrasts] == [("s1", "s2"), ("s1", "s3"), ("s2", "s3")]
    for one in crossing.contrasts:
        widths = [math.log(i.high / i.low) for i in (one.result, one.new_hands, one.new_hands_measured)]
        assert widths == sorted(widths)
        assert math.log(one.simultaneous.high / one.simultaneous.low) > widths[0]
        assert one.headline == "all runs" and one.within_note
    truth = math.exp(-0.3)
    assert crossing.contrasts[0].result.low < truth < crossing.contrasts[0].result.high


def test_lives_mostly_known_to_one_side_point_to_level_and_window():
    labels = labels_of_exchange(people=10, partners=1)
    y = values_of(labels, 0)
    values = [(value, math.inf) if i % 2 else value for i, value in enumerate(y)]
    result = published(labels, values, "life")
    assert (result.state, result.runs, result.one_sided, result.spreads) == ("not fitted", 30, 15, ())
    assert result.reason_code == "all_runs.sharpness_tells_more"
    assert says(result.reason, "crossed.one_sided_share", one_sided=15, runs=30)
    assert all(one.result is None for one in result.contrasts) and not result.converged


def test_runs_without_a_value_and_runs_of_two_testers_are_left_out_and_counted():
    labels = labels_of_exchange(people=8, partners=2)
    values = [None if i == 3 else value for i, value in enumerate(values_of(labels, 0))]
    rows = rows_of(labels, values, rule("level").id)
    rows[7] = make_row(rows[7].low, 8, rows[7].endpoint, **{name: getattr(rows[7], name) for name in labels if name != "version"},
                       split_tester=True)  # fmt: skip
    found = all_runs(rows, {})[(POOL, rule("level").id)]
    result = crossed_result(found, rule("level"), "cut")
    assert (result.runs, result.left_out) == (len(values) - 2, 2)


def test_an_endpoint_without_any_value_has_no_model():
    labels = labels_of_exchange(people=4, partners=1)
    assert all_runs(rows_of(labels, [None] * 12, rule("level").id), {}) == {}


def test_a_patch_is_no_version_of_its_own():
    rows = [make_row(1.0, 1, version="2.1.3"), make_row(1.0, 2, version="2.1.4"), make_row(1.0, 3, version="2.2.0")]
    assert labels_of(rows)["version"] == ["2.1", "2.1", "2.2"]


@pytest.mark.parametrize(("disagrees", "code"), [(True, "all_runs.within_disagree"), (False, "all_runs.within_agree")])
def test_a_departure_within_submissions_is_told_and_no_cause_is(disagrees, code):
    result = Difference(0.1, 0.1, 9.0, Interval(-0.1, 0.3, 0.95, "t"))
    note = within_note(WithinSubmissions("s1", "s2", result, "", 0.5, 0.1, False, disagrees))
    assert (note.code, note.arguments) == (code, {})


def test_practice_is_told_in_a_sentence_of_the_endpoint():
    labels = labels_of_exchange(24, 4, 8)
    gain = [0.6 * (s == "s1" and who == "practised") for s, who in zip(labels["steel"], labels["sharpening"], strict=True)]
    result = published(labels, list(values_of(labels, 2) + np.array(gain)))
    one = result.practice[0]
    assert one.ratio_of_ratios.ratio == pytest.approx(one.practised.ratio / one.novice.ratio, rel=1e-6)
    assert says(one.sentence, "all_runs.practice_matters", first=one.first, second=one.second)


def test_the_sharpeners_level_is_told_per_worthwhile_ratio_and_refused_with_its_reason(crossing):
    one = next(one for one in crossing.by_level if (one.first, one.second) == ("s1", "s2"))
    assert one.sharpeners == 40 and one.step == rule("level").worthwhile_ratio and 0 < one.reliability_percent < 100
    assert one.result.low < 1 < one.result.high  # none was put in
    assert says(one.sentence, "all_runs.level_open", first="s1", second="s2", ratio=ratio_text(one.result.ratio))
    labels = labels_of_exchange(people=6, partners=3, blades=4)
    few = published(labels, list(values_of(labels, 2))).by_level
    assert few and all(one.result is None and one.reason and one.reason in one.sentence and "×" not in one.sentence for one in few)


def test_every_number_is_one_that_json_can_hold(crossing, own_edges):
    for result in (crossing, own_edges):
        assert CrossedResult.model_validate_json(json.dumps(result.model_dump(mode="json"), allow_nan=False)) == result
