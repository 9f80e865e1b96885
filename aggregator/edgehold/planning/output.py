"""A plan and what to expect of it, as text that a kitchen table can use, and as JSON."""

from __future__ import annotations

import json
import math
import textwrap
from collections.abc import Iterator
from dataclasses import asdict

from scipy.stats import chi2

from edgehold.counted import counted
from edgehold.estimates.repeatability import ASSUMED
from edgehold.pages.sheet_pages import CAUTIONS
from edgehold.records.model.plan import Plan
from edgehold.records.units import plural

from .advice import Advice
from .capacity import evening_runs
from .chances import VERDICTS, Chance, Expected
from .geometry import ORDINARY_BEHIND_EDGE_MM, THIN_BEHIND_EDGE_MM, bevel_height_mm, steel_removed_mg, thickness_after_mm
from .occasion import Occasion

WIDTH = 100
FEW_DF = 10  # of a spread, below which it is called a guess


def advice_text(advice: Advice) -> str:
    """The whole as text; what cannot be answered is said first."""
    parts = [*_answer(advice), *_fits(advice)]
    if advice.plan is not None and advice.found is not None:
        parts += [
            *_cautions(advice),
            *_order(advice, advice.plan),
            *_before(advice),
            *_medium(advice),
            *_expect(advice, advice.found),
            *_steel(advice),
            *_open(advice),
        ]
    return "\n".join(parts).rstrip()


def advice_json(advice: Advice) -> str:
    """The same for programs: numbers as they are, infinity as null."""
    fits, found = advice.fits, advice.found
    plain = {
        "plan": None if advice.plan is None else advice.plan.model_dump(mode="json"),
        "answers": advice.answers,
        "runs": fits.runs,
        "limits": [asdict(limit) for limit in fits.limits],
        "run_m": fits.run_m,
        "buy_m": fits.buy_m,
        "lost_mm": fits.lost_mm,
        "expected": None if found is None else asdict(found),
        "remedies": [asdict(remedy) for remedy in advice.remedies],
        "threats": [asdict(threat) for threat in advice.threats],
        "repeatability_sha256": advice.table_sha256,
    }
    return json.dumps(_finite(plain), indent=2, ensure_ascii=False, allow_nan=False)


def _finite(value: object) -> object:
    if isinstance(value, dict):
        return {name: _finite(inside) for name, inside in value.items()}
    if isinstance(value, list | tuple):
        return [_finite(inside) for inside in value]
    return None if isinstance(value, float) and not math.isfinite(value) else value


def _wrapped(text: str, first: str = "", rest: str | None = None) -> str:
    return textwrap.fill(text, WIDTH, initial_indent=first, subsequent_indent=" " * len(first) if rest is None else rest)


def _listed(texts: list[str]) -> list[str]:
    return [_wrapped(text, "- ") for text in texts]


def _percent(share: float) -> str:
    return f"{100 * share:.0f} %"


def _question(asked: Occasion) -> str:
    return asked.protocol.question.text


def _answer(advice: Advice) -> Iterator[str]:
    asked, right = advice.asked, advice.right
    yield _wrapped(_question(asked))
    yield ""
    if advice.found is None:
        evening = f"{evening_runs(asked)} in an evening, {advice.fits.limits[0].runs} in all ({advice.fits.limits[0].name})"
        yield _wrapped(f"THIS CANNOT BE DONE: one run of each of {len(asked.arms)} edges is needed, and the runs that fit are {evening}.")
    elif right is None:
        yield _wrapped(f"THIS PLAN CANNOT ANSWER THE QUESTION: {advice.found.reason}.")
    else:
        head = "These runs can answer the question" if right.enough else "THESE RUNS CANNOT ANSWER THE QUESTION"
        ratio = asked.worthwhile_ratio
        chances = (
            f"where there is no difference, the chance that they rule out one of ×{ratio:.3g} or more is {_percent(right.no_difference)}; "
            f"where one is ×{ratio**2:.3g} better, the chance that they show more than ×{ratio:.3g} is {_percent(right.difference)}"
        )
        yield _wrapped(f"{head}: {chances}.")
        if not right.enough:
            yield "They still count beside other people's. What would answer it:"
            yield from _listed([remedy.text for remedy in advice.remedies])
    yield ""


