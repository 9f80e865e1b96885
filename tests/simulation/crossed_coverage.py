"""Coverage and bias of the crossed model as it is published, for the sizes this project meets.

Every seed draws runs with known effects, hands them to ``runs_model`` and asks of each published figure whether it holds the
truth, and of each figure that the rules refuse whether it was refused. Run from the repository's root::

    python tests/simulation/crossed_coverage.py --out build/crossed_coverage
    python tests/simulation/crossed_coverage.py --out build/crossed_coverage --summary

A run appends one line a seed to one file a row and skips the seeds that are there, so it can be stopped and started again.
``--summary`` writes ``crossed_coverage.md`` beside this script.

The whole profile of a variance is the slowest part. Whether its interval holds the truth is known from one point of the profile,
the truth, and that alone is computed here (``limits_at_truth``); a test compares it with whole intervals.
"""

from __future__ import annotations

import argparse
import json
import math
import sys
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from importlib import import_module
from pathlib import Path
from unittest import mock

import numpy as np
from crossed_runs import MEANS, OWN_SHARPENING, STEELS, Design, Drawn, draw, held_variance
from monte_carlo import lower_bound
from scipy.stats import chi2

from edgehold.numerics import variance_profile
from edgehold.pooling.crossed.censored import MOST_ONE_SIDED
from edgehold.pooling.crossed.inputs import RESIDUAL
from edgehold.pooling.crossed.runs_design import checked_runs
from edgehold.pooling.crossed.runs_model import (
    RunsModel,
    RunsModelFitted,
    RunsModelNotFitted,
    SteelsEstimated,
    SteelsNotEstimated,
    VarianceBounded,
    VarianceEstimated,
    VarianceNotEstimable,
    model_of,
)
from edgehold.pooling.crossed.within_submissions import within_submissions

CROSSED = import_module("edgehold.pooling.crossed.crossed")  # the module: the package has the function under this name

WANTED, WANTED_VARIANCE, MOST = 0.93, 0.92, 0.97  # least lower bounds; most coverage, where it is asked for
MANY = 20  # submissions from which at most ``MOST`` is asked for, if no true variance is zero
WITHIN_SEEDS = 500  # that are compared with what is within submissions
BLOCK = 100  # seeds of one row before the next row has its turn, so that no row lags behind
ROUNDING = 1e-9
CLAIMED = 2000  # seeds below which a figure is shown and nothing is claimed of it
FIRST_PAIR = 0  # the pair of steels whose interval is judged, first : second; pairs of one seed are not independent
TERMS = ("residual", "sharpener", "tester", "blade", "submission", "steel × sharpener", "steel × tester")
TABLE = Path(__file__).with_name("crossed_coverage.md")


@dataclass(frozen=True)
class Row:
    """A row of the table: its design, how many seeds, and how many of them get profile intervals of the variances."""

    design: Design
    seeds: int = 2000
    profiled: int = 2000


PEOPLE = ("sharpener", "tester")
ROWS: dict[str, Row] = {
    "1": Row(Design(5, 2, own=1.0)),
    "2": Row(Design(5, 4, own=0.5)),
    "3": Row(Design(5, 6, own=0.0)),
    "4": Row(Design(10, 2, own=0.5)),
    "5": Row(Design(10, 6, own=0.2, people=6)),
    "6": Row(Design(20, 3, own=1.0, blades=4)),
    "7": Row(Design(20, 3, own=0.95)),
    "8": Row(Design(20, 3, own=0.8, blades=4)),
    "9": Row(Design(20, 2, own=0.5, people=12)),
    "10": Row(Design(20, 3, own=0.5, blades=4, zero=("sharpener", "steel × sharpener", "steel × tester", "submission"))),
    "11": Row(Design(40, 2, own=0.8, neighbours=True), seeds=2050, profiled=2050),
    "12": Row(Design(40, 3, own=0.5, people=25, blades=6)),
    "13": Row(Design(40, 6, own=0.0, blades=6)),
    "14": Row(Design(5, 4, own=1.0, steels=1)),
    "15": Row(Design(10, 3, own=0.5, steels=1)),
    "16": Row(Design(5, 3, own=0.5, censored=0.10), seeds=2200, profiled=2200),
    "17": Row(Design(10, 2, own=0.5, preparations=1, censored=0.25), seeds=2800, profiled=2800),
    "18": Row(Design(20, 2, own=0.5, censored=0.50)),
}


