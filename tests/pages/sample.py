"""Hand-made results for the tests of pages: as many submissions as asked for, and every kind of state a comparison has."""

from __future__ import annotations

import math

import sample_analyses as analyses
import sample_answers as answers
import sample_moves as moves
import sample_objections as objections
import sample_studies as studies
from sample_analyses import LONE_STEEL, PAIRS, STEELS, interval

from edgehold.results.model.history import ChangedValueResult, ChangeResult, RemovedResult
from edgehold.results.model.results import (
    Comparison,
    Counts,
    Crossover,
    CurvePointResult,
    EndpointResult,
    Interlaboratory,
    LaboratoryCell,
    OwnAnswer,
    Pool,
    Prediction,
    Provenance,
    Quoted,
    Range,
    ReadingResult,
    RepeatabilityEntry,
    Results,
    RunResult,
    SteelCurve,
    SteelResult,
    StudyLine,
    SubmissionResult,
    ToldApart,
)
from edgehold.results.model.versions import EventResult, FigureResult, ProtocolResult, StepResult, ThreatResult
from edgehold.results.words.sentences import headline, quoted_answer

WORK = (0.0, 5.0, 10.0, 20.0, 40.0, 80.0, 160.0)
HANDLES = ("tern", "gull", "plover", "curlew")

BODY = """You cut rope and read a thread.

## Before anything else

### s1-safe-first · A safe bench

1. **Clamp the rope.**
2. See [Alone tonight](#alone-tonight) and [step 2](#s2-reading).

### s2-reading · Set up the reading

![The rig, drawn from the front](figures/rig.svg)

| What | Where |
|---|---|
| thread | in the house |

## Alone tonight

It can be done alone.
"""

SVG = (
    '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 100 60" fill="none" stroke="currentColor"><title>Rig</title>'
    '<defs><marker id="arrow" viewBox="0 0 4 4"><path d="M0 0l4 2l-4 2z"/></marker></defs>'
    '<line x1="5" y1="5" x2="90" y2="50" marker-end="url(#arrow)"/><text x="10" y="20">scale</text></svg>'
)


def line(number: int, ratio: float | None, bound: str | None = None) -> StudyLine:
    return StudyLine(
        submission=f"2026-0{number % 9 + 1}-harbour-{number}",
        cluster=number,
        month=f"2026-0{number % 9 + 1}",
        result=interval(ratio, 0.5) if ratio else None,
        bound=bound,
        bound_ratio=1.4 if bound else None,
        ln_estimate=math.log(ratio) if ratio else None,
        ln_variance=0.06 if ratio else None,
        weight_percent=25.0 if ratio else None,
        reason="" if ratio or bound else "no readings at this checkpoint",
        verdict="undecided",
        runs_first=3,
        runs_second=4,
        blades_first=1,
        blades_second=2,
        interest="maker",
    )


def comparison(first: str, second: str, state: str, ratio: float = 1.3, factor: str = "steel", lines: int = 4) -> Comparison:
    pooled = state == "pooled"
    kept = (line(1, ratio), line(2, ratio * 1.2), line(3, None, "at least"), line(4, None))[:lines]
    return Comparison(
        factor=factor,
        first=first,
        second=second,
        state=state,
        sentence=f"After 10 cuts, {first} against {second}: {state}.",
        verdict="different, size undecided" if pooled else "",
        studies=5 if pooled else {"listed": 2, "single": 1}.get(state, 0),
        one_sided=1,
        result=interval(ratio) if pooled else None,
        claim="Two blades of each carry this." if pooled else "",
        versions="Versions 1.0 and 1.1 agree." if pooled else "",
        ln_estimate=math.log(ratio) if pooled else None,
        ln_standard_error=0.1 if pooled else None,
        df=4.0 if pooled else None,
        tau=0.15 if pooled else None,
        tau_low=0.0 if pooled else None,
        tau_high=0.6 if pooled else None,
        i2_percent=41.5 if pooled else None,
        q=6.2 if pooled else None,
        q_df=4 if pooled else None,
        q_p=0.18 if pooled else None,
        prediction=Prediction(result=interval(ratio, 0.6), plug_in=interval(ratio, 0.5), caveat="") if pooled else None,
        bounds_included=interval(ratio, 0.3) if pooled else None,
        interests="At least half of this comes from sellers." if pooled else "",
        without_interested=interval(ratio, 0.4) if pooled else None,
        ruled_out_beyond=1.6 if pooled else None,
        blades_first=3,
        blades_second=2,
        testers=6,
        checks=studies.checks(ratio, asked=factor == "practice") if pooled else None,
        lines=kept,
    )


