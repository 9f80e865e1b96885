"""The demonstration's objections: what practitioners raise, in every state, invented, and resting on what is there."""

from pathlib import Path
from typing import get_args

import pytest

from edgehold.records import load_repository
from edgehold.records.layout import ANALYSIS
from edgehold.records.model.protocol import ThreatKind
from edgehold.records.model.review import Outcome, Response
from edgehold.records.probe_names import PROBE_NAMES
from edgehold.records.threads import closes_form, is_blocking, standing, state_of

ROOT = Path(__file__).parents[2]

RAISED = {
    "the burr read as sharpness": ("two-sharpeners-rope", 2),
    "unequal starting sharpness": ("steels-exchanged-rope", 4),
    "the earlier sharpener's bevel still there": ("two-sharpeners-rope", 4),
    "rope getting harder along the coil": ("two-sharpeners-rope", 5),
    "damp rope": ("two-sharpeners-rope", 6),
    "the tester knowing whose edge it is": ("two-sharpeners-rope", 3),
    "the stone loading as the evening goes on": ("two-sharpeners-rope", 8),
    "relative loss flattering blunt edges": (ANALYSIS, 1),
    "one knife standing for a steel": ("steels-exchanged-rope", 2),
    "edge angles that differ between sharpeners": ("steels-exchanged-rope", 5),
    "coarse edges favoured by rope": ("steels-exchanged-rope", 6),
    "the reading thread stretching": ("steels-exchanged-rope", 1),
}


@pytest.fixture(scope="module")
def repository():
    return load_repository(ROOT)


@pytest.fixture(scope="module")
def threads(repository):
    return {(thread.protocol, thread.number): thread for thread in repository.objections}


@pytest.fixture(scope="module")
def states(threads):
    beside = {protocol: {n: t for (p, n), t in threads.items() if p == protocol} for protocol, _ in threads}
    return {key: state_of(thread, beside[key[0]]) for key, thread in threads.items()}


def evidence_of(thread):
    given = [thread.objection, *(entry for entry, _ in thread.entries if isinstance(entry, Response))]
    return [(entry.month, evidence) for entry in given for evidence in entry.evidence]


def decided(thread):
    return [entry.outcome for entry, _ in thread.entries if isinstance(entry, Outcome)]


def test_no_thread_breaks_a_rule(repository):
    assert [str(finding) for finding in repository.findings if "/objections/" in finding.file] == []
    folders = {path.parent for path in ROOT.glob("protocols/*/objections/*/*.md")}
    assert len(repository.objections) == len(folders)


def test_whatever_stands_here_is_invented_and_says_so(threads):
    assert all(thread.objection.simulated for thread in threads.values())


@pytest.mark.parametrize("what", RAISED)
def test_what_practitioners_raise_is_raised(what, threads):
    thread = threads[RAISED[what]]
    assert thread.objection.against.step or thread.protocol == ANALYSIS
    for wanted in ("How it bends the answer", "What would show it" if "What would show it" in thread.statement else "What shows it"):
        assert wanted in thread.statement
    assert thread.entries and thread.objection.proposed_change


def test_every_state_is_there(states, threads):
    found = [state.state for state in states.values()]
    assert found.count("open") >= 3 and found.count("rebutted") >= 3 and found.count("revised") >= 2
    assert {"withdrawn", "upheld and unresolved", "struck"} <= set(found)
    assert any(thread.objection.duplicate_of for thread in threads.values())
    assert any(decided(thread)[-2:] == ["rebutted", "open"] for thread in threads.values())  # reopened
    assert {thread.objection.severity for thread in threads.values()} == {"blocking", "material", "minor"}


def test_every_kind_of_threat_and_every_protocol_is_met(threads, repository):
    assert {thread.objection.threat for thread in threads.values()} == set(get_args(ThreatKind))
    assert {protocol for protocol, _ in threads} == {protocol for protocol, _ in repository.protocols} | {ANALYSIS}


def test_what_blocks_stands_against_a_retired_version_only_and_closes_no_form(threads, repository):
    blocking = [thread for thread in threads.values() if is_blocking(thread)]
    assert blocking and not any(map(closes_form, blocking))
    for thread in blocking:
        versions = {v: loaded for (name, v), loaded in repository.protocols.items() if name == thread.protocol}
        retired = {event.version for event in repository.events[thread.protocol] if event.kind == "retired"}
        stands = standing(thread, versions)
        assert stands and set(stands) <= retired


