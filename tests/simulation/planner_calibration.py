"""What the planner promises against what evenings then report.

Evenings are made here from readings up, without the planner's own simulation: forces or passes at every checkpoint, with effects of
evening and tester, go through the answer of the report (`edgehold.report`). Each evening draws its own plan.

``python tests/simulation/planner_calibration.py [EVENINGS]`` writes planner_calibration.md beside this file (2,000 take about
half an hour on one busy core).
"""

from __future__ import annotations

import json
import math
import sys
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import yaml

from edgehold.planning.capacity import capacity
from edgehold.planning.chances import expected, setting
from edgehold.planning.occasion import occasion, stock
from edgehold.planning.plans import draw_plan
from edgehold.records.canonical import PoolKey
from edgehold.records.model.protocol import Protocol, major
from edgehold.records.model.submission import Submission
from edgehold.report import answer_submission
from edgehold.results.publish.repeatability import table_of

ROOT = Path(__file__).parents[2]
EVENING_SD, TESTER_SD, REPEAT_SD = 0.15, 0.2, 0.08
SEED = 20261125
TOLD = ("better", "no difference worth having", "different, size undecided", "undecided")


@dataclass(frozen=True)
class Case:
    """One setting: ``asks`` goes to `occasion`, ``has`` to `stock`; ``spread`` is (ln SD, df) of the table; ``times`` its true multiple."""

    name: str
    protocol: str
    version: str
    asks: dict
    has: dict
    spread: tuple[float, float] | None = None
    times: float = 1.0
    ratio: float | None = None
    calibrated: bool = True


TWO = {"blades": ["wren.galley"], "sharpeners": ["tern", "wren"], "testers": ["fennel"], "coder": "moss"}
CASES = (
    Case("4 coded runs, one evening, the protocol's assumption", "two-sharpeners-rope", "1.1.0", TWO, {}),
    Case("8 coded runs, two evenings, the protocol's assumption", "two-sharpeners-rope", "1.1.0", TWO, {"evenings": 2}),
    Case(
        "8 open runs, two testers taking turns, known well (ln SD 0.12, 40 df)",
        "two-sharpeners-rope", "1.1.0", TWO | {"testers": ["tern", "wren"], "coder": None}, {"evenings": 2}, (0.12, 40),
    ),
    Case(
        "16 coded runs, 2 blades × 2 sharpeners, four evenings (ln SD 0.15, 12 df)",
        "steels-exchanged-rope", "2.0.0",
        {"blades": ["wren.galley", "wren.rigging"], "sharpeners": ["tern", "wren"], "testers": ["fennel"], "coder": "moss"},
        {"evenings": 4}, (0.15, 12),
    ),
    Case(
        "lives between passes and fails, 8 open runs, two evenings (ln SD 0.4, 20 df)",
        "life-on-card", "1.0.0", {"blades": ["wren.galley", "wren.rigging"], "alone": "wren"}, {"evenings": 2}, (0.4, 20),
    ),
    Case(
        "4 coded runs, true spread half as large again as the table says (40 df): not to be kept",
        "two-sharpeners-rope", "1.1.0", TWO, {}, (0.12, 40), 1.5, None, False,
    ),
)  # fmt: skip


def read_protocol(name: str, version: str) -> Protocol:
    """A protocol with its primary endpoint alone: nothing else is asked here."""
    text = (ROOT / "protocols" / name / f"{version}.md").read_text(encoding="utf-8")
    whole = Protocol.model_validate_json(json.dumps(yaml.safe_load(text.split("---\n", 2)[1])))
    return whole.model_copy(update={"endpoints": tuple(rule for rule in whole.endpoints if rule.primary)})


def table(protocol: Protocol, case: Case) -> dict:
    """What a published table would give the report: pooled and alike where the case names a spread, else the assumption."""
    entries = {}
    for rule in protocol.endpoints:
        assumed = rule.assumed_repeatability
        plain = {"s2_pooled": None, "df_pooled": 0.0, "prior_s2": assumed.ln_sd**2, "prior_df": assumed.prior_df}
        plain |= {"source": "assumed", "submissions": 0}
        if case.spread is not None:
            s2, df = case.spread[0] ** 2, case.spread[1]
            plain = {"s2_pooled": s2, "df_pooled": df, "prior_s2": s2, "prior_df": None, "source": "pooled", "submissions": 9}
        entries[rule.id] = plain
    return {"sha256": "0" * 64, "reading_variance": None, "endpoints": entries}


