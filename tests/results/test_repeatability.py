"""The published repeatability table: read back it is the table, its hash is its own, a form gets what its protocol needs."""

import hashlib
import json
import math
from pathlib import Path

import jsonschema
import numpy as np
import pytest
import rfc8785
from estimates.rows import POOL, make_protocols, make_rows
from scipy.stats import norm

from edgehold.endpoints import endpoint_rows
from edgehold.endpoints.rows import EndpointRow
from edgehold.estimates import RepeatabilityTable, repeatability_table
from edgehold.records import load_repository
from edgehold.records.canonical import Repository
from edgehold.results.model.repeatability import PublishedRepeatability
from edgehold.results.publish.repeatability import form_repeatability, publish, read_published, read_table
from edgehold.results.publish.repeatability_file import repeatability_json

SCHEMA = Path(__file__).parents[2] / "schemas" / "repeatability" / "1.1.0.json"
SPREADS = (0.02, 0.05, 0.1, 0.3, 0.6)  # of five submissions that evidently differ


def replicates(spreads=SPREADS, endpoint="early") -> list[EndpointRow]:
    rows = []
    for i, spread in enumerate(spreads):
        values = [spread, -spread, 1 + spread, 1 - spread]
        rows += make_rows(values, submission=f"s{i}", endpoint=endpoint, blade=["wren.galley"] * 2 + ["wren.other"] * 2)
    return rows


def published(rows, protocols) -> tuple[RepeatabilityTable, PublishedRepeatability]:
    table = repeatability_table(rows, protocols)
    return table, publish(table, Repository(Path(), protocols, (), {}, (), {}, ()))


@pytest.fixture(scope="module")
def made():
    return published(replicates(), make_protocols())


def test_the_table_read_back_moderates_as_the_table_does(made):
    table, file = made
    again = read_table(PublishedRepeatability.model_validate_json(repeatability_json(file)))
    assert again.entries.keys() == table.entries.keys()
    entry, same = table.entries[(POOL, "early")], again.entries[(POOL, "early")]
    assert math.isfinite(entry.prior_df)
    assert same.moderate(0.04, 3) == pytest.approx(entry.moderate(0.04, 3), rel=1e-9)
    without, alike = (t.entry_without((POOL, "early"), "s1") for t in (table, again))
    assert (alike.prior_s2, alike.df_pooled) == pytest.approx((without.prior_s2, without.df_pooled), rel=1e-9)


def test_the_hash_is_over_the_canonical_json_of_the_rest_and_does_not_depend_on_the_order_of_rows(made):
    _, file = made
    plain = json.loads(repeatability_json(file))
    stated = plain.pop("sha256")
    assert stated == hashlib.sha256(rfc8785.dumps(plain)).hexdigest()
    assert published(replicates()[::-1], make_protocols())[1].sha256 == stated
    assert published(replicates((0.02, 0.05, 0.1, 0.3, 0.61)), make_protocols())[1].sha256 != stated


def test_the_file_keeps_to_its_schema(made):
    jsonschema.validate(json.loads(repeatability_json(made[1])), json.loads(SCHEMA.read_text()))


def test_half_of_all_pairs_of_like_runs_differ_by_more_than_the_typical_ratio(made):
    """The difference of two draws from N(0, s²) is N(0, 2s²); the median of a normal's absolute value is its 75 % point."""
    endpoint = made[1].pools[0].endpoints[0]
    spread = math.sqrt(2 * made[0].entries[(POOL, endpoint.endpoint)].prior_s2)
    assert endpoint.typical_ratio == pytest.approx(math.exp(norm.ppf(0.75, scale=spread)), rel=1e-3)
    drawn = np.random.default_rng(1).normal(0, spread / math.sqrt(2), (2, 100_000))
    assert np.mean(np.abs(drawn[0] - drawn[1]) > math.log(endpoint.typical_ratio)) == pytest.approx(0.5, abs=0.01)


@pytest.mark.parametrize("version", ["0.1.0", "1.0.0", "1.1.0"])
def test_a_table_published_in_an_older_format_reads_and_has_the_hash_that_it_had(version):
    file = Path(__file__).parents[1] / "records" / "fixtures" / f"repeatability-{version}" / "repeatability.json"
    plain = json.loads(file.read_bytes())
    table = read_published(file)
    assert (table.format, table.sha256) == (f"repeatability/{version}", plain["sha256"])
    assert all((e.typical_ratio is None) == (version != "1.1.0") for pool in table.pools for e in pool.endpoints)


def test_a_form_gets_the_pooled_entries_and_the_protocols_assumption_where_there_is_none(made):
    _, file = made
    protocol = next(iter(make_protocols().values())).record
    carried = form_repeatability(file, protocol)
    assert carried["sha256"] == file.sha256
    assert list(carried["endpoints"]) == [rule.id for rule in protocol.endpoints]
    assert carried["endpoints"]["early"] == {
        "s2_pooled": pytest.approx(sum(2 * s**2 for s in SPREADS) / 5, rel=1e-9),
        "df_pooled": 10.0,
        "prior_s2": file.pools[0].endpoints[0].prior_s2,
        "prior_df": file.pools[0].endpoints[0].prior_df,
        "source": "pooled",
        "submissions": 5,
    }
    late = next(rule for rule in protocol.endpoints if rule.id == "late")
    assert carried["endpoints"]["late"]["source"] == "assumed"
    assert carried["endpoints"]["late"]["prior_s2"] == pytest.approx(late.assumed_repeatability.ln_sd**2)


def test_a_submission_is_not_judged_by_itself_and_simulated_ones_never_judge_measured_ones(made):
    _, file = made
    protocol = next(iter(make_protocols().values())).record
    assert form_repeatability(file, protocol, without="s4")["endpoints"]["early"]["submissions"] == 4
    assert form_repeatability(file, protocol, origin="simulated")["endpoints"]["early"]["source"] == "assumed"


def test_the_demonstrations_table_says_how_well_its_readings_were_read():
    root = Path(__file__).parents[2]
    repository = load_repository(root)
    table = publish(repeatability_table(endpoint_rows(repository), repository.protocols), repository)
    by_protocol = {(pool.protocol, pool.major): pool for pool in table.pools}
    assert by_protocol[("two-sharpeners-rope", 1)].reading_variance > 0
    assert by_protocol[("life-on-card", 1)].reading_variance is None
