"""What the submissions must hold, as a careful reader of the demonstration would count it."""

from __future__ import annotations

import json
import math
from collections import Counter, defaultdict
from fractions import Fraction
from typing import get_args

import pytest

from edgehold.demo.methods import METHODS, method
from edgehold.demo.writing import NEWTONS
from edgehold.records.model.submission import Run

PROTOCOLS = (
    "finish-in-halves-rope", "first-evening-paper", "life-on-card", "steels-exchanged-rope", "strop-or-not-paper", "two-sharpeners-rope",
)  # fmt: skip


def test_the_submissions_stand_under_the_versions_that_were_in_force(records):
    counts = Counter((r.protocol.id, r.protocol.version) for r in records)
    assert counts == {
        ("two-sharpeners-rope", "2.0.0"): 14,
        ("two-sharpeners-rope", "1.0.0"): 8, ("two-sharpeners-rope", "1.1.0"): 30,
        ("steels-exchanged-rope", "1.0.0"): 5, ("steels-exchanged-rope", "2.0.0"): 43,
        ("steels-exchanged-rope", "3.0.0"): 8,
        ("life-on-card", "1.0.0"): 14, ("life-on-card", "2.0.0"): 11, ("first-evening-paper", "1.0.0"): 6,
        ("finish-in-halves-rope", "1.0.0"): 10, ("strop-or-not-paper", "1.0.0"): 3,
    }  # fmt: skip
    old = [r for r in records if (r.protocol.id, r.protocol.version) == ("steels-exchanged-rope", "1.0.0")]
    assert all(r.month < "2026-02" for r in old)
    assert all("2025-06" <= r.month <= "2026-10" for r in records)


def test_at_least_fourteen_testers_twelve_sharpeners_and_six_steels(records):
    assert len({run.tester for r in records for run in r.runs}) >= 14
    assert len({p.sharpener for r in records for p in r.preparations}) >= 12
    assert len({b.steel.designation for r in records for b in r.blades if b.steel}) == 6


def test_every_file_and_every_steel_is_marked_as_simulated(records, drawn):
    assert all(r.origin == "simulated" and "Simulated" in r.note for r in records)
    steels = {b.steel.designation for r in records for b in r.blades if b.steel}
    assert all(s.startswith("demo-") for s in steels)
    assert drawn.effects["simulated"] is True


def test_every_steel_has_two_blades_and_most_have_a_known_batch(records):
    blades, batches = defaultdict(set), defaultdict(set)
    for blade in (b for r in records for b in r.blades if b.steel):
        blades[blade.steel.designation].add(blade.key)
        batches[blade.steel.designation] |= {blade.batch} - {None}
    assert all(len(keys) >= 2 for keys in blades.values())
    assert sum(len(keys) >= 2 for keys in batches.values()) >= 3
    assert all(batches.values())


def _met(record) -> set[str]:
    """People, blades, coils and batches that one file ties together."""
    return (
        {p.handle for p in record.people} | {b.key for b in record.blades} | {x.key for x in record.lots}
        | {b.batch for b in record.blades if b.batch} | {run.lot for run in record.runs}
    )  # fmt: skip


def _islands(records) -> list[set[str]]:
    """Connected components of what the files tie together, by plain flooding."""
    islands: list[set[str]] = []
    for record in records:
        met = _met(record)
        touching = [i for i in islands if i & met]
        islands = [i for i in islands if not i & met] + [set().union(met, *touching)]
    return islands


@pytest.mark.parametrize("protocol", PROTOCOLS)
def test_two_islands_never_meet_in_any_protocol(records, protocol):
    islands = _islands([r for r in records if r.protocol.id == protocol])
    crews = [{run.tester for r in records for run in r.runs} & island for island in islands]
    assert len(islands) >= 2
    assert sum(len(crew) >= 2 for crew in crews) >= 2


def test_over_all_protocols_there_are_two_crews_and_four_pairs_who_never_meet(records):
    crews = [{run.tester for r in records for run in r.runs} & island for island in _islands(records)]
    assert sorted(map(len, crews))[:4] == [2, 2, 2, 2] and len(crews) == 6


def test_most_sharpen_their_own_and_some_exchange(records):
    own = [
        {p.id: p.sharpener for p in r.preparations}[run.preparation] == run.tester
        for r in records if r.protocol.id != "two-sharpeners-rope" for run in r.runs
    ]  # fmt: skip
    assert 0.5 < sum(own) / len(own) < 0.8


def _hands(record):
    """Sharpener, blade and tester of every run."""
    made = {p.id: p for p in record.preparations}
    return [(made[run.preparation].sharpener, made[run.preparation].blade, run.tester) for run in record.runs]


def _blades_by_steel(records) -> dict[str, set[str]]:
    found = defaultdict(set)
    for blade in (b for r in records for b in r.blades if b.steel):
        found[blade.steel.designation].add(blade.key)
    return found


