"""The log of how pooled estimates moved, on repositories planted so that every figure is known by hand.

Every submission runs two blades once each, by people of its own, so that all of them weigh alike: whatever the spreads, the posterior of
the difference lies evenly about the mean of the submissions' contrasts, which is its median.
"""

from __future__ import annotations

import csv
import io
import json
import math

import pytest

from edgehold.endpoints import endpoint_rows
from edgehold.everything import find_everything
from edgehold.pipeline import read
from edgehold.pooling import headline
from edgehold.pooling.spread_priors import priors_for
from edgehold.results.publish.assemble import assemble
from edgehold.results.publish.written import written
from edgehold.results.tables.pool_tables import tables
from tests.generated import generate_pages
from tests.records.builder import (
    correction,
    endpoint,
    make_repository,
    markdown,
    protocol,
    retraction,
    run,
    submission,
    values,
    write,
    write_change,
    write_submission,
    write_tombstone,
)

FORCE = 2.0
LN_RATIOS = (0.0, 0.9, -0.6, 1.4)  # by month, January first; above 0 favours the first steel
STEEL_QUESTION = {
    "/question": {"factor": "steel", "text": "Which steel stays sharper?"},
    "/design/varies": ["steel"],
    "/design/holds": ["sharpener"],
    "/endpoints": [endpoint(), endpoint(id="late", title="Sharpness after 40 cuts", role="late", primary=False, at=40)],
}
PEOPLE = ("auk", "coot", "dunlin", "egret", "fulmar", "gannet")


def readings(force: float) -> list[dict]:
    return [
        {"work": work, "values": values(round(force * step, 12), round(force * step, 12))}
        for work, step in zip((0, 5, 10, 20, 40), (0.5, 0.8, 1, 1.2, 1.5), strict=True)
    ]


def sent(person: str, month: int, ln_ratio: float, name: str = "", **changes: object) -> dict:
    """Blade one of the first steel in run 1, blade two of the second in run 2; the second needs ``ln_ratio`` more force."""
    blades = [
        {"key": f"{person}.one", "steel": {"designation": "AISI 1095"}, "edge": "plain"},
        {"key": f"{person}.two", "steel": {"designation": "AISI 52100"}, "edge": "plain"},
    ]
    own = {"tester": person, "lot": None, "instrument": None}
    return submission(
        {
            "/id": name or f"{person}-{month}",
            "/submitted_by": person,
            "/month": f"2026-{month:02d}",
            "/people": [{"handle": person, "agreed": "yes"}],
            "/blades": blades,
            "/lots": [],
            "/instruments": [],
            "/preparations": [{"id": f"edge-{n}", "blade": b["key"], "sharpener": person} for n, b in enumerate(blades, 1)],
            "/runs": [run(1, readings=readings(FORCE), **own), run(2, readings=readings(FORCE * math.exp(ln_ratio)), **own)],
        }
        | changes
    )


@pytest.fixture
def root(tmp_path):
    """Four submissions, a month each, all by different people."""
    found = [sent(person, month, ln) for month, (person, ln) in enumerate(zip(PEOPLE, LN_RATIOS, strict=False), 1)]
    return make_repository(tmp_path, found, [protocol(STEEL_QUESTION)])


def results(root):
    return assemble(find_everything(read(root)))


def logged(root):
    return results(root).moves


def course(root, which: str = "early"):
    (log,) = results(root).moves
    return next(c for c in log.courses if c.endpoint == which)


def stood(root, which: str = "early") -> dict[str, float | str]:
    """By month the pooled ln ratio, or the state where nothing is pooled."""
    return {m.month: math.log(m.after.result.ratio) if m.after.result else m.after.state for m in course(root, which).moves}


def mean(values) -> float:
    return sum(values) / len(values)


BY_THEN = {"2026-01": "not estimable"} | {f"2026-{n:02d}": pytest.approx(mean(LN_RATIOS[:n]), abs=1e-9) for n in (2, 3, 4)}


def test_every_month_pools_what_had_been_tested_by_then(root):
    assert stood(root) == BY_THEN