def endpoint(name: str, role: str, primary: bool, submissions: int) -> EndpointResult:
    pooled = submissions >= 3
    states = ("pooled", "listed", "single", "not estimable") if pooled else ("listed", "single", "single", "not estimable")
    fitted = name != "life"
    pairwise = tuple(
        comparison(a, b, states[n % 4], 0.6 + 0.35 * n, lines=submissions) for n, (a, b) in enumerate(PAIRS[:5] if submissions else ())
    )
    if pooled:
        pairwise += (comparison("practised", "novice", "pooled", 1.35, "practice", submissions),)
    return EndpointResult(
        id=name,
        title={"early": "Sharpness after 10 cuts", "late": "Sharpness after 160 cuts"}.get(name, "Cuts until dull"),
        kind="life" if name == "life" else "level",
        role=role,
        primary=primary,
        quantity="work" if name == "life" else "sharpness",
        worthwhile_ratio=1.25,
        exact=40,
        interval=2,
        censored=3,
        missing=1,
        repeatability=RepeatabilityEntry(ln_sd=0.24, df=31.0, prior_ln_sd=0.25, prior_df=None, source="pooled", submissions=9),
        steels=answers.steels(fitted) if submissions else (),
        practice=answers.answer(4, "practised", "novice", fitted, "practice") if pooled else None,
        model=answers.model(fitted, split_told=name == "late") if submissions else None,
        pairwise=pairwise,
        sharpening="Edges of practised sharpeners were sharper." if pooled else "This cannot be said.",
        interlaboratory=(laboratory(),) if pooled else (),
        crossed=analyses.crossed(fitted=fitted, split_told=name == "late") if submissions else None,
        network=analyses.network(fitted=fitted) if pooled else None,
        probes=analyses.probes(name) if pooled else (),
        probes_sentence="The one probe finds nothing, 1/20 by chance." if pooled else "",
    )


def laboratory() -> Interlaboratory:
    cells = tuple(
        LaboratoryCell(code=n, n=3, mean=2.0 + 0.1 * n, s=0.1, h=0.4, k=0.9, flags=("k above critical",) if n == 1 else ())
        for n in range(1, 5)
    )
    return Interlaboratory(
        item="tern.galley-one",
        scale="reading unit",
        unit="N",
        testers=4,
        runs=12,
        mean=2.2,
        s_r=0.1,
        s_R=0.2,
        s_L=0.17,
        h_critical=1.49,
        k_critical=1.92,
        note="",
        tests=("Cochran: nothing stands out.",),
        cells=cells,
    )


def pool(origin: str, submissions: int, factor: str = "steel", protocol: str = "steels-rope") -> Pool:
    endpoints = (endpoint("early", "early", False, submissions), endpoint("late", "late", True, submissions))
    endpoints += (endpoint("life", "overall", False, submissions),)
    curves = tuple(
        SteelCurve(
            steel=steel,
            points=tuple(
                CurvePointResult(work=w, ratio=r, low=r * 0.85, high=r * 1.15, runs=12)
                for w in WORK
                for r in [math.exp(-(0.12 + 0.05 * n) * math.log1p(w / 5) ** 1.3)]
            ),
        )
        for n, steel in enumerate(STEELS)
    )
    primary = next(endpoint for endpoint in endpoints if endpoint.primary)
    quoted = quoted_answer(factor, primary)
    return Pool(
        protocol=protocol,
        major=1,
        origin=origin,
        title="Steels exchanged, rope",
        factor=factor,
        medium="rope, natural fibre, three-strand, 9.5 mm",
        work_unit="cut",
        versions=("1.0.0",),
        first_month="2026-01",
        last_month="2026-09",
        counts=Counts(submissions=submissions, runs=46, testers=9, sharpeners=7, blades=12, steels=4, batches=5),
        hardness_hrc=Range(low=57.0, high=63.5, known=9, of=12),
        angle_deg=Range(low=14.0, high=20.0, known=10, of=12),
        interests={"none": 2, "owner": 1, "maker": 1},
        own_sharpening_percent=61.0,
        told_apart=(
            ToldApart(what="steel", verdict="yes", sentence="These runs can tell the steels apart."),
            ToldApart(what="split", verdict="no", sentence="How much people differ cannot be told apart: too few exchanged."),
        ),
        endpoints=endpoints,
        crossovers=(Crossover(first=STEELS[0], second=STEELS[1], sentence="They change places."),),
        curves=curves,
        curve_comparisons=tuple(analyses.curve_comparison(n, *pair, WORK) for n, pair in enumerate(PAIRS[:3])),
        headline=headline(submissions, quoted),
        quoted=Quoted(endpoint=primary.id, factor=quoted.factor, first=quoted.first, second=quoted.second) if quoted else None,
    )