def evening(protocol: Protocol, plan, rng: np.random.Generator, sigma: float, effect: float, factor: str, first: str) -> Submission:
    """One evening as somebody would send it in."""
    evenings = dict.fromkeys(run.evening for run in plan.runs)
    evenings = {name: rng.normal(0, EVENING_SD) for name in evenings}
    testers = {name: rng.normal(0, TESTER_SD) for name in sorted({run.tester for run in plan.runs})}
    preparations, runs = [], []
    for run in plan.runs:
        arm = run.sharpener if factor == "sharpener" else run.blade
        deviation = evenings[run.evening] + testers[run.tester] + (effect if arm == first else 0.0)
        preparations.append({"id": f"edge-{run.order}", "blade": run.blade, "sharpener": run.sharpener})
        read, ended = (passes if protocol.reading.kind == "pass/fail" else forces)(protocol, rng, deviation - effect / 2, sigma)
        runs.append(
            {
                "id": f"run-{run.order}", "order": run.order, "evening": run.evening, "preparation": f"edge-{run.order}",
                "tester": run.tester, "work_unit": protocol.work.unit, "reading_unit": protocol.reading.canonical_unit,
                "ended": ended, "readings": read,
            }
        )  # fmt: skip
    people = sorted({run.sharpener for run in plan.runs} | {run.tester for run in plan.runs})
    record = {
        "format": "submission/1.0.0", "id": plan.id, "protocol": {"id": protocol.id, "version": protocol.version},
        "origin": "simulated", "licence": "CC0-1.0", "submitted_by": people[0], "month": "2026-05",
        "people": [{"handle": name, "agreed": "yes"} for name in people],
        "blades": [{"key": key} for key in sorted({run.blade for run in plan.runs})],
        "preparations": preparations, "runs": runs,
    }  # fmt: skip
    return Submission.model_validate_json(json.dumps(record))


def forces(protocol: Protocol, rng, deviation: float, sigma: float) -> tuple[list, str]:
    """Force rises with the logarithm of work; run and reading errors add up to the spread between runs."""
    repeats = protocol.reading.repeats
    between = rng.normal(0, math.sqrt(max(sigma**2 - REPEAT_SD**2 / repeats, 0.0)))
    read = []
    for work in protocol.work.checkpoints:
        middle = math.log(0.6) + 0.3 * math.log(1 + work / 5) - deviation - between
        values = np.exp(middle + rng.normal(0, REPEAT_SD, repeats))
        read.append({"work": work, "values": [{"written": round(float(v), 4)} for v in values]})
    return read, "last checkpoint"


def passes(protocol: Protocol, rng, deviation: float, sigma: float) -> tuple[list, str]:
    """Paper is sliced until the edge's life is over, and no more after."""
    centre = math.log(protocol.early_checkpoint * protocol.late_checkpoint) / 2
    life = math.exp(centre + deviation + rng.normal(0, sigma))
    read, failed = [], 0
    for work in protocol.work.checkpoints:
        outcome = "pass" if work < life else "fail"
        read.append({"work": work, "outcomes": [outcome] * protocol.reading.repeats})
        failed += outcome == "fail"
        if failed == protocol.stopping.readings_below:
            return read, "dull"
    return read, "last checkpoint"


def planned(case: Case, protocol: Protocol, seed: int):
    asked = occasion(protocol, stock(protocol, **case.has), **case.asks)
    return asked, draw_plan(asked, capacity(asked), id=f"case-{seed}", month="2026-05", seed=seed, sealed=False, origin="simulated")


