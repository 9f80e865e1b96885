"""Shared plans of two to six tables: what they can tell, their order, their one seal, and one table's result on its way back."""

import csv
import hashlib
import io
import json
import math
import re
from collections import Counter
from itertools import combinations, product
from pathlib import Path

import numpy as np
import pytest
import rfc8785
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import t as t_distribution

from edgehold.cli import main
from edgehold.errors import InputError
from edgehold.planning.advice import Known
from edgehold.planning.occasion import stock
from edgehold.planning.tables import share, tables_of
from edgehold.pooling import separability
from edgehold.records import load_repository
from edgehold.records.model.plan import Plan, PlanSeal, SharedPlan
from edgehold.records.sealing import plan_sha256
from edgehold.results.publish.repeatability import assumption
from tests.report.fill_sheet import filled

from .boatyard_plans import pooled, protocol

NAMES = ("auk", "coot", "dunlin", "eider", "fulmar", "gull")
TESTERS = ("heron", "ibis", "jay", "kite", "lark", "merlin")
CODERS = ("moss", "nettle", "oak", "pine", "reed", "sedge")
HALVES = protocol("two-sharpeners-rope", "2.0.0")
ASSUMED = Known({rule.id: assumption(rule) for rule in HALVES.endpoints}, None, None)


def shared(number, blades=1, known=ASSUMED, *, testers=(), coders=(), seed=3, sealed=False, **has):
    names = NAMES[:number]
    keys = [f"{name}.b{rank}" for name in names for rank in range(blades)]
    tables = tables_of(number, keys, names, testers[:number], coders[:number])
    made = stock(HALVES, **({"minutes": 180} | has))
    return share(HALVES, made, tables, known, id="moss-plan", month="2026-05", seed=seed, sealed=sealed)


def runs(plan):
    return [(table, run) for table, part in enumerate(plan.tables, 1) for run in part.runs]


def differences(plan):
    """(pairs, sharpeners + 1) first minus second of each pair: +1 and −1 for the two sharpeners, and for heel minus tip."""
    people = sorted({run.sharpener for _, run in runs(plan)})
    rows = []
    for part in plan.tables:
        for first, second in zip(part.runs[::2], part.runs[1::2], strict=True):
            row = [float(name == first.sharpener) - float(name == second.sharpener) for name in people]
            rows.append([*row, 1.0 if first.edge_part == "heel" else -1.0])
    return np.array(rows), people


@pytest.mark.parametrize(("number", "blades", "evenings"), [*product(range(2, 7), (1, 3), (1, 2))])
def test_every_two_sharpeners_can_be_told_apart_by_the_rank_of_the_design(number, blades, evenings):
    """numpy on differences within pairs; and the judge of pools on who sharpens for whom, with its components."""
    plan = shared(number, blades, evenings=evenings).plan
    x, people = differences(plan)
    for i, j in combinations(range(number), 2):
        c = np.zeros(number + 1)
        c[i], c[j] = 1, -1
        assert np.linalg.matrix_rank(np.vstack([x, c])) == np.linalg.matrix_rank(x), (people[i], people[j])
    judged = separability({"sharpener": [r.sharpener for _, r in runs(plan)], "tester": [r.tester for _, r in runs(plan)]})
    assert len(judged.components) == 1 and judged.contrasts["sharpener"].aliased_contrasts == ()
    assert judged.contrasts["tester"].aliased_contrasts == ()


def test_three_tables_on_two_evenings_are_a_balanced_incomplete_block_design():
    """Pairs are blocks of two: v = 3, r = 4, λ = 2, and each two sharpeners keep λv/(rk) = 3/4 (John & Williams 1995)."""
    plan = shared(3, evenings=2).plan
    met = Counter(frozenset(run.sharpener for run in part.runs[i : i + 2]) for part in plan.tables for i in range(0, len(part.runs), 2))
    assert set(met.values()) == {2} and len(met) == 3
    blocks = [f"{table} {(run.order - 1) // 2}" for table, run in runs(plan)]
    told = separability({"sharpener": [run.sharpener for _, run in runs(plan)], "tester": blocks}).contrasts["sharpener"]
    assert list(told.efficiencies) == pytest.approx([0.75, 0.75])