def submission(number: int, origin: str, protocol: str = "steels-rope") -> SubmissionResult:
    runs = tuple(
        RunResult(
            id=f"r{n}",
            order=n,
            blade=f"{HANDLES[n % 4]}.galley-{n}",
            steel=STEELS[n % 4],
            sharpener=HANDLES[n % 4],
            tester=HANDLES[(n + 1) % 4],
            ended="last checkpoint",
            readings=tuple(ReadingResult(work=w, written="210, 220, 215 gf", mean=2.11, outcome="below" if w == 0 else "") for w in WORK),
            values={"early": "2.31", "late": "more than 4.9"},
        )
        for n in range(1, 5)
    )
    answer = OwnAnswer(
        endpoint="early",
        factor="sharpener",
        first="gull",
        second="tern",
        result=interval(1.2, 0.7),
        sentence="After 10 cuts, gull was 20 % sharper than tern.",
        verdict="undecided",
    )
    nothing = OwnAnswer(
        endpoint="late",
        factor="steel",
        first=STEELS[0],
        second=STEELS[1],
        result=None,
        sentence="Cannot be told apart: steel and sharpener move together.",
        verdict="",
    )
    return SubmissionResult(
        id=f"2026-0{number % 9 + 1}-harbour-{number}",
        path=f"submissions/{origin}/{protocol}/{number}.json",
        sha256="ab" * 32,
        state="as sent",
        changes=(),
        protocol=protocol,
        version="1.0.0",
        origin=origin,
        month=f"2026-0{number % 9 + 1}",
        submitted_by="tern",
        note="Wind from the east.\n\nThe rope was damp.",
        interest="owner",
        blades=4,
        people=HANDLES,
        runs=runs,
        answers=(answer, nothing),
        warnings=("Angle above 25 degrees per side. Said: both together.",),
    )


def change(number: int, kind: str) -> ChangeResult:
    what = (ChangedValueResult(pointer="/runs/0/humidity_percent", before="", after="55"),) if kind == "correction" else ()
    return ChangeResult(
        number=number,
        kind=kind,
        why="The thread was changed.\n\nBetween the runs.",
        by="gull",
        month="2026-10",
        what=what,
        path=f"submissions/measured/steels-rope/changes/some-id/0{number}-{kind}.json",
        sha256="ef" * 32,
    )


def retracted(origin: str, protocol: str = "steels-rope") -> SubmissionResult:
    """A corrected submission that was retracted after all: nothing is computed from it."""
    sound = submission(8, origin, protocol)
    runs = tuple(run.model_copy(update={"values": {}}) for run in sound.runs)
    changes = (change(1, "correction"), change(2, "retraction"))
    return sound.model_copy(update={"state": "retracted", "changes": changes, "answers": (), "runs": runs})


def corrected(sound: SubmissionResult) -> SubmissionResult:
    return sound.model_copy(update={"state": "corrected", "changes": (change(1, "correction"), change(2, "correction"))})