def line(design: Design, seed: int, profile: bool = True, whole: bool = False) -> dict:
    """What one seed published, and whether it held the truth; ``whole``: by whole profiles of the variances."""
    drawn = draw(design, seed)
    runs = checked_runs(drawn.low, drawn.high, drawn.labels)
    if whole or not profile:
        found = model_of(runs, profile=profile)
    else:
        with mock.patch.object(CROSSED, "_profiles", partial(limits_at_truth, design, drawn.labels)):
            found = model_of(runs)
    within = within_submissions(runs, found) if seed <= WITHIN_SEEDS else ()
    inside = {(one.first, one.second): one for one in within}
    told = {
        "seed": seed, "profiled": profile, "split": found.apart.split.verdict, "one_sided": found.one_sided / found.runs,
        "broken": broken_rules(found), "pairs": [_pair(one, inside.get((one.first, one.second)), drawn) for one in found.steels],
    }  # fmt: skip
    if isinstance(found, RunsModelNotFitted):
        return told | {"state": "not fitted", "reason": found.reason, "own": None, "variances": {}}
    variances = {name: _variance(one, design, drawn, found) for name, one in found.variances.items()}
    return told | {"state": "fitted", "reason": "", "own": _own(found), "variances": variances}


def limits_at_truth(design: Design, labels: dict, problem, best, names, same, W, level: float) -> dict[str, variance_profile.Limits]:
    """Limits that hold the true variance exactly where the profile limits do: from the estimate to it, or from it away.

    Arguments after the first two are those of the function it stands for. A residual of which a part is known has its whole profile.
    """
    rise, held = float(chi2.ppf(level, 1)), tuple(name for name in names if name != RESIDUAL)
    found = {}
    for k, name in enumerate(names):
        if name in same:
            continue
        if name == RESIDUAL and problem.known:
            found[name] = variance_profile.profile_limits(problem, best, k, float(np.sqrt(W[k, k])), rise)
        else:
            truth = held_variance(design, labels, name, held) / problem.system.unit**2
            found[name] = _limits_at(problem, best, k, truth, rise)
    return found


def _limits_at(problem, best, k: int, truth: float, rise: float) -> variance_profile.Limits:
    estimate = float(best.variances[k])
    try:
        inside = variance_profile._Path(problem, best, k).rise(math.sqrt(truth))[0] <= rise
    except variance_profile._Stop as stop:
        better = stop.point if stop.point is not None and stop.point.deviance < best.deviance - variance_profile.BETTER else None
        return variance_profile.Limits(None, None, str(stop), better)
    if inside:
        return variance_profile.Limits(min(estimate, truth) * (1 - ROUNDING), max(estimate, truth) * (1 + ROUNDING), "")
    return variance_profile.Limits(0.0 if truth > estimate else estimate, estimate, "")


def broken_rules(found: RunsModel) -> list[str]:
    """Figures that should have been refused and were not; always empty if the rules are obeyed."""
    if isinstance(found, RunsModelNotFitted):
        return []
    broken = []
    if found.one_sided > MOST_ONE_SIDED * found.runs:
        broken.append("fitted with too many one-sided runs")
    for pair in found.steels:
        if pair.told == "no" and isinstance(pair, SteelsEstimated):
            broken.append(f"{pair.first} : {pair.second} not told, and yet a figure")
    for name in PEOPLE:
        broken += _broken_split(name, found)
    return broken