def _fits(advice: Advice) -> Iterator[str]:
    fits = advice.fits
    yield f"RUNS THAT FIT: {fits.runs}"
    tightest = fits.limits[0]
    yield _wrapped(f"Limited by the {tightest.name}: {tightest.text}. In whole rounds of {len(advice.asked.arms)} edges.")
    for limit in fits.limits:
        yield _wrapped(f"{limit.name}: {limit.runs} runs ({limit.text})", "- ")
    told = {"lots_m": "metres of medium", "runs_a_hand": "runs a hand will bear", "mm_per_unit": "medium a cut takes off"}
    guessed = [words for name, words in told.items() if name in advice.asked.stock.assumed]
    if guessed:
        yield _wrapped(f"Not told, so our own cautious figures stand for: {', '.join(guessed)}.")
    yield ""


def _cautions(advice: Advice) -> Iterator[str]:
    yield "BEFORE YOU CUT"
    yield from _listed([*CAUTIONS, *advice.asked.protocol.cautions])
    yield ""


def _order(advice: Advice, plan: Plan) -> Iterator[str]:
    yield f"ORDER (plan {plan.id}, seed {plan.seed})"
    if plan.coder is not None:
        yield _wrapped(f"For {plan.coder} only, who keeps the codes: {' and '.join(advice.asked.testers)} must not see it.")
    heads = ("run", "evening", "lot", "at m", "code", "tester", "sharpener", "blade")
    rows = [
        (
            str(run.order),
            str(run.evening),
            str(run.lot),
            f"{run.coil_position_m:g}",
            run.code or "-",
            run.tester,
            run.sharpener,
            run.blade,
        )
        for run in plan.runs
    ]
    widths = [max(len(row[i]) for row in [heads, *rows]) for i in range(len(heads))]
    for row in [heads, *rows]:
        yield "  ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=True)).rstrip()
    unit = plural(advice.asked.protocol.work.unit)
    yield _wrapped(f"Every run goes to {plan.planned_last_checkpoint:g} {unit} or until the stopping rule ends it.")
    if plan.sha256 is not None:
        yield _wrapped(f"Seal, to be published before the first cut: {plan.sha256}")
    yield ""


def _before(advice: Advice) -> Iterator[str]:
    protocol = advice.asked.protocol
    yield "BEFORE EVERY SHARPENING"
    yield _wrapped(protocol.apex_start)
    yield _wrapped(f"Practice, not counted: {protocol.practice_run}")
    yield ""


def _medium(advice: Advice) -> Iterator[str]:
    fits, asked = advice.fits, advice.asked
    yield "TO BUY OR HAVE"
    lots = "from one lot" if len(asked.stock.lots_m) < 2 else f"from {len(asked.stock.lots_m)} lots"
    amount = f"{fits.buy_m:g} m of {asked.protocol.medium.name}, {lots}: {fits.runs} runs of {fits.run_m:g} m and a tenth to spare."
    yield from _listed([amount, *(f"{need.item} ({need.where})" for need in asked.protocol.needs)])
    yield ""


def _expect(advice: Advice, found: Expected) -> Iterator[str]:
    yield f"WHAT TO EXPECT ({advice.asked.rule.title.lower()})"
    if found.reason:
        yield _wrapped(f"Nothing: {found.reason}.")
        yield ""
        return
    yield _wrapped(f"{found.first} against {found.second}: {_width(found)}")
    yield _wrapped(_basis(advice, found))
    yield f"Chance of each verdict, from {found.evenings} drawn evenings each (± Monte-Carlo error):"
    yield from _chances(found)
    yield ""


