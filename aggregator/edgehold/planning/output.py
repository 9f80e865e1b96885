"""A plan and what to expect of it, as text that a kitchen table can use, and as JSON."""

from __future__ import annotations

import math
import textwrap
from collections.abc import Iterable, Iterator
from dataclasses import asdict

from edgehold.estimates.repeatability import ASSUMED
from edgehold.numerics.distributions import chi2_ppf
from edgehold.records.sharpeners import planned_by
from edgehold.records.units import plural
from edgehold.results.model.numbers import readable_json
from edgehold.words import Reason
from edgehold.words.cautions import CAUTIONS

from .adds import EVENING, EXCHANGE, FRIEND, OWN, Addition
from .advice import Advice, Other
from .chances import SIGHTS, VERDICTS, Chance, Expected
from .geometry import ORDINARY_BEHIND_EDGE_MM, THIN_BEHIND_EDGE_MM, bevel_height_mm, steel_removed_mg, thickness_after_mm
from .occasion import primary_rule, sharpened_again

WIDTH = 100
FEW_DF = 10  # of a spread, below which it is called a guess
MOSTLY = 0.5  # share of evenings without a closed interval, beyond which the width of the others says nothing
TOLD = {
    "lots_m": Reason("plan.metres_of_medium"),
    "runs_a_hand": Reason("plan.runs_a_hand_bears"),
    "mm_per_unit": Reason("plan.medium_cut_takes_off"),
}


def advice_text(advice: Advice) -> str:
    """The whole as text; what cannot be answered is said first."""
    parts = [
        *_answer(advice),
        *_fits(advice),
        *_cautions(advice),
        *_order(advice),
        *_before(advice),
        *_medium(advice),
        *_expect(advice, advice.found),
        *_adds(advice),
        *_others(advice),
        *_steel(advice),
        *_open(advice),
    ]
    return "\n".join(parts).rstrip()


def advice_json(advice: Advice) -> str:
    """The same for programs: numbers as they are, infinity as null."""
    fits = advice.fits
    plain = {
        "plan": advice.plan.model_dump(mode="json"),
        "answers": advice.answers,
        "changes": [{"code": change.code, "arguments": change.arguments, "text": change} for change in advice.changes],
        "runs": fits.runs,
        "limits": [asdict(limit) for limit in fits.limits],
        "run_m": fits.run_m,
        "buy_m": fits.buy_m,
        "lost_mm": fits.lost_mm,
        "expected": asdict(advice.found),
        "remedies": [asdict(remedy) for remedy in advice.remedies],
        "adds": [asdict(addition) for addition in advice.adds],
        "others": [asdict(other) for other in advice.others],
        "threats": [asdict(threat) for threat in advice.threats],
        "repeatability_sha256": advice.table_sha256,
    }
    return readable_json(plain)


def wrapped(text: str, first: str = "", rest: str | None = None) -> str:
    """Text in lines of a kitchen table's width."""
    return textwrap.fill(text, WIDTH, initial_indent=first, subsequent_indent=" " * len(first) if rest is None else rest)


def listed(texts: Iterable[str]) -> list[str]:
    """Texts as a list."""
    return [wrapped(text, "- ") for text in texts]


def in_evenings(share: float) -> Reason:
    """A chance as so many evenings in ten."""
    if share < 0.05:
        return Reason("plan.seen_few")
    return Reason("plan.seen_nearly_all") if share > 0.95 else Reason("plan.seen_tenths", tenths=round(10 * share))


def _answer(advice: Advice) -> Iterator[str]:
    asked, right, found = advice.asked, advice.right, advice.found
    yield wrapped(asked.protocol.question.text)
    yield ""
    if right is None:
        yield wrapped(Reason("plan.alone_head", reason=found.reason))
    else:
        yield wrapped(f"{Reason('plan.answer_enough' if right.enough else 'plan.answer_not')}. {_seen(found.seen)}")
        chances = Reason(
            "plan.right_verdicts",
            ratio=asked.worthwhile_ratio,
            rule_out=100 * right.no_difference,
            difference=asked.worthwhile_ratio**2,
            find=100 * right.difference,
        )
        yield wrapped(chances[0].upper() + chances[1:])
    if not asked.asks_primary:
        first = primary_rule(asked.protocol).title
        units = plural(asked.protocol.work.unit)
        yield wrapped(
            Reason("plan.not_primary", title=_lower(first), last=asked.last_checkpoint, units=units, judged=_lower(asked.rule.title))
        )
    if advice.changes:
        yield Reason("plan.changed_head")
        yield from listed(advice.changes)
    if advice.remedies:
        yield Reason("plan.would_help")
        yield from listed(remedy.text for remedy in advice.remedies)
    yield ""