def test_with_the_spread_known_the_width_is_students():
    s0 = 0.2
    known = Known({rule.id: pooled(s0, 40) for rule in HALVES.endpoints}, None, None)
    found = shared(2, 3, known, minutes=300)
    pairs = len(differences(found.plan)[0])
    # The variance of a pair's difference is 2σ²; six pairs with halves shared out evenly leave 2σ²/6.
    assert (pairs, found.half_width) == (6, pytest.approx(math.sqrt(2 / 6) * s0 * t_distribution.ppf(0.975, 40), rel=1e-6))


@given(number=st.integers(2, 6), blades=st.integers(1, 4), evenings=st.integers(1, 3), seed=st.integers(0, 2**53 - 1))
def test_every_order_obeys_the_protocol_and_every_blade_is_at_one_place(number, blades, evenings, seed):
    """Two halves of one edge in each pair, by two people; halves change hands from pair to pair; a blade leaves once an evening."""
    found = shared(number, blades, evenings=evenings, seed=seed)
    for table, part in enumerate(found.plan.tables, 1):
        host = NAMES[table - 1]
        held = []
        for first, second in zip(part.runs[::2], part.runs[1::2], strict=True):
            assert (first.partner, second.partner) == (second.order, first.order)
            assert first.blade == second.blade and {first.edge_part, second.edge_part} == {"heel", "tip"}
            own, guest = sorted((first, second), key=lambda run: run.from_table is not None)
            assert own.sharpener == host and guest.from_table is not None and guest.from_table != table
            assert guest.sharpener == NAMES[guest.from_table - 1] == guest.blade.partition(".")[0]
            held.append(own.edge_part)
        assert held == [held[i % 2] for i in range(len(held))] and len(set(held[:2])) == min(2, len(held))
        assert all(tonight <= 2 * found.pairs for tonight in Counter(run.evening for run in part.runs).values())
    sent = Counter((visit.evening, visit.blade) for visit in found.visits)
    assert set(sent.values()) == {1} and {visit.evening for visit in found.visits} <= set(range(1, evenings + 1))
    codes = [run.code for _, run in runs(found.plan) if run.code]
    assert len(codes) == len(set(codes))


def test_medium_wish_and_steel_limit_every_table():
    assert len(shared(3, 3).visits) == 9
    assert len(shared(3, 3, lots_m=(0.9,)).visits) == 6  # 0.9 m are two pairs of 0.4 m, cut in turn on one stretch
    assert len(shared(3, 3, most_runs=2).visits) == 3
    assert {visit.evening for visit in shared(3, 1, evenings=3, steel_mm=0.09).visits} == {1, 2}  # two sharpenings of 0.0412 mm


def test_one_seal_covers_all_and_each_table_opens_its_own_part():
    """The seal is SHA-256 of the list of parts' hashes, each that of RFC 8785's canonical JSON with a nonce of its own."""
    plan = shared(3, testers=TESTERS, coders=CODERS, sealed=True).plan
    hashes = []
    for part in plan.tables:
        plain = part.model_dump(mode="json", exclude={"sha256": True, "table": {"parts"}})
        hashes.append(hashlib.sha256(rfc8785.dumps(plain)).hexdigest())
    whole = json.dumps({"parts": hashes}, separators=(",", ":"))
    assert plan.sha256 == hashlib.sha256(whole.encode()).hexdigest()
    assert [plan_sha256(part) for part in plan.tables] == [plan.sha256] * 3 == [part.sha256 for part in plan.tables]
    assert len({part.nonce for part in plan.tables}) == 3
    touched = plan.tables[1].model_copy(update={"seed": plan.tables[1].seed + 1})
    assert plan_sha256(touched) != plan.sha256
    other = plan.tables[0].model_dump_json()
    assert not any(run.code and f'"{run.code}"' in other for run in plan.tables[1].runs)  # one part gives no other's codes away