def test_the_log_of_a_month_is_the_model_of_the_headline_on_what_counted_then(root):
    """Beside it the headline itself, which is tested against long runs of a sampler: ``tests/pooling/test_hierarchical_reference.py``."""
    assumed = endpoint()["assumed_repeatability"]["ln_sd"]
    for number in (2, 3, 4):
        rows = [r for r in endpoint_rows(read(root)) if r.endpoint == "early" and int(r.submission.split("-")[1]) <= number]
        told = {name: [getattr(r, name) for r in rows] for name in ("steel", "tester", "sharpener", "blade", "submission")}
        found = headline([r.low for r in rows], [r.high for r in rows], told, worthwhile=1.25, priors=priors_for(assumed, ""))
        answer = found.pairs[0]
        result = next(m.after.result for m in course(root).moves if m.month == f"2026-{number:02d}")
        assert (math.log(result.low), math.log(result.high)) == pytest.approx((answer.interval.low, answer.interval.high), rel=0.03)


def test_a_retraction_moves_the_estimate_back_by_what_the_submission_had_brought(root):
    write_change(root, 1, retraction(submission="egret-4", by="egret", month="2026-06"))
    last = course(root).moves[-1]
    assert last.month == "2026-06" and (last.before.submissions, last.after.submissions) == (4, 3)
    assert math.log(last.moved_by) == pytest.approx(mean(LN_RATIOS[:3]) - mean(LN_RATIOS), abs=1e-9)
    assert last.sentence.startswith("With one retracted, the ratio fell by 27.7 %, from ×1.53 to ×1.11")
    assert stood(root)["2026-04"] == pytest.approx(mean(LN_RATIOS), abs=1e-9)


def test_without_a_submission_there_is_no_ratio_any_more(root):
    for number, person in enumerate(PEOPLE[:4], 1):
        write_change(root, 1, retraction(submission=f"{person}-{number}", by=person, month="2026-05"))
    last = course(root).moves[-1]
    assert (last.before.state, last.after.state, last.moved_by) == ("pooled", "not estimable", None)
    assert last.sentence == "With 4 retracted, what is left is no ratio of the two."


def corrected_force(factor: float, month: str, number: int = 1, was: float = FORCE, person: str = "coot-2") -> dict:
    """The first run of a submission had read ``factor`` times what was written."""
    before, after = readings(was)[2]["values"], readings(was * factor)[2]["values"]
    return correction(("/runs/0/readings/2/values", before, after), submission=person, by=person.split("-")[0], month=month)


def test_corrected_values_count_from_the_month_of_the_correction(root):
    write_change(root, 1, corrected_force(math.exp(-0.3), "2026-05"))
    since = (LN_RATIOS[0], LN_RATIOS[1] + 0.3, *LN_RATIOS[2:])
    assert stood(root) == BY_THEN | {"2026-05": pytest.approx(mean(since), abs=1e-9)}
    assert course(root).moves[-1].sentence.startswith("With one corrected, the ratio rose")
    assert [m.after.result for m in course(root, "late").moves][-2:] == [course(root, "late").moves[-1].after.result] * 2


def test_a_retracted_submission_counts_before_with_the_values_that_stood_then(root):
    write_change(root, 1, corrected_force(math.exp(-0.3), "2026-05"))
    write_change(root, 2, retraction(submission="coot-2", by="coot", month="2026-06"))
    found = stood(root)
    assert found["2026-04"] == pytest.approx(mean(LN_RATIOS), abs=1e-9)
    assert found["2026-05"] == pytest.approx(mean(LN_RATIOS) + 0.3 / 4, abs=1e-9)
    assert found["2026-06"] == pytest.approx(mean((LN_RATIOS[0], *LN_RATIOS[2:])), abs=1e-9)


def test_corrections_apply_in_the_order_of_their_numbers_whatever_months_they_name(root):
    write_change(root, 1, corrected_force(math.exp(-0.3), "2026-06"))
    write_change(root, 2, corrected_force(math.exp(-0.1), "2026-05", was=FORCE * math.exp(-0.3)))
    found = stood(root)
    assert "2026-05" not in found
    assert found["2026-06"] == pytest.approx(mean(LN_RATIOS) + 0.4 / 4, abs=1e-9)


