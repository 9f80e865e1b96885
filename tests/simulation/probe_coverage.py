"""Coverage of the probes' intervals where everything they ask about is planted, and how often they find something where nothing is.

Every seed draws the rows of a repository (``probe_runs.py``), hands them to ``probe_answers`` and asks of each figure whether it holds the
truth. Run from the repository's root::

    PYTHONPATH=. python tests/simulation/probe_coverage.py --out build/probe_coverage
    PYTHONPATH=. python tests/simulation/probe_coverage.py --out build/probe_coverage --summary

A run appends one line a seed to one file a row and skips the seeds that are there, so it can be stopped and started again.
``--summary`` writes ``probe_coverage.md`` beside this script.

The path looks for the variances from four starts and takes the best minimum; here they are looked for from the first start alone,
which takes a third of the time. A test compares the two.
"""

from __future__ import annotations

import argparse
import json
import math
import sys
import time
from collections.abc import Iterator, Mapping, Sequence
from importlib import import_module
from pathlib import Path
from unittest import mock

import numpy as np
from monte_carlo import lower_bound
from probe_runs import ENDPOINT, NOTHING, PLANTED, POOL, Design, draw

from edgehold.numerics.variance_search import search_from
from edgehold.pooling.probes.effects import Answered, Unanswered
from edgehold.pooling.probes.probes import CHANCE, probe_answers
from edgehold.pooling.probes.register import PROBES, TESTED

CROSSED = import_module("edgehold.pooling.crossed.crossed")  # the module: the package has the function under this name

WANTED, WANTED_SPREAD = 0.93, 0.92  # least lower bounds of the coverage of a ratio, and of a variance's interval
MOST_FALSE = 0.07  # largest upper bound of the share of false alarms
CLAIMED = 2000  # figures below which one is shown and nothing is claimed of it
NOT_DRAWN = {"seal", "second-in-turn"}  # the model of "blinding", with the seal in place of the code; edges here are cut one by one
DRAWN = tuple(probe for probe in PROBES if probe.id not in NOT_DRAWN)
ALL_PROBES = 100  # seeds of a row that are asked every probe; the others are asked the core, for which most is claimed
CORE = (
    "lot", "coil-position", "run-order", "humidity", "blinding", "own-sharpening", "start-keenness", "steels-at-equal-start",
)  # fmt: skip
BLOCK = 50  # seeds of one row before the next row has its turn
KEY = (POOL, ENDPOINT)
ROWS: dict[str, Design] = {
    f"{what} {size}": Design(size, effects) for size in (8, 20, 40) for what, effects in (("planted", PLANTED), ("nothing", NOTHING))
}
SEEDS = {8: 2150, 20: 2050, 40: 2050}  # at 8 a few seeds leave blinding unanswered
TABLE = Path(__file__).with_name("probe_coverage.md")


def line(design: Design, seed: int, whole: bool = False) -> dict:
    """What one seed's probes found, and whether it held the truth; ``whole``: with the path's own search."""
    drawn = draw(design, seed)
    asked = [probe for probe in DRAWN if seed <= ALL_PROBES or probe.id in CORE]
    with mock.patch.object(CROSSED, "search_widely", CROSSED.search_widely if whole else search_from):
        answers = probe_answers(drawn.rows, {KEY: asked})[KEY]
    return {"seed": seed, "probes": {one.probe.id: _figure(one.found, drawn.truth[one.probe.id]) for one in answers}}


def _figure(answer: Answered | Unanswered, truth: float) -> dict:
    if isinstance(answer, Unanswered):
        return {"state": answer.state}
    interval = answer.result.interval
    return {
        "off": round(answer.result.estimate - truth, 6), "half": round((interval.high - interval.low) / 2, 6),
        "held": bool(interval.low <= truth <= interval.high), "p": answer.p,
    }  # fmt: skip


def run(names: Sequence[str], out: Path, first: int, seeds: int | None, until: float) -> None:
    """Append the line of every seed that is not there yet, row by row in blocks, until a time."""
    out.mkdir(parents=True, exist_ok=True)
    done = {name: {one["seed"] for one in lines(out / f"{name}.jsonl")} for name in names}
    for name, seed in _turns(names, first, seeds):
        if time.time() > until:
            return
        if seed not in done[name]:
            with (out / f"{name}.jsonl").open("a", encoding="utf-8") as file:
                file.write(json.dumps(line(ROWS[name], seed)) + "\n")
            print(f"\r{name} seed {seed}", end="", file=sys.stderr)


def _turns(names: Sequence[str], first: int, seeds: int | None) -> Iterator[tuple[str, int]]:
    wanted = {name: range(first, first + (seeds or SEEDS[ROWS[name].submissions])) for name in names}
    for start in range(0, max(map(len, wanted.values())), BLOCK):
        for name in names:
            for seed in wanted[name][start : start + BLOCK]:
                yield name, seed


def lines(path: Path) -> list[dict]:
    """Lines of one row so far; none where there is no file."""
    return [json.loads(text) for text in path.read_text(encoding="utf-8").splitlines()] if path.exists() else []


def asked_of(found: Sequence[dict], probe: str) -> list[dict]:
    """What a probe came to in every seed that was asked it."""
    return [one["probes"][probe] for one in found if probe in one["probes"]]