@pytest.mark.parametrize(
    ("asks", "message"),
    [
        ({"number": 7}, "got 6 sharpeners for 7 tables|got 7 tables, wanted 2 to 6"),
        ({"number": 2, "coders": CODERS, "testers": CODERS}, "at two places"),
        ({"number": 2, "lots_m": (3.0, 3.0)}, "got 2 lots, wanted one at every table"),
        ({"number": 2, "sealed": True}, "got no coder at some table"),
    ],
)
def test_what_cannot_be_shared_is_refused_with_what_was_wanted(asks, message):
    with pytest.raises(InputError, match=message):
        shared(**asks)


def test_a_blade_belongs_to_its_owners_table_and_whole_edges_are_not_shared():
    with pytest.raises(InputError, match=r"got the blade 'wren\.keel', wanted one of auk, coot: whoever owns a blade sends it"):
        tables_of(2, ["wren.keel"], ["auk", "coot"], [], [])
    with pytest.raises(InputError, match="got no blade of coot"):
        tables_of(2, ["auk.keel"], ["auk", "coot"], [], [])
    whole = protocol("two-sharpeners-rope", "1.1.0")
    with pytest.raises(InputError, match="wanted a protocol whose two sharpeners share an edge in halves"):
        share(whole, stock(whole), tables_of(2, ["auk.a", "coot.a"], ["auk", "coot"], [], []), ASSUMED, id="x-1", month="2026-05", seed=1)


TERNS = [
    "plan", "two-sharpeners-rope", "--tables", "2", "--sharpener", "tern", "--sharpener", "wren", "--tester", "fid", "--tester", "gull",
    "--coder", "moss", "--coder", "reed", "--blade", "tern.mast", "--blade", "wren.keel", "--minutes", "180", "--evenings", "2", "--sealed",
    "--id", "moss-plan", "--month", "2026-05", "--seed", "5",
]  # fmt: skip


def test_one_table_of_a_sealed_shared_plan_comes_back_through_intake_and_check(tmp_path, monkeypatch, capsys):
    from tests.published import copy_protocols

    copy_protocols(tmp_path, "two-sharpeners-rope")
    monkeypatch.chdir(tmp_path)
    assert main([*TERNS, "--root", str(tmp_path)]) == 0
    text = capsys.readouterr().out
    assert "One seal for all tables" in text and "BEFORE YOU CUT" in text and text.index("BEFORE YOU CUT") < text.index("TABLE 1")
    whole = SharedPlan.model_validate_json(Path("moss-plan.json").read_bytes())
    seal = PlanSeal.model_validate_json(Path("submissions/plans/moss-plan.json").read_bytes())
    assert seal.sha256 == whole.sha256 == plan_sha256(whole.tables[1])
    order = Path("moss-plan/table-1/order.txt").read_text(encoding="utf-8")
    assert re.search(
        r"Before evening 1 tern sharpens the (heel|tip) half of tern.mast, code [A-Z]{2}, and sends it", " ".join(order.split())
    )
    assert "For moss only" in order
    printed = Path("moss-plan/table-1/print")
    assert sorted(path.name for path in printed.iterdir()) == ["key.html", "sheet.csv", "sheet.html", "sheet.xlsx"]
    part = Path("moss-plan/table-1/plan.json")
    assert Plan.model_validate_json(part.read_bytes()) == whole.tables[0]
    sheet = filled((printed / "sheet.csv").read_text(encoding="utf-8"), part.read_text(encoding="utf-8"))
    assert list(csv.reader(io.StringIO(sheet)))
    Path("sheet.csv").write_text(sheet, encoding="utf-8")
    assert main(["intake", "sheet.csv", "--root", str(tmp_path), "--plan", str(part), "--place"]) == 0, capsys.readouterr()
    repository = load_repository(tmp_path)
    (submission,) = repository.submissions
    assert submission.seal_held is True
    assert submission.record.plan.opened.table.number == 1
    assert [f.code for f in repository.findings if f.code.startswith(("seal", "order", "plan", "unknown"))] == []