def _broken_split(name: str, found: RunsModelFitted) -> list[str]:
    one, verdict = found.variances[name], found.apart.split.verdict
    if verdict == "no" and not isinstance(one, VarianceNotEstimable):
        return [f"{name}: a figure where the split is refused"]
    if verdict == "weak" and isinstance(one, VarianceEstimated):
        return [f"{name}: more than an upper limit where the split is weak"]
    return []


def _pair(one, within, drawn: Drawn) -> dict:
    i, j = STEELS.index(one.first), STEELS.index(one.second)
    true = float(MEANS[i] - MEANS[j])
    if isinstance(one, SteelsNotEstimated):
        return {"told": one.told}
    new = None
    if one.new_hands is not None:
        new = _holds(one.new_hands.interval, float(drawn.new_hands[i] - drawn.new_hands[j]))
    interval = one.result.interval
    told = {
        "told": one.told, "off": one.result.estimate - true, "half": (interval.high - interval.low) / 2, "df": one.result.df,
        "held": _holds(interval, true), "at_once": _holds(one.simultaneous, true), "new": new,
    }  # fmt: skip
    if within is None or within.result is None:
        return told
    return told | {"inside": within.disagrees, "headline": _holds(within.result.interval if within.disagrees else interval, true)}


def _own(found: RunsModelFitted) -> bool | None:
    return None if found.own is None else _holds(found.own.interval, OWN_SHARPENING)


def _variance(one, design: Design, drawn: Drawn, found: RunsModelFitted) -> dict:
    """State, estimate, truth, and whether the interval or, where only that is given, the upper limit holds the truth."""
    truth = held_variance(design, drawn.labels, one.name, found.terms)
    fitted = found.fit.variances.get(one.name)
    state, held = "no number", None
    if isinstance(one, VarianceEstimated):
        state, held = "given", None if one.interval is None else _holds(one.interval, truth)
    elif isinstance(one, VarianceBounded):
        state, held = "upper limit only", None if one.upper is None else truth <= one.upper
    return {"state": state, "fitted": fitted, "true": truth, "held": held}


def _holds(interval, true: float) -> bool:
    return bool(interval.low <= true <= interval.high)


def run(rows: Mapping[str, Row], out: Path, first: int = 1, seeds: int | None = None) -> None:
    """Append the line of every seed that is not there yet."""
    out.mkdir(parents=True, exist_ok=True)
    wanted = {name: range(first, first + (seeds or row.seeds)) for name, row in rows.items()}
    done = {name: {one["seed"] for one in lines(out / f"{name}.jsonl")} for name in rows}
    for start in range(0, max(map(len, wanted.values())), BLOCK):
        for name, row in rows.items():
            with (out / f"{name}.jsonl").open("a", encoding="utf-8") as file:
                for seed in wanted[name][start : start + BLOCK]:
                    if seed not in done[name]:
                        file.write(json.dumps(line(row.design, seed, seed <= row.profiled)) + "\n")
                        file.flush()
                        print(f"\rrow {name} seed {seed}", end="", file=sys.stderr)


def lines(path: Path) -> list[dict]:
    """Lines of one row so far; none where there is no file."""
    return [json.loads(text) for text in path.read_text(encoding="utf-8").splitlines()] if path.exists() else []


@dataclass(frozen=True)
class Share:
    """How often something held: the share, its lower one-sided 99 % limit, and of how many."""

    held: float
    bound: float
    n: int

    def __str__(self) -> str:
        return f"{self.held:.3f} ({self.bound:.3f})" if self.n else "–"


def share(outcomes: Sequence[bool | None]) -> Share:
    """Share of those that are not None."""
    counted = [bool(one) for one in outcomes if one is not None]
    if not counted:
        return Share(math.nan, math.nan, 0)
    held = float(np.mean(counted))
    return Share(held, lower_bound(held, len(counted)), len(counted))