def _seen(seen: dict[float, float]) -> Reason:
    lesser, larger = (in_evenings(seen[true]) for true in SIGHTS)
    return Reason("plan.seen", seen15=lesser, seen20=larger)


def _lower(title: str) -> str:
    return title[:1].lower() + title[1:]


def _fits(advice: Advice) -> Iterator[str]:
    fits = advice.fits
    yield f"RUNS THAT FIT: {fits.runs}"
    tightest = fits.limits[0]
    yield wrapped(Reason("plan.limited_by", name=tightest.name, text=tightest.text, edges=len(advice.asked.arms)))
    yield from listed(Reason("plan.limit_line", name=limit.name, runs=limit.runs, text=limit.text) for limit in fits.limits)
    guessed = [words for name, words in TOLD.items() if name in advice.asked.stock.assumed]
    if guessed:
        yield wrapped(Reason("plan.assumed_figures", names=", ".join(guessed)))
    yield ""


def _cautions(advice: Advice) -> Iterator[str]:
    yield "BEFORE YOU CUT"
    yield from listed([*CAUTIONS, *advice.asked.protocol.cautions])
    yield ""


def _order(advice: Advice) -> Iterator[str]:
    plan = advice.plan
    yield f"ORDER (plan {plan.id}, seed {plan.seed})"
    if plan.coder is not None:
        yield wrapped(Reason("plan.coder_only", coder=plan.coder, testers=" and ".join(advice.asked.testers)))
    halves, in_turn = advice.asked.halves, advice.asked.in_turn
    beside = (*(("half",) if halves else ()), *((Reason("plan.in_turn_with"),) if in_turn else ()))
    heads = ("run", "evening", "lot", "at m", "code", "tester", "sharpener", "blade", *beside)
    rows = [
        (
            str(run.order),
            str(run.evening),
            str(run.lot),
            f"{run.coil_position_m:g}",
            run.code or "-",
            run.tester,
            planned_by(run),
            run.blade,
            *((run.edge_part,) if halves else ()),
            *((str(run.partner),) if in_turn else ()),
        )
        for run in plan.runs
    ]
    yield from table_lines([heads, *rows])
    yield wrapped(Reason("plan.run_end", last=advice.asked.last_checkpoint, units=plural(advice.asked.protocol.work.unit)))
    if plan.sha256 is not None:
        yield wrapped(Reason("plan.seal", sha256=plan.sha256))
    yield ""


def table_lines(rows: list[tuple[str, ...]], first: str = "") -> Iterator[str]:
    """Rows with their columns one under the other."""
    widths = [max(len(row[i]) for row in rows) for i in range(len(rows[0]))]
    for row in rows:
        yield first + "  ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=True)).rstrip()


def _before(advice: Advice) -> Iterator[str]:
    protocol = advice.asked.protocol
    yield "BEFORE EVERY SHARPENING"
    yield wrapped(protocol.apex_start)
    yield wrapped(Reason("plan.practice_run", text=protocol.practice_run))
    yield ""


def _medium(advice: Advice) -> Iterator[str]:
    fits, asked = advice.fits, advice.asked
    yield "TO BUY OR HAVE"
    lots = Reason("plan.lots", lots=max(1, len(asked.stock.lots_m)))
    amount = Reason("plan.buy", metres=fits.buy_m, medium=asked.protocol.medium.name, lots=lots, runs=fits.runs, run=fits.run_m)
    yield from listed([amount, *(f"{need.item} ({need.where})" for need in asked.protocol.needs)])
    yield ""


def _expect(advice: Advice, found: Expected) -> Iterator[str]:
    yield f"WHAT TO EXPECT ({_lower(advice.asked.rule.title)})"
    if found.reason:
        yield wrapped(Reason("plan.nothing_alone", reason=found.reason))
        yield ""
        return
    yield wrapped(f"{found.first} against {found.second}: {_width(found)}")
    yield wrapped(_basis(advice, found))
    yield Reason("plan.chances_head", evenings=found.evenings)
    yield from _chances(found)
    yield ""


def _width(found: Expected) -> str:
    if found.half_width is None or found.half_width_error is None or found.wide is None or found.unbounded > MOSTLY:
        return Reason("plan.no_interval", percent=100 * found.unbounded)
    low, high = (math.exp(found.half_width - e) for e in (found.half_width_error, -found.half_width_error))
    text = Reason("plan.width", width=math.exp(found.half_width), low=low, high=high, wide=math.exp(found.wide))
    return text if not found.unbounded else f"{text} {Reason('plan.bound_share', percent=100 * found.unbounded)}"