def test_named_probes_and_submissions_exist_and_were_there_by_then(threads, repository):
    months = {submission.record.id: submission.record.month for submission in repository.submissions}
    for thread in threads.values():
        for month, evidence in evidence_of(thread):
            assert evidence.probe is None or evidence.probe in PROBE_NAMES
            assert evidence.submission is None or months[evidence.submission] <= month
    named = {evidence.probe for thread in threads.values() for _, evidence in evidence_of(thread)}
    assert len(named - {None}) >= 10


def test_submissions_named_in_a_text_exist_and_were_there_by_then(threads, repository):
    months = {submission.record.id: submission.record.month for submission in repository.submissions}
    seen = 0
    for thread in threads.values():
        texts = [(thread.objection.month, thread.statement), *((entry.month, text) for entry, text in thread.entries)]
        for month, text in texts:
            words = {word.strip(".,;:()") for word in text.split()}
            for word in words & months.keys():
                seen += 1
                assert months[word] <= month, word
            assert not [word for word in words if word[-4:-3] == "-" and word[-2:].isdigit() and word not in months]
    assert seen >= 15


def test_rebuttals_and_outcomes_say_why(threads):
    entries = [(entry, text) for thread in threads.values() for entry, text in thread.entries]
    assert all("not show" in text or "not meet" in text for entry, text in entries if getattr(entry, "response", "") == "rebuttal")
    assert all(len(text.split()) >= 10 for entry, text in entries if isinstance(entry, Outcome))


def test_the_submissions_say_what_the_threads_quote_of_them(repository):
    """A few figures that the arguments hang on, read again from the submissions."""
    runs = {(s.record.id, run.id): run for s in repository.submissions for run in s.record.runs}

    def written(submission, run, work):
        readings = runs[submission, run].readings
        return [float(str(v.written).split(" (")[0].replace(",", ".")) for r in readings if float(r.work) == work for v in r.values]

    def mean(*place):
        return sum(written(*place)) / len(written(*place))

    assert round(mean("tern-2025-06-p01", "run-4", 80)) == 291
    assert min(written("limpet-2025-08-p03", "run-2", 0)) == 1.85 and max(written("limpet-2025-08-p03", "run-2", 5)) == 1.4
    assert written("tern-2025-08-s01", "run-2", 80) == [537, 658, 486]
    assert [round(mean("halyard-2026-01-p09", f"run-{n}", 10), 2) for n in (2, 4, 5)] == [0.3, 0.2, 0.17]
    assert [round(mean("kittiwake-2025-10-p05", f"run-{n}", 10)) for n in (2, 3)] == [158, 184]
    damp = [mean("tern-2026-02-p12", f"run-{n}", 80) * 4.4482216 for n in (1, 2, 4, 3)]
    assert [round(force, 2) for force in damp] == [5.75, 3.54, 4.24, 5.29]
    blunt = [mean("kittiwake-2026-02-s08", f"run-{n}", 40) for n in (2, 4, 5)]
    assert [round(force, 2) for force in blunt] == [0.51, 0.36, 0.54]
    places = [runs["tern-2025-11-p06", f"run-{n}"].coil_position_m for n in range(1, 7)]
    assert [second - first for first, second in zip(places[::2], places[1::2], strict=True)] == [6, 8, 8]


def test_coded_testers_had_guessed_right_as_often_as_the_thread_says(repository):
    def right_of(last):
        found = []
        for submission in repository.submissions:
            record = submission.record
            if record.protocol.id == "two-sharpeners-rope" and record.month <= last:
                hands = {preparation.id: preparation.sharpener for preparation in record.preparations}
                guesses = [(run.tester_guess, hands[run.preparation]) for run in record.runs if run.tester_guess]
                found += [guess.sharpener == sharpener for guess, sharpener in guesses]
        return sum(found), len(found)

    assert right_of("2025-09") == (14, 22)
    assert right_of("2026-05") == (65, 100)


def test_runs_that_testers_broke_off_are_as_many_as_the_thread_says(repository):
    records = [s.record for s in repository.submissions if s.record.protocol.version == "2.0.0" and s.record.month <= "2026-05"]
    ended = [run.ended for record in records for run in record.runs]
    assert (ended.count("tester stopped"), len(ended)) == (2, 165)