def run_case(case: Case, count: int, rng: np.random.Generator) -> list[str]:
    """Rows of the table."""
    protocol = read_protocol(case.protocol, case.version)
    repeatability = table(protocol, case)
    asked, plan = planned(case, protocol, 1)
    entry = table_of(repeatability, PoolKey(protocol.id, major(protocol.version), "simulated"), protocol)
    entry = entry.entry((PoolKey(protocol.id, major(protocol.version), "simulated"), asked.rule.id))
    promise = expected(setting(plan, protocol, entry), 600 if protocol.reading.kind == "pass/fail" else 4000)
    factor = "sharpener" if protocol.question.factor == "sharpener" else "blade"
    rows = []
    for power, chance in enumerate(promise.chances):
        halves, verdicts = [], []
        for number in range(count):
            worth = promise.spread_df
            sigma = case.times * promise.ln_sd * math.sqrt(worth / rng.chisquare(worth))
            effect = power * math.log(asked.worthwhile_ratio)
            record = evening(protocol, planned(case, protocol, 1000 + number)[1], rng, sigma, effect, factor, promise.first)
            answers = answer_submission(record, protocol, repeatability, {}).results
            (found,) = (a for a in answers if (a.endpoint, a.factor, a.first) == (asked.rule.id, factor, promise.first))
            verdicts.append(found.verdict)
            if found.low and found.high:
                halves.append(math.log(found.high / found.low) / 2)
        rows += compared(case, promise, chance, power, np.array(halves), verdicts)
        print(f"{case.name}: true ratio {chance.true_ratio:.3g} done", file=sys.stderr, flush=True)
    return rows


def compared(case: Case, promise, chance, power: int, halves: np.ndarray, verdicts: list[str]) -> list[str]:
    """One row for the width, one for each verdict."""
    rows = []
    if power == 0:
        width = math.sqrt(float((halves**2).mean()))
        error = float((halves**2).std(ddof=1)) / (2 * width * math.sqrt(len(halves)))
        rows.append(row(case, "half width, ln", chance, promise.half_width, promise.half_width_error, width, error, 3))
    for kind in TOLD:
        seen = verdicts.count(kind) / len(verdicts)
        off = 1 / (len(verdicts) + 2)
        p = min(max(seen, off), 1 - off)
        rows.append(
            row(case, kind, chance, chance.share[kind], chance.standard_error[kind], seen, math.sqrt(p * (1 - p) / len(verdicts)), 3)
        )
    return rows


def row(case: Case, what: str, chance, promised: float, promised_error: float, seen: float, error: float, digits: int) -> str:
    alike = abs(seen - promised) < 1e-6  # a width that does not vary at all
    apart = 0.0 if alike else (seen - promised) / math.hypot(promised_error, error)
    cells = [case.name, f"×{chance.true_ratio:.3g}", what, f"{promised:.{digits}f} ± {promised_error:.{digits}f}"]
    cells += [f"{seen:.{digits}f} ± {error:.{digits}f}", f"{apart:+.1f}"]
    return "| " + " | ".join(cells) + " |"


def main(count: int) -> None:
    rng = np.random.default_rng(SEED)
    rows = [(case, run_case(case, count, rng)) for case in CASES]
    kept = [abs(float(r.split("|")[-2])) for case, own in rows if case.calibrated for r in own]
    beyond = sum(z > 2 for z in kept)
    text = [
        "# Planner: promised and reported",
        "",
        f"`planner_calibration.py`, seed {SEED}, {count} evenings a true ratio, made from readings up and answered by the report. The",
        "last column is the difference in standard errors of both simulations. In all cases but the last the spread between runs is",
        f"drawn from what the table is worth; evenings and testers differ by ln SDs of {EVENING_SD:g} and {TESTER_SD:g}.",
        f"Beyond two standard errors: {beyond} of {len(kept)}, about {0.05 * len(kept):.0f} expected; the largest {max(kept):.1f}.",
        "The last case breaks the assumption on purpose: a promise is as good as the spread it rests on.",
        "",
        "| case | true ratio | what | promised | reported | apart |",
        "|---|---|---|---|---|---|",
        *(r for _, own in rows for r in own),
    ]
    (Path(__file__).parent / "planner_calibration.md").write_text("\n".join(text) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 2000)