def _basis(advice: Advice, found: Expected) -> Reason:
    if found.source == ASSUMED:
        low, high = (found.ln_sd * math.sqrt(found.spread_df / chi2_ppf(share, found.spread_df)) for share in (0.9, 0.1))
        source = advice.asked.rule.assumed_repeatability.source
        trust = Reason("plan.basis_assumed", df=found.spread_df, low=low, high=high, source=source)
    else:
        worth = Reason("plan.few_df" if found.spread_df < FEW_DF else "plan.many_df")
        trust = Reason(
            "plan.basis_known", submissions=found.submissions, df=found.spread_df, trust=worth, sha256=advice.table_sha256 or "none"
        )
    return Reason("plan.basis", ln_sd=found.ln_sd, trust=trust)


def _chances(found: Expected) -> Iterator[str]:
    heads = ("true ratio", *(f"×{chance.true_ratio:.3g}" for chance in found.chances))
    kept = [kind for kind in VERDICTS if any(chance.share[kind] for chance in found.chances)]
    yield from table_lines([heads, *((kind, *(_share(chance, kind) for chance in found.chances)) for kind in kept)], "  ")


def _share(chance: Chance, kind: str) -> str:
    return f"{100 * chance.share[kind]:.0f} % ± {100 * chance.standard_error[kind]:.1f}"


def _adds(advice: Advice) -> Iterator[str]:
    yield "WHAT MORE WOULD ADD"
    yield from listed(added(advice, addition) for addition in advice.adds)
    yield ""


def added(advice: Advice, addition: Addition) -> Reason:
    """What something more would come to, in a sentence."""
    asked = advice.asked
    things = Reason(f"plan.add_{'edges' if asked.in_rounds else 'blades'}")
    told = Reason("plan.add_never") if addition.half_width is None else _comes_to(addition, addition.half_width)
    back = sharpened_again(asked.left_by)
    friend = "plan.add_friend_too" if addition.about == OWN else "plan.add_friend"
    code = {EXCHANGE: "plan.add_exchange", FRIEND: friend, EVENING: "plan.add_evening"}[addition.kind]
    return Reason(code, things=things, told=told, back=back)


def _comes_to(addition: Addition, half_width: float) -> Reason:
    lesser, larger = (in_evenings(addition.seen[true]) for true in SIGHTS)
    return Reason("plan.add_told", width=Reason("plan.width_short", width=math.exp(half_width)), seen15=lesser, seen20=larger)


def _others(advice: Advice) -> Iterator[str]:
    if advice.others:
        yield "WHAT ELSE THE SAME TIME HOLDS"
        yield from listed(_other(advice, other) for other in advice.others)
        yield ""


def _other(advice: Advice, other: Other) -> Reason:
    protocol = advice.asked.protocol
    if math.isinf(other.half_width):
        return Reason("plan.other_nothing", last=other.last, units=plural(protocol.work.unit), runs=other.runs)
    life = any(rule.id == other.endpoint and rule.kind == "life" for rule in protocol.endpoints)
    lesser, larger = (in_evenings(other.seen[true]) for true in SIGHTS)
    return Reason(
        "plan.other_design",
        last=other.last,
        units=plural(protocol.work.unit),
        runs=other.runs,
        width=Reason("plan.width_short", width=math.exp(other.half_width)),
        title=_lower(other.title),
        seen15=lesser,
        seen20=larger,
        at_best=Reason("plan.other_at_best") if life else "",
    )


def _steel(advice: Advice) -> Iterator[str]:
    at_hand, fits = advice.asked.stock, advice.fits
    lost = fits.blade_runs * fits.lost_mm
    t, angle = at_hand.thickness_mm, at_hand.angle_deg
    yield "WHAT IT COSTS EACH BLADE"
    yield wrapped(
        Reason(
            "plan.cost",
            thickness=t,
            angle=angle,
            height=bevel_height_mm(t, angle),
            flat=at_hand.flat_mm,
            lost=fits.lost_mm,
            sharpenings=Reason("plan.sharpenings", number=fits.blade_runs),
            whole=lost,
            steel=steel_removed_mg(t, lost, advice.asked.protocol.work.edge_stretch_mm),
            after=thickness_after_mm(t, angle, lost, at_hand.taper_deg),
            taper=at_hand.taper_deg,
        )
    )
    if "thickness_mm" in at_hand.assumed or "angle_deg" in at_hand.assumed:
        yield wrapped(Reason("plan.cost_assumed", ordinary=ORDINARY_BEHIND_EDGE_MM))
    if t <= THIN_BEHIND_EDGE_MM:
        yield wrapped(Reason("plan.cost_thin", thickness=t))
    yield ""


def _open(advice: Advice) -> Iterator[str]:
    yield "WHAT THIS PLAN LEAVES OPEN"
    yield from listed(f"{threat.threat}: {threat.text}" for threat in advice.threats)