def test_in_the_large_pool_many_people_are_met_in_own_and_foreign_pairs_and_blades_go_round(records):
    pool = [r for r in records if (r.protocol.id, r.protocol.version) == ("steels-exchanged-rope", "2.0.0")]
    runs = [hands for r in pool for hands in _hands(r)]
    at_home = {s for s, _, t in runs if s == t}
    abroad = {who for s, _, t in runs if s != t for who in (s, t)}
    assert len(runs) >= 400 and len(at_home & abroad) >= 20
    assert all(len(keys) >= 4 for keys in _blades_by_steel(pool).values())
    testers = defaultdict(set)
    for _, blade, tester in runs:
        testers[blade].add(tester)
    assert sum(len(t) >= 4 for t in testers.values()) >= 20


def test_one_pool_is_thin_and_one_has_a_single_blade_of_every_steel_and_no_link_between_the_shores(records):
    thin = [r for r in records if (r.protocol.id, r.protocol.version) == ("steels-exchanged-rope", "1.0.0")]
    assert len(thin) == 5 and all(sharpener == tester for r in thin for sharpener, _, tester in _hands(r))
    card = [r for r in records if (r.protocol.id, r.protocol.version) == ("life-on-card", "1.0.0")]
    assert len(_blades_by_steel(card)) == 6 and all(len(keys) == 1 for keys in _blades_by_steel(card).values())
    alone = {"demo-powder-stainless", "demo-tough-stainless"}
    assert all({b.steel.designation for b in r.blades} <= alone or not {b.steel.designation for b in r.blades} & alone for r in card)


def test_nearly_every_run_obeys_the_stopping_rule(records):
    """Two readings in a row above the threshold end a run; a few testers slip and go on."""
    going_on = stopped = 0
    for record in records:
        m = method(record.protocol.id, record.protocol.version)
        if m.pass_fail:
            continue
        for run in record.runs:
            dull = [_newtons(reading.values, run.reading_unit) > m.threshold_n for reading in run.readings]
            first = next((i for i in range(1, len(dull)) if dull[i - 1] and dull[i]), None)
            going_on += first is not None and first < len(dull) - 1
            stopped += run.ended == "dull"
    assert 0 < going_on < 0.15 * stopped


def _newtons(values, unit: str) -> float:
    numbers = [_number(str(value.written).split(" (")[0].replace(",", ".")) for value in values]
    return NEWTONS[unit] * sum(numbers) / len(numbers)


def _number(written: str) -> float:
    return float(sum(Fraction(part) for part in written.split()))


def test_some_blades_circulate_among_testers(records):
    testers = defaultdict(set)
    for r in records:
        blade_of = {p.id: p.blade for p in r.preparations}
        for run in r.runs:
            testers[blade_of[run.preparation]].add(run.tester)
    assert sum(len(t) >= 3 for t in testers.values()) >= 5


def test_runs_end_in_every_way_there_is(records):
    met = {run.ended for r in records for run in r.runs}
    assert met == set(get_args(Run.model_fields["ended"].annotation))


def test_real_life_is_in_the_files(records, plain):
    runs = [run for r in records for run in r.runs]
    works = [reading.work for run in runs for reading in run.readings]
    written = [v.written for run in runs for reading in run.readings for v in reading.values or ()]
    assert {run.reading_unit for run in runs} == {"gf", "kgf", "N", "lbf", "ozf", None}
    assert {run.work_unit for run in runs} == {"cut", "m", "cm", "ft"}
    assert 22 in works
    assert "3 1/4" in works
    assert any(isinstance(w, str) and "," in w for w in written)
    assert any(isinstance(w, str) and "/" in w for w in written)
    assert any(isinstance(w, str) and w.endswith(" (5)") for w in written)
    assert {v.limit for run in runs for x in run.readings for v in x.values or ()} >= {"below"}
    assert any(run.lot_changes for run in runs)
    assert any(run.tester_change_at_work for run in runs)
    assert any(run.readings[0].work != 0 for run in runs)
    assert any(len(x.values or ()) == 2 for run in runs for x in run.readings)
    assert any(b.steel is None for r in records for b in r.blades)
    assert any(b.hardness is None for r in records for b in r.blades)
    assert any(p.edge_angle is None for r in records for p in r.preparations)
    assert {p.edge_part for r in records for p in r.preparations} == {"whole", "heel", "tip"}
    assert {i.interest for r in records for b in r.blades for i in b.interest or ()} == {"owner", "none", "maker", "seller"}
    assert {p.sharpening for r in records for p in r.people} == {"novice", "practised", "professional", None}


def test_a_burr_reads_blunter_than_the_edge_behind_it(plain):
    burrs = [run for r in plain for run in r["runs"] if "burr" in run.get("note", "")]
    assert len(burrs) == 3
    for run in burrs:
        at_0, at_5 = ([float(str(v["written"]).split()[0].replace(",", ".")) for v in x["values"]] for x in run["readings"][:2])
        assert sum(at_0) > sum(at_5)


def test_one_key_has_one_set_of_facts(plain):
    for kind in ("people", "blades", "lots", "instruments"):
        facts = defaultdict(set)
        for r in plain:
            for item in r.get(kind, ()):
                facts[item.get("handle") or item["key"]].add(json.dumps(item))
        assert all(len(versions) == 1 for versions in facts.values()), kind


