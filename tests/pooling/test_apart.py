"""Labels gathered from rows: what can be told apart, and the further runs that would tell more."""

from dataclasses import replace

from test_comparisons import POOL, row

from aggregator.pooling.apart import further_runs, labels_by_pool, told_apart


def run(submission, blade, steel, sharpener, tester, **changes):
    return replace(row(submission, blade, steel, sharpener), tester=tester, run=f"{sharpener}-{tester}-{blade}", **changes)


OWN = [run(f"s{i}", f"{who}.{b}", b, who, who) for i, who in enumerate(("fid", "tern", "oakum", "cleat")) for b in "ab"]
CROSSED = [run(f"x-{s}-{t}", f"{s}.{b}", b, s, t) for s in ("fid", "tern", "oakum") for t in ("fid", "tern", "oakum") for b in "ab"]


def test_runs_are_counted_once_whatever_their_endpoints_and_split_runs_are_left_out():
    doubled = [*OWN, *(replace(r, endpoint="early") for r in OWN), run("s9", "x.1", "a", "fid", "tern", split_tester=True)]
    assert {name: len(values) for name, values in labels_by_pool(doubled)[POOL].items()} == dict.fromkeys(
        ("steel", "blade", "sharpener", "tester", "submission"), 8
    )


def test_a_blade_of_unknown_steel_is_a_steel_of_its_own():
    labels = labels_by_pool([run("s", "fid.a", None, "fid", "tern"), run("s", "fid.b", None, "fid", "fid")])[POOL]
    assert labels["steel"] == ["steel of fid.b", "steel of fid.a"]


def test_where_everybody_sharpens_for_himself_no_split_can_be_told():
    found = told_apart(OWN)[POOL].split
    assert found.verdict == "no"
    assert found.reason


def test_where_everybody_tests_for_everybody_steels_and_people_come_apart():
    found = told_apart(CROSSED)[POOL]
    assert {what: contrast.verdict for what, contrast in found.contrasts.items()} == dict.fromkeys(("steel", "sharpener", "tester"), "yes")
    assert found.split.verdict in ("weak", "yes")


def test_further_runs_join_people_who_never_exchanged():
    plan = further_runs(OWN, 2)[POOL]
    assert len(plan.runs) == 2
    assert all(r.sharpener != r.tester for r in plan.runs)
    assert plan.runs[0].blade.startswith(f"{plan.runs[0].sharpener}.")