def _width(found: Expected) -> str:
    if found.half_width is None or found.half_width_error is None or found.wide is None:
        return "no interval closed on both sides is to be expected; at best a bound."
    low, high = (math.exp(found.half_width - e) for e in (found.half_width_error, -found.half_width_error))
    text = (
        f"the 95 % interval reaches about ×{math.exp(found.half_width):.2f} either way "
        f"(Monte-Carlo error ×{low:.2f} to ×{high:.2f}; nine evenings in ten less than ×{math.exp(found.wide):.2f})."
    )
    return text if not found.unbounded else f"{text} {_percent(found.unbounded)} of evenings give only a bound."


def _basis(advice: Advice, found: Expected) -> str:
    rule = advice.asked.rule
    typical = f"Runs that should agree are taken to differ by an ln SD of {found.ln_sd:.2g}"
    if found.source == ASSUMED:
        worth = f"the protocol's assumption, worth {found.spread_df:.3g} degrees of freedom: a guess, and yours may well be {_range(found)}"
        return f"{typical}, {worth}. ({rule.assumed_repeatability.source})"
    known = f"known from {found.submissions} submissions ({found.spread_df:.3g} degrees of freedom"
    trust = "still little" if found.spread_df < FEW_DF else "hands that do as these did may rely on it"
    return f"{typical}, {known}; {trust}). Repeatability table {advice.table_sha256}."


def _range(found: Expected) -> str:
    low, high = (found.ln_sd * math.sqrt(found.spread_df / chi2.ppf(share, found.spread_df)) for share in (0.9, 0.1))
    return f"between {low:.2g} and {high:.2g}"


def _chances(found: Expected) -> Iterator[str]:
    heads = ["true ratio", *(f"×{chance.true_ratio:.3g}" for chance in found.chances)]
    kept = [kind for kind in VERDICTS if any(chance.share[kind] for chance in found.chances)]
    rows = [[kind, *(_share(chance, kind) for chance in found.chances)] for kind in kept]
    widths = [max(len(row[i]) for row in [heads, *rows]) for i in range(len(heads))]
    for row in [heads, *rows]:
        yield "  " + "  ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=True)).rstrip()


def _share(chance: Chance, kind: str) -> str:
    return f"{_percent(chance.share[kind])} ± {100 * chance.standard_error[kind]:.1f}"


def _steel(advice: Advice) -> Iterator[str]:
    at_hand, fits = advice.asked.stock, advice.fits
    lost = fits.blade_runs * fits.lost_mm
    t, angle = at_hand.thickness_mm, at_hand.angle_deg
    sharpenings = counted(fits.blade_runs, "sharpening")
    yield "WHAT IT COSTS EACH BLADE"
    height, after = bevel_height_mm(t, angle), thickness_after_mm(t, angle, lost, at_hand.taper_deg)
    steel = steel_removed_mg(t, lost, advice.asked.protocol.work.edge_stretch_mm)
    yield _wrapped(
        f"Behind the edge {t:g} mm thick at {angle:g}° per side, the bevel is {height:.2f} mm high. Grinding away a flat of "
        f"{at_hand.flat_mm:g} mm takes at least {fits.lost_mm:.3f} mm off the height, {sharpenings} {lost:.2f} mm, "
        f"about {steel:.0f} mg of steel on the stretch that works. Afterwards it is {after:.2f} mm thick behind the edge, if the blade "
        f"widens by {at_hand.taper_deg:g}° per side."
    )
    if "thickness_mm" in at_hand.assumed or "angle_deg" in at_hand.assumed:
        yield _wrapped(f"Thickness or angle not told: {ORDINARY_BEHIND_EDGE_MM:g} mm is ordinary good cutting geometry (common practice).")
    if t <= THIN_BEHIND_EDGE_MM:
        yield _wrapped(f"{t:g} mm is notably thin (common practice): such an edge can bend or chip. Wear eye protection.")
    yield ""


def _open(advice: Advice) -> Iterator[str]:
    yield "WHAT THIS PLAN LEAVES OPEN"
    yield from _listed([f"{threat.threat}: {threat.text}" for threat in advice.threats])