def test_a_month_corrected_to_a_later_one_leaves_a_gap(root):
    write_change(root, 1, correction(("/month", "2026-02", "2026-06"), submission="coot-2", by="coot", month="2026-03"))
    found = stood(root)
    assert found["2026-02"] == pytest.approx(mean(LN_RATIOS[:2]), abs=1e-9)
    assert found["2026-03"] == pytest.approx(mean((LN_RATIOS[0], LN_RATIOS[2])), abs=1e-9)
    assert found["2026-04"] == pytest.approx(mean((LN_RATIOS[0], *LN_RATIOS[2:])), abs=1e-9)
    assert found["2026-06"] == pytest.approx(mean(LN_RATIOS), abs=1e-9)
    (log,) = results(root).moves
    happened = {m.month: [(h.kind, h.submission) for h in m.happened if h.submission] for m in log.months}
    assert ("tested", "coot-2") in happened["2026-02"] and ("tested", "coot-2") in happened["2026-06"]


def test_what_would_not_have_passed_the_check_counts_from_its_correction_on(root):
    path = "submissions/measured/small-rope/coot-2.json"
    tree = json.loads((root / path).read_text()) | {"blades": [{"key": "coot.one", "steel": {"designation": "no such steel"}}]}
    tree["blades"].append({"key": "coot.two", "steel": {"designation": "AISI 52100"}})
    write(root / path, json.dumps(tree))
    cure = ("/blades/0/steel/designation", "no such steel", "AISI 1095")
    write_change(root, 1, correction(cure, submission="coot-2", by="coot", month="2026-06"))
    found = stood(root)
    assert found["2026-03"] == pytest.approx(mean((LN_RATIOS[0], LN_RATIOS[2])), abs=1e-9)
    assert found["2026-04"] == pytest.approx(mean((LN_RATIOS[0], *LN_RATIOS[2:])), abs=1e-9)
    assert found["2026-06"] == pytest.approx(mean(LN_RATIOS), abs=1e-9)


def test_the_last_line_agrees_with_the_published_answer(root):
    """That is read off all readings, the log from the values of one endpoint: the same, to a tenth of the half-width."""
    write_change(root, 1, corrected_force(math.exp(-0.3), "2026-05"))
    write_change(root, 1, retraction(submission="auk-1", by="auk", month="2026-06"))
    found = results(root)
    (log,) = found.moves
    assert len(log.courses) == 2
    for each in log.courses:
        published = next(e for e in found.pools[0].endpoints if e.id == each.endpoint).steels[0]
        last, half = each.moves[-1].after, math.log(published.result.high / published.result.low) / 2
        assert (published.first, published.second) == (each.first, each.second)
        assert math.log(last.result.ratio) == pytest.approx(math.log(published.result.ratio), abs=half / 10)
        assert math.log(last.result.high / last.result.low) / 2 == pytest.approx(half, rel=0.1)
        assert last.verdict == published.verdict


def test_names_of_files_decide_nothing(root, tmp_path_factory):
    names = ("zeta", "delta", "mu", "alpha")
    renamed = [sent(p, m, ln, name=n) for m, (p, ln, n) in enumerate(zip(PEOPLE, LN_RATIOS, names, strict=False), 1)]
    other = make_repository(tmp_path_factory.mktemp("other"), renamed, [protocol(STEEL_QUESTION)])
    write_change(root, 1, retraction(submission="dunlin-3", by="dunlin", month="2026-06"))
    write_change(other, 1, retraction(submission="mu", by="dunlin", month="2026-06"))
    one, two = ([m.model_dump() for m in course(where).moves] for where in (root, other))
    for mine, theirs in zip(one, two, strict=True):
        assert [
            mine[side] and mine[side]["result"] and pytest.approx(mine[side]["result"]["ratio"], rel=1e-9) for side in ("before", "after")
        ] == [theirs[side] and theirs[side]["result"] and theirs[side]["result"]["ratio"] for side in ("before", "after")]
        assert mine["sentence"] == theirs["sentence"]