def contrast(found: Sequence[dict]) -> dict[str, object]:
    """What the first pair of steels came to: coverage, bias, its Monte-Carlo error, and width."""
    pairs = [one["pairs"][FIRST_PAIR] for one in found]
    told = [pair for pair in pairs if "off" in pair]
    off = np.array([pair["off"] for pair in told])
    return {
        "covered": share([pair["held"] for pair in told]),
        "bias": float(off.mean()) if len(off) else math.nan,
        "bias_error": float(off.std(ddof=1) / math.sqrt(len(off))) if len(off) > 1 else math.nan,
        "width": math.exp(float(np.median([pair["half"] for pair in told]))) if told else math.nan,
        "at_once": share([all(pair["at_once"] for pair in one["pairs"]) for one in found if all("off" in p for p in one["pairs"])]),
        "new_hands": share([pair.get("new") for pair in told]),
        "own": share([one["own"] for one in found]),
        "headline": share([pair.get("headline") for pair in told]),
        "inside": share([pair.get("inside") for pair in told]),
    }


def variance(found: Sequence[dict], term: str) -> tuple[Share, Share, float]:
    """Whatever was published of a variance, the intervals among it, and the share of seeds with an interval."""
    told = [one["variances"][term] for one in found if one["profiled"] and one["state"] == "fitted"]
    published = [one for one in told if one["held"] is not None]
    given = [one["held"] for one in published if one["state"] == "given"]
    return share([one["held"] for one in published]), share(given), len(given) / len(told) if told else math.nan


def contrast_verdict(design: Design, covered: Share) -> str:
    """Whether the bounds of the contrast's coverage are kept."""
    if covered.n < CLAIMED:
        return "not claimed" if covered.n else "refused"
    if covered.bound < WANTED:
        return "below"
    return "above" if design.submissions >= MANY and not design.zero and covered.held > MOST else "kept"


def variance_verdict(covered: Share) -> str:
    """Whether the bound of a variance's coverage is kept."""
    if covered.n < CLAIMED:
        return "not claimed" if covered.n else "refused"
    return "kept" if covered.bound >= WANTED_VARIANCE else "below"


def summary(found: Mapping[str, Sequence[dict]]) -> str:
    """The tables, of the rows that have lines."""
    there = [name for name in ROWS if found.get(name)]
    tables = (
        _table(DESIGN_COLUMNS, [_design_cells(name, found[name]) for name in there]),
        _table(CONTRAST_COLUMNS, [_contrast_cells(name, found[name]) for name in there]),
        _table(("row", *TERMS), [_variance_cells(name, found[name]) for name in there]),
        _table(("row", *TERMS), [[name, *(_ratio(found[name], term) for term in TERMS)] for name in there]),
    )
    return HEAD.format(*tables)


HEAD = """# Coverage of the crossed model

Made by `crossed_coverage.py`; what was asked, why these rows, and what they show is in `README.md`. "(99 % bound)" is Wilson's
lower one-sided limit. Everything is on the ln scale; the residual SD is 0.30 in every row.

## Rows, and whether the rules of what may be printed were obeyed

"own": share of the cells that the tester sharpened. "split" and "steels" count verdicts on sharpener against tester and on
every pair of steels. "rules broken" counts seeds with a figure that should have been refused.

{}

## The first steel against the second

"seeds" are those with a figure. Kept: the bound is at least .93 and, from 20 submissions on with no true variance of 0, no
more than .97 is covered. "width" is the median half-width of the interval as a ratio. "headline" is
the interval of the comparison within submissions where that disagrees with all runs (worthwhile ratio 1.25), which it did in the
share under "within". "new hands" is how often the prediction for
new blades in new hands held what one newly drawn pair of hands would meet. Only "covered" is judged.

{}

## Variances

How often the profile interval, or the upper limit where only that is given, held the true variance, with its bound (to be .92 at
least), and in how many of the seeds it was an interval. Where a term holds another that groups the runs alike, so does its truth.

{}

## Mean of the fitted variance over the true one

Over all fits, whether the figure was published or not.

{}
"""

DESIGN_COLUMNS = (
    *("row", "submissions", "people", "steels × preparations × runs", "own", "blades", "exchanged", "true variances of 0", "censored"),
    *("seeds", "fitted", "split no / weak / yes", "steels no / weak / yes", "rules broken"),
)
CONTRAST_COLUMNS = (
    *(
        "row",
        "seeds",
        "covered (99 % bound)",
        "",
        "bias, ln",
        "width",
        "headline",
        "within",
        "all pairs at once",
        "new hands",
        "own sharpening",
    ),
)