def figures(found: Sequence[dict], probe: str) -> list[dict]:
    """The same where it was answered."""
    return [one for one in asked_of(found, probe) if "held" in one]


def covered(found: Sequence[dict], probe: str) -> tuple[float, float, int]:
    """Share of figures that hold the truth, its lower 99 % limit, and how many figures there are."""
    held = [one["held"] for one in figures(found, probe)]
    share = float(np.mean(held)) if held else math.nan
    return share, lower_bound(share, len(held)) if held else math.nan, len(held)


def alarms(found: Sequence[dict], probe: str) -> tuple[float, float, int]:
    """Share of figures with p below the level, its upper 99 % limit, and how many figures there are."""
    rung = [one["p"] < CHANCE for one in figures(found, probe) if one["p"] is not None]
    share = float(np.mean(rung)) if rung else math.nan
    return share, 1 - lower_bound(1 - share, len(rung)) if rung else math.nan, len(rung)


def verdict(kept: bool, told: int) -> str:
    """Whether a bound is kept; nothing is claimed of few figures."""
    return "not claimed" if told < CLAIMED else "kept" if kept else "**missed**"


HEAD = """# Coverage and false alarms of the probes

Made by `probe_coverage.py`; what was asked, what is planted and what this shows is in `README.md`. "(bound)" is Wilson's one-sided 99 %
limit: the lower one of a coverage, the upper one of a share of false alarms. Of figures fewer than {claimed} nothing is claimed.

## With everything planted

How often the 95 % interval holds the truth. Kept: the lower bound is at least .93 (for lots, whose figure is a variance's, .92).
"bias" is the mean of estimate less truth on the ln scale, "width" the median half-width as a ratio, "found" how often p is below .05.

{planted}

## With nothing planted

How often p is below .05 though there is nothing to find. Kept: the upper bound is at most .07. Probes of steels at an equal value have
no p; for them the share of intervals that hold the truth is given, as above.

{nothing}
"""


def summary(found: Mapping[str, Sequence[dict]]) -> str:
    """The tables, of the rows that have lines."""
    tables = {}
    for what, columns in (("planted", PLANTED_COLUMNS), ("nothing", NOTHING_COLUMNS)):
        rows = [name for name in ROWS if name.startswith(what) and found.get(name)]
        cells = [_cells(what, probe, ROWS[name].submissions, found[name]) for probe in DRAWN for name in rows]
        tables[what] = "\n".join("| " + " | ".join(row) + " |" for row in (columns, ["---"] * len(columns), *cells))
    return HEAD.format(claimed=f"{CLAIMED:,}".replace(",", " "), **tables)


PLANTED_COLUMNS = ("probe", "submissions", "seeds", "answered", "covered (bound)", "", "bias, ln", "width", "found")
NOTHING_COLUMNS = ("probe", "submissions", "seeds", "answered", "false alarms (bound)", "covered (bound)", "")


def _cells(what: str, probe, size: int, found: Sequence[dict]) -> list[str]:
    share, bound, n = covered(found, probe.id)
    asked = len(asked_of(found, probe.id))
    opening = [probe.id, str(size), str(asked), f"{100 * n / asked:.0f} %"]
    told = f"{share:.3f} ({bound:.3f})" if n else "–"
    wanted = WANTED_SPREAD if probe.id == "lot" else WANTED
    if what == "planted":
        return [*opening, told, verdict(bound >= wanted, n), *_spread(found, probe.id)]
    if probe.measures not in TESTED:
        return [*opening, "–", told, verdict(bound >= wanted, n)]
    false, most, told = alarms(found, probe.id)
    return [*opening, f"{false:.3f} ({most:.3f})" if told else "–", "–", verdict(most <= MOST_FALSE, told)]


def _spread(found: Sequence[dict], probe: str) -> list[str]:
    told = figures(found, probe)
    if len(told) < 2:
        return ["–", "–", "–"]
    off = np.array([one["off"] for one in told])
    rung = alarms(found, probe)
    return [
        f"{off.mean():+.3f} ± {off.std(ddof=1) / math.sqrt(len(off)):.3f}",
        f"×/÷ {math.exp(float(np.median([one['half'] for one in told]))):.2f}",
        f"{100 * rung[0]:.0f} %" if rung[2] else "–",
    ]


def main() -> None:
    """Parse, run or summarise."""
    parser = argparse.ArgumentParser(description="Coverage and false alarms of the probes")
    parser.add_argument("--out", type=Path, default=Path("build/probe_coverage"))
    parser.add_argument("--rows", nargs="+", choices=tuple(ROWS), default=tuple(ROWS))
    parser.add_argument("--first", type=int, default=1)
    parser.add_argument("--seeds", type=int, default=None, help="instead of each row's own number")
    parser.add_argument("--minutes", type=float, default=math.inf, help="stop after so many")
    parser.add_argument("--summary", action="store_true", help=f"write {TABLE.name} from the lines so far")
    arguments = parser.parse_args()
    if arguments.summary:
        TABLE.write_text(summary({name: lines(arguments.out / f"{name}.jsonl") for name in ROWS}), encoding="utf-8")
    else:
        run(arguments.rows, arguments.out, arguments.first, arguments.seeds, time.time() + 60 * arguments.minutes)


if __name__ == "__main__":
    main()