def test_everybody_in_a_key_or_a_role_has_agreed(records):
    for r in records:
        named = {key.split(".")[0] for key in _met(r)} | {p.sharpener for p in r.preparations} - {"factory"}
        named |= {i.person for b in r.blades for i in b.interest or ()}
        named |= {i.key.split(".")[0] for i in r.instruments or ()}
        assert named <= {p.handle for p in r.people}


def test_one_preparation_serves_one_run_and_orders_count_up(records):
    for r in records:
        assert sorted(run.preparation for run in r.runs) == sorted(p.id for p in r.preparations)
        assert [run.order for run in r.runs] == list(range(1, len(r.runs) + 1))


def test_files_stay_small(drawn):
    assert max(map(len, drawn.files.values())) < 45_000


def test_the_generator_knows_the_protocols_as_they_are_published():
    from pathlib import Path

    import yaml

    root = Path(__file__).resolve().parents[2] / "protocols"
    for m in METHODS:
        front = yaml.safe_load((root / m.protocol / f"{m.version}.md").read_text().split("\n---", 1)[0])
        rules = {e["id"]: e for e in front["endpoints"]}
        assert front["medium"]["name"] == m.medium
        assert tuple(front["work"]["checkpoints"]) == m.checkpoints
        assert set(m.units) == set(front["reading"].get("accepted_units", ()))
        assert rules.get("early", {}).get("at") == m.early
        assert rules.get("late", {}).get("at") == m.late
        assert (rules["life"].get("threshold") or {}).get("value") == m.threshold_n
        hold = rules.get("hold")
        assert (None if hold is None else (hold["start"], hold["end"])) == m.window
        assert (front["reading"]["kind"] == "pass/fail") == m.pass_fail


def test_of_two_levels_one_person_makes_both_on_one_blade_and_they_change_halves(records):
    told = [r for r in records if r.protocol.id in ("finish-in-halves-rope", "strop-or-not-paper")]
    assert len({run.tester for r in told for run in r.runs}) >= 12
    for r in told:
        made = {p.id: p for p in r.preparations}
        assert len({p.sharpener for p in r.preparations}) == len(r.blades) == 1
        pairs = {frozenset((run.id, run.partner)) for run in r.runs}
        assert len(pairs) == len(r.runs) / 2
        assert all({made[run.preparation].edge_part for run in r.runs if run.id in pair} == {"heel", "tip"} for pair in pairs)


def test_of_a_few_halves_no_fact_shows_the_finish_and_one_is_neither_coarse_nor_fine(records):
    told = [r for r in records if r.protocol.id == "finish-in-halves-rope"]
    assert sorted(sum(run.level is not None for run in r.runs) for r in told)[-2:] == [1, 6]
    last = [p.stages[-1].micrometres for r in told for p in r.preparations if p.stages]
    assert [size for size in last if size is not None and 15 <= size < 20] == [18.3]


def test_card_on_a_thread_has_reference_edges_at_both_ends_of_every_evening_and_three_lone_blades(records):
    told = [r for r in records if (r.protocol.id, r.protocol.version) == ("life-on-card", "2.0.0")]
    assert all([edge.when for edge in r.references] == ["start", "end"] and len(r.weights) == 2 for r in told)
    segments = [edge.segment for r in told for edge in r.references]
    assert len(set(segments)) == len(segments), "each serves once"
    assert [len(r.blades) for r in told].count(1) == 3
    assert all(len(keys) >= 2 for steel, keys in _blades_by_steel(told).items() if steel == "demo-high-carbon-stainless")
    kept = [(edge.readings[1].values[0].written, edge.readings[0].values[0].written) for r in told for edge in r.references]
    assert (
        sum(
            _number(str(after).replace(",", ".").split(" (")[0]) > _number(str(fresh).replace(",", ".").split(" (")[0])
            for after, fresh in kept
        )
        >= 14
    )


def test_a_rig_with_a_notch_reads_high_on_the_reference_edge_and_true_on_its_weights(plain):
    """What was planted: the file of the notch beside all others on card and thread, fresh edges in ln N."""
    told = [r for r in plain if (r["protocol"]["id"], r["protocol"]["version"]) == ("life-on-card", "2.0.0")]
    (notched,) = (r for r in told if r["id"].startswith("heron"))

    def shown(written):
        return _number(str(written).replace(",", ".").split(" (")[0])

    def fresh(record):
        edges = record["references"]
        return sum(
            math.log(shown(v["written"]) * NEWTONS[edge["reading_unit"]]) for edge in edges for v in edge["readings"][0]["values"]
        ) / sum(len(edge["readings"][0]["values"]) for edge in edges)

    others = [fresh(r) for r in told if r is not notched]
    assert fresh(notched) - sum(others) / len(others) > 0.1
    weights = [
        shown(w["read"]["written"]) * NEWTONS[w["read"]["unit"]] / shown(w["known"]["written"]) / NEWTONS[w["known"]["unit"]]
        for w in notched["weights"]
    ]
    assert all(abs(math.log(one)) < 0.08 for one in weights)