def test_the_same_files_give_the_same_bytes(root):
    write_change(root, 1, corrected_force(math.exp(-0.3), "2026-05"))
    assert written(results(root)).whole() == written(results(root)).whole()


def test_an_empty_repository_has_no_log(tmp_path):
    found = results(make_repository(tmp_path, [], adopted=False))
    assert found.moves == ()
    assert "results/log/index.md" in dict(generate_pages(found))


def test_two_runs_alone_tell_no_ratio(tmp_path):
    root = make_repository(tmp_path, [sent("auk", 3, 0.5)], [protocol(STEEL_QUESTION)])
    (only,) = [m for m in course(root).moves if m.month == "2026-03"]
    assert (only.after.state, only.after.studies, only.after.result, only.moved_by) == ("not estimable", 1, None, None)
    assert only.sentence == "With one submission more, there is still no ratio of the two."


def test_a_pool_that_was_wholly_retracted_keeps_its_months(root):
    for number, person in enumerate(PEOPLE[:4], 1):
        write_change(root, 1, retraction(submission=f"{person}-{number}", by=person, month="2026-06"))
    found = results(root)
    assert found.pools == ()
    (log,) = found.moves
    last = log.courses[0].moves[-1]
    assert math.log(last.before.result.ratio) == pytest.approx(mean(LN_RATIOS), abs=1e-9)
    assert (last.month, last.after.state, last.after.submissions) == ("2026-06", "not estimable", 0)


def test_tested_and_retracted_in_one_month_is_told_and_moves_nothing(root):
    write_submission(root, sent("fulmar", 5, 3.0))
    write_change(root, 1, retraction(submission="fulmar-5", by="fulmar", month="2026-05"))
    last = course(root).moves[-1]
    assert last.month == "2026-05" and last.moved_by == 1.0
    assert last.sentence == "With one submission more and one retracted, the ratio stayed at ×1.53."


def test_measured_and_simulated_have_logs_of_their_own(root):
    invented = sent("gannet", 5, 2.0, **{"/origin": "simulated"})
    for blade, steel in zip(invented["blades"], ("demo-plain-carbon", "demo-high-speed"), strict=True):
        blade["steel"] = {"designation": steel}
    write_submission(root, invented)
    found = results(root)
    assert [log.origin for log in found.moves] == ["measured", "simulated"]
    assert found.moves[0].courses[0].moves[-1].after.submissions == 4
    assert {h.submission for m in found.moves[0].months for h in m.happened} & {"gannet-5"} == set()


def test_what_was_taken_out_counts_in_no_month(root):
    (root / "submissions/measured/small-rope/egret-4.json").unlink()
    write_tombstone(root, "egret-4", month="2026-06")
    assert "2026-06" not in stood(root)
    assert course(root).moves[-1].after.submissions == 3


def test_a_decided_objection_and_a_released_version_stand_beside_the_month_and_move_nothing(root):
    objection = {
        "format": "objection/1.0.0", "kind": "objection", "against": {"protocol": "small-rope", "version": "1.0.0", "step": "s1-prepare"},
        "title": "The stone wears", "threat": "order", "severity": "minor", "by": "skua", "month": "2026-04", "interest": "none",
    }  # fmt: skip
    outcome = {"format": "objection/1.0.0", "kind": "outcome", "outcome": "upheld and unresolved", "by": "tern", "month": "2026-06"}
    folder = root / "protocols/small-rope/objections/001-stone"
    write(folder / "00-objection.md", markdown(objection, "It does.\n"))
    write(folder / "01-outcome.md", markdown(outcome, "It does, and nobody has a cure.\n"))
    (log,) = results(root).moves
    months = {m.month: [(h.kind, h.says) for h in m.happened if h.kind in ("version", "objection")] for m in log.months}
    assert months["2026-06"] == [("objection", "upheld and unresolved: The stone wears")]
    assert months["2026-01"] == [("version", "released"), ("version", "opened for review")]
    assert [month for month, what in months.items() if ("version", "adopted") in what] == ["2026-04"]  # of its pilot, the last submission
    last = log.courses[0].moves[-1]
    assert (last.moved_by, last.sentence) == (1.0, "No submission here changed.")