def _table(columns: Sequence[str], rows: Sequence[Sequence[str]]) -> str:
    return "\n".join("| " + " | ".join(cells) + " |" for cells in (columns, ["---"] * len(columns), *rows))


def _design_cells(name: str, found: Sequence[dict]) -> list[str]:
    design = ROWS[name].design
    fitted = np.mean([one["state"] == "fitted" for one in found])
    split, steels = [one["split"] for one in found], [pair["told"] for one in found for pair in one["pairs"]]
    broken = sum(bool(one["broken"]) for one in found)
    cells = f"{design.steels} × {design.preparations} × {design.runs}"
    return [
        name, str(design.submissions), str(design.people or design.submissions), cells, f"{100 * design.own:.0f} %",
        f"{design.blades} a steel go round" if design.blades else "own", "in pairs" if design.neighbours else "with anybody",
        ", ".join(design.zero) or "none", f"{100 * design.censored:.0f} %", str(len(found)), f"{100 * fitted:.1f} %",
        _verdicts(split), _verdicts(steels), str(broken),
    ]  # fmt: skip


def _verdicts(verdicts: Sequence[str]) -> str:
    return " / ".join(f"{100 * verdicts.count(kind) / len(verdicts):.0f}" for kind in ("no", "weak", "yes")) + " %"


def _contrast_cells(name: str, found: Sequence[dict]) -> list[str]:
    told = contrast(found)
    covered = told["covered"]
    if not covered.n:
        return [name, "0", "–", "refused", *["–"] * 7]
    return [
        name, str(covered.n), str(covered), contrast_verdict(ROWS[name].design, covered),
        f"{told['bias']:+.3f} ± {told['bias_error']:.3f}", f"×/÷ {told['width']:.2f}",
        str(told["headline"]), f"{100 * told['inside'].held:.0f} %" if told["inside"].n else "–",
        str(told["at_once"]), str(told["new_hands"]), str(told["own"]),
    ]  # fmt: skip


def _variance_cells(name: str, found: Sequence[dict]) -> list[str]:
    return [name, *(_variance_cell(found, term) for term in TERMS)]


def _variance_cell(found: Sequence[dict], term: str) -> str:
    published, _, given = variance(found, term)
    if not any(one["profiled"] for one in found):
        return "not looked at"
    if not published.n:
        return "no number"
    verdict = {"kept": "", "below": ", below"}.get(variance_verdict(published), f", {published.n} seeds")
    return f"{published}{verdict}; {100 * given:.0f} %"


def _ratio(found: Sequence[dict], term: str) -> str:
    told = [one["variances"][term] for one in found if one["state"] == "fitted"]
    ratios = [one["fitted"] / one["true"] for one in told if one["fitted"] is not None and one["true"] > 0]
    return f"{np.mean(ratios):.2f}" if ratios else "–"


def main() -> None:
    """Parse, run or summarise."""
    parser = argparse.ArgumentParser(description="Coverage and bias of the crossed model")
    parser.add_argument("--out", type=Path, default=Path("build/crossed_coverage"))
    parser.add_argument("--rows", nargs="+", choices=tuple(ROWS), default=tuple(ROWS))
    parser.add_argument("--first", type=int, default=1)
    parser.add_argument("--seeds", type=int, default=None, help="instead of each row's own number")
    parser.add_argument("--summary", action="store_true", help=f"write {TABLE.name} from the lines so far")
    arguments = parser.parse_args()
    if arguments.summary:
        TABLE.write_text(summary({name: lines(arguments.out / f"{name}.jsonl") for name in ROWS}), encoding="utf-8")
    else:
        run({name: ROWS[name] for name in arguments.rows}, arguments.out, arguments.first, arguments.seeds)


if __name__ == "__main__":
    main()