def protocol(version: str, newest: bool, status: str = "adopted", name: str = "steels-rope") -> ProtocolResult:
    objected = name == "steels-rope"
    front: dict[str, object] = {
        "title": "Steels exchanged, rope",
        "question": {"factor": "steel", "text": "Which steel stays sharper?"},
        "changes": "first version",
        "medium": {"name": "rope, natural fibre, three-strand, 9.5 mm", "description": "Rope."},
        "reading": {"kind": "force", "description": "Force to sever a thread."},
        "minutes": {"one_run": 45, "whole": 180},
        "design": {"least_runs": 4},
        "people": {"alone": "Two blades, not blind.", "two": "One codes, one cuts.", "three": None},
        "endpoints": [
            {
                "id": "early",
                "title": "Sharpness after 10 cuts",
                "role": "early",
                "primary": False,
                "worthwhile_ratio": 1.25,
                "assumed_repeatability": {"ln_sd": 0.25, "prior_df": 4, "source": "assumed"},
            }
        ],
        "threats": [
            {"threat": "order", "text": "The first is freshest.", "steps": ["s2-reading"]},
            {"threat": "generality", "text": "Rope is one medium.", "steps": []},
        ],
        "cautions": ["Clamp the rope."],
    }
    return ProtocolResult(
        id=name,
        version=version,
        status=status,
        newest=newest,
        sha256="cd" * 32,
        front=front,
        body=BODY,
        figures=(FigureResult(file="figures/rig.svg", caption="The rig", svg=SVG),),
        events=(
            EventResult(kind="released", by="harbour-board", month="2025-11", evidence="The moot of November", pilot=""),
            EventResult(kind="adopted", by="slip-warden", month="2026-03", evidence="", pilot="2026-02-harbour-1"),
        ),
        steps=(
            StepResult(id="s1-safe-first", title="A safe bench", objections=(2,) if objected else ()),
            StepResult(id="s2-reading", title="Set up the reading", objections=(1, 5) if objected else ()),
        ),
        threats=(
            ThreatResult(kind="order", text="The first is freshest.", steps=("s2-reading",), objections=(5,) if objected else ()),
            *([ThreatResult(kind="medium", text="", steps=(), objections=(1, 2))] if objected else ()),
            ThreatResult(kind="generality", text="Rope is one medium.", steps=(), objections=()),
        ),
        concerned=tuple(range(1, 8)) if objected else (),
        standing=(2, 5) if objected else (),
        blocking=(2,) if objected else (),
        closed_by=(),
        difference=objections.difference() if version == "1.1.0" else None,
    )


def closed(name: str) -> ProtocolResult:
    """A version whose form an objection closes."""
    sound = protocol("1.0.0", True, name=name)
    return sound.model_copy(update={"concerned": (1,), "standing": (1,), "blocking": (1,), "closed_by": (1,)})


def logs(pools: list[Pool], submissions: list[SubmissionResult]):
    """A log for every pool."""
    for of in pools:
        own = [s.id for s in submissions if (s.protocol, s.origin) == (of.protocol, of.origin)]
        yield moves.log(of.origin, own, of.protocol, objected=of.protocol == "two-sharpeners")


def results(measured: int = 0, simulated: int = 4) -> Results:
    """Results of ``measured`` and ``simulated`` submissions."""
    pools = [pool("simulated", simulated)] if simulated else []
    if simulated:
        pools.append(pool("simulated", simulated, "sharpener", "two-sharpeners"))
    if measured:
        pools.append(pool("measured", measured))
    submissions = [submission(n, p.origin, p.protocol) for p in pools for n in range(1, p.counts.submissions + 1)]
    submissions = submissions[:1] + [corrected(s) if n == 0 else s for n, s in enumerate(submissions[1:])]
    return Results(
        format="results/2.5.0",
        provenance=Provenance(
            program_version="0.1.0",
            inputs_sha256="12" * 32,
            input_files=9,
            repeatability_sha256="34" * 32,
            repository_url="https://code.example/edgehold",
        ),
        pools=tuple(pools),
        submissions=tuple(submissions),
        retracted=(retracted("measured"),) if measured else (),
        removed=(RemovedResult(id="gone-1", month="2026-10", reason="privacy"),) if measured else (),
        protocols=(
            protocol("1.0.0", False, "retired"),
            protocol("1.1.0", True),
            closed("card-life"),
            protocol("1.0.0", True, name="two-sharpeners"),
        ),
        objections=objections.objections(),
        steels=tuple(SteelResult(id=s, names=(s,), simulated=True, note="Invented.") for s in (*STEELS, LONE_STEEL)) if pools else (),
        moves=tuple(logs(pools, submissions)),
    )