@pytest.mark.parametrize(("last", "says"), [("struck", "struck"), ("open", "open again: Gulls are loud")])
def test_a_struck_title_is_not_repeated_and_an_objection_may_open_again(root, last, says):
    objection = {
        "format": "objection/1.0.0", "kind": "objection", "against": {"protocol": "small-rope", "version": "1.0.0"},
        "title": "Gulls are loud", "threat": "order", "severity": "minor", "by": "skua", "month": "2026-04", "interest": "none",
    }  # fmt: skip
    folder = root / "protocols/small-rope/objections/001-gulls"
    write(folder / "00-objection.md", markdown(objection, "They are.\n"))
    response = {
        "format": "objection/1.0.0", "kind": "response", "response": "more evidence wanted", "by": "fulmar", "month": "2026-06",
        "interest": "none", "evidence": [{"citation": "A count of gulls"}],
    }  # fmt: skip
    write(folder / "02-response.md", markdown(response, "New figures.\n"))
    for number, kind, month in ((1, "upheld and unresolved", "2026-05"), (3, last, "2026-06")):
        outcome = {"format": "objection/1.0.0", "kind": "outcome", "outcome": kind, "by": "tern", "month": month}
        write(folder / f"{number:02d}-outcome.md", markdown(outcome, "A reason.\n"))
    told = [h.says for log in logged(root) for m in log.months for h in m.happened if h.kind == "objection"]
    assert told[-1] == says
    assert (told[0] == "upheld and unresolved") == (last == "struck")


HOSTILE = '=HYPERLINK("x")<script>window.hit=1</script>[x](javascript:hit)'


def test_a_reason_given_by_a_stranger_stays_text_on_pages_and_in_tables(root):
    write_change(root, 1, retraction(submission="egret-4", by="egret", month="2026-06", why=HOSTILE))
    objection = {
        "format": "objection/1.0.0", "kind": "objection", "against": {"protocol": "small-rope", "version": "1.0.0"},
        "title": HOSTILE, "threat": "order", "severity": "minor", "by": "skua", "month": "2026-04", "interest": "none",
    }  # fmt: skip
    outcome = {"format": "objection/1.0.0", "kind": "outcome", "outcome": "upheld and unresolved", "by": "tern", "month": "2026-06"}
    write(root / "protocols/small-rope/objections/001-stone/00-objection.md", markdown(objection, "It does.\n"))
    write(root / "protocols/small-rope/objections/001-stone/01-outcome.md", markdown(outcome, "It does not.\n"))
    repository = read(root)
    found = find_everything(repository)
    made = assemble(found)
    page = dict(generate_pages(made))["results/log/small-rope-v1-measured/index.md"]
    assert "window.hit" in page and "<script" not in page and "](javascript" not in page
    rows = list(csv.DictReader(io.StringIO(tables(found, made)["moves.csv"].decode())))
    assert [row["retracted"] for row in rows if row["month"] == "2026-06"] == ["egret-4", "egret-4"]
    assert all(
        not cell.startswith(("=", "+", "-", "@")) or cell.lstrip("-").replace(".", "").isdigit() for row in rows for cell in row.values()
    )


def test_the_table_tells_the_same_as_the_log(root):
    write_change(root, 1, retraction(submission="egret-4", by="egret", month="2026-06"))
    found = find_everything(read(root))
    made = assemble(found)
    rows = list(csv.DictReader(io.StringIO(tables(found, made)["moves.csv"].decode())))
    moves = [m for c in made.moves[0].courses for m in c.moves]
    assert [r["sentence"] for r in rows] == [m.sentence for m in moves]
    assert [r["moved_by"] and float(r["moved_by"]) for r in rows] == [m.moved_by or "" for m in moves]
