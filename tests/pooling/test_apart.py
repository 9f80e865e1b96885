"""Labels gathered from rows, and the further runs that would tell more."""

from dataclasses import replace

from test_comparisons import POOL, row

from edgehold.pooling.gather.apart import further_runs, labels_by_pool


def run(submission, blade, steel, sharpener, tester, **changes):
    return replace(row(submission, blade, steel, sharpener), tester=tester, run=f"{sharpener}-{tester}-{blade}", **changes)


OWN = [run(f"s{i}", f"{who}.{b}", b, who, who) for i, who in enumerate(("fid", "tern", "oakum", "cleat")) for b in "ab"]


def test_runs_are_counted_once_whatever_their_endpoints_and_split_runs_are_left_out():
    doubled = [*OWN, *(replace(r, endpoint="early") for r in OWN), run("s9", "x.1", "a", "fid", "tern", split_tester=True)]
    assert {name: len(values) for name, values in labels_by_pool(doubled)[POOL].items()} == dict.fromkeys(
        ("steel", "blade", "sharpener", "tester", "submission"), 8
    )


def test_a_blade_of_unknown_steel_is_a_steel_of_its_own():
    labels = labels_by_pool([run("s", "fid.a", None, "fid", "tern"), run("s", "fid.b", None, "fid", "fid")])[POOL]
    assert labels["steel"] == ["steel of fid.b", "steel of fid.a"]


def test_further_runs_join_people_who_never_exchanged():
    plan = further_runs(OWN, 2)[POOL]
    assert len(plan.runs) == 2
    assert all(r.sharpener != r.tester for r in plan.runs)
    assert plan.runs[0].blade.startswith(f"{plan.runs[0].sharpener}.")
