"""Hand-made analyses for the tests of pages: every state that a spread, a contrast, a network line, curves or a probe can be in."""

from __future__ import annotations

import math

from edgehold.results.model.analyses import (
    BandPoint,
    CrossedContrast,
    CrossedResult,
    CurveComparison,
    LevelContrast,
    NetworkLine,
    NetworkResult,
    PracticeContrast,
    ProbeResult,
    Spread,
)
from edgehold.results.model.ratio import RatioInterval

STEELS = ("demo-fine-stainless", "demo-high-speed", "demo-plain-carbon", "demo-powder-stainless")
PAIRS = tuple((a, b) for i, a in enumerate(STEELS) for b in STEELS[i + 1 :])
LONE_STEEL = "demo-river-iron"  # no submission links it to the others


def interval(ratio: float, spread: float = 0.2, method: str = "Kenward-Roger t") -> RatioInterval:
    return RatioInterval(ratio=ratio, low=ratio * math.exp(-spread), high=ratio * math.exp(spread), level=0.95, method=method)


def spread(what: str, state: str, sd: float = 0.2, levels: int = 9, holds: str = "", reason: str = "") -> Spread:
    given = state == "given"
    return Spread(
        what=what,
        state=state,
        reason=reason,
        holds=holds,
        ln_sd=sd if given else None,
        ln_sd_low=None,
        ln_sd_high=None,
        typical_ratio=math.exp(0.954 * sd) if given else None,
        typical_low=None,
        typical_high=None,
        most_ratio=math.exp(2.77 * sd) if given else None,
        share_percent=24.0 if given else None,
        levels=levels,
        sentence=f"Spread of {what}: {state}.",
    )


def spreads() -> tuple[Spread, ...]:
    return (
        spread("blade", "given", 0.09, 12, holds="blade, or how this tester and steel suit each other"),
        spread("sharpener", "given", 0.31, 7),
        spread("steel × sharpener", "given", 0.0, 20),
        spread("tester", "no number", 0.2, 9, reason="Only four runs cross: the size cannot be told."),
        spread("batch", "no number", reason="Only one batch is known.", levels=1),
        spread("run-to-run", "given", 0.24, 40),
    )


def contrast(number: int, first: str, second: str) -> CrossedContrast:
    told = ("yes", "weak", "no")[number % 3]
    known = told != "no"
    differs = number % 2 == 1
    return CrossedContrast(
        first=first,
        second=second,
        told=told,
        reason={"yes": "", "weak": "Few runs cross.", "no": "Steel and sharpener move together."}[told],
        result=interval(1.2 + 0.1 * number) if known else None,
        standard_error=0.1 if known else None,
        df=8.5 if known else None,
        simultaneous=interval(1.2 + 0.1 * number, 0.3, "max-t") if known else None,
        new_hands=interval(1.2 + 0.1 * number, 0.7) if known else None,
        new_hands_measured=interval(1.2 + 0.1 * number, 0.9) if known else None,
        within=interval(1.1, 0.25) if known else None,
        within_note=f"Comparisons within submissions {'disagree' if differs else 'agree'} with all runs." if known else "",
        headline="within submissions" if known and differs else "all runs",
    )


def practice(number: int, first: str, second: str) -> PracticeContrast:
    known = number == 0
    return PracticeContrast(
        first=first,
        second=second,
        practised=interval(1.3) if known else None,
        novice=interval(1.1) if known else None,
        ratio_of_ratios=interval(1.18, 0.3) if known else None,
        sentence=f"Who sharpens {'makes little odds' if known else 'cannot be brought in'} for {first} and {second}.",
    )


def by_level(number: int, first: str, second: str) -> LevelContrast:
    known = number == 0
    return LevelContrast(
        first=first,
        second=second,
        sharpeners=9 if known else 4,
        step=1.25,
        result=interval(1.07, 0.05, "kenward-roger-t, calibrated") if known else None,
        reliability_percent=64.0 if known else None,
        reason="" if known else "4 sharpeners prepared both; 8 are needed",
        sentence=f"The sharpener's level {'matters' if known else 'cannot be brought in'} for {first} and {second}.",
    )


def crossed(fitted: bool = True, split_told: bool = True) -> CrossedResult:
    """One model of all runs; without it ``fitted`` there is only the reason."""
    told = spreads() if split_told else tuple(spread(s.what, "no number", reason="Too few people exchanged edges.") for s in spreads())
    return CrossedResult(
        state="fitted" if fitted else "not fitted",
        reason="" if fitted else "not fitted: 21 of 40 lives censored",
        runs=40 if fitted else 0,
        one_sided=3,
        left_out=2,
        fixed=("steel", "protocol version", "own sharpening") if fitted else (),
        not_held=("submission: cannot be told from tester",) if fitted else (),
        criterion="reml" if fitted else "",
        log_likelihood=-12.345678 if fitted else None,
        converged=fitted,
        sentence="The sharpener mattered more than the steel."
        if fitted
        else "What mattered more is not known: too many lives are censored.",
        spreads=told if fitted else (),
        steels_typical=1.42 if fitted else None,
        own_sharpening=interval(1.04) if fitted else None,
        own_sharpening_note="It does not show why." if fitted else "",
        contrasts=tuple(contrast(n, *pair) for n, pair in enumerate(PAIRS)) if fitted else (),
        new_hands_runs=4,
        practice=tuple(practice(n, *pair) for n, pair in enumerate(PAIRS[:2])) if fitted else (),
        by_level=tuple(by_level(n, *pair) for n, pair in enumerate(PAIRS[:2])) if fitted else (),
        two_roles="Not known: fewer than eight people both sharpened and tested.",
    )


def network(fitted: bool = True) -> NetworkResult:
    """Every pair of five steels: met, linked through others, not linked."""
    steels = (*STEELS, LONE_STEEL)
    lines = tuple(_network_line(n, a, b) for n, (a, b) in enumerate((a, b) for i, a in enumerate(steels) for b in steels[i + 1 :]))
    return NetworkResult(
        state="fitted" if fitted else "not fitted",
        reason=f"{LONE_STEEL} stands alone." if fitted else "Fewer than three steels are linked.",
        steels=steels,
        studies=7,
        tau=0.12 if fitted else None,
        tau_low=0.0 if fitted else None,
        tau_high=0.4 if fitted else None,
        q_inconsistency=3.2 if fitted else None,
        q_df=2 if fitted else None,
        p_common=0.2 if fitted else None,
        p_random=0.45 if fitted else None,
        agreement="Direct and indirect evidence agree." if fitted else "",
        lines=lines if fitted else (),
        sentence="One pair never met is linked through others." if fitted else "There is no network.",
    )


def _network_line(number: int, first: str, second: str) -> NetworkLine:
    lone = second == LONE_STEEL
    evidence = "not linked" if lone else "indirect" if (first, second) == PAIRS[5] else "direct"
    return NetworkLine(
        first=first,
        second=second,
        evidence=evidence,
        path=(first, STEELS[0], second) if evidence == "indirect" else (),
        direct_studies=3 if evidence == "direct" else 0,
        result=None if lone else interval(1.1 + 0.05 * number),
        reason=f"No chain of comparisons leads to {LONE_STEEL}." if lone else "",
        split_p=0.61 if number == 0 else None,
    )


def band(at: float, ratio: float, bounded: bool = True) -> BandPoint:
    return BandPoint(
        at=at,
        ratio=ratio,
        low=ratio * 0.85,
        high=ratio * 1.2 if bounded else None,
        band_low=ratio * 0.75,
        band_high=ratio * 1.35 if bounded else None,
    )


def curve_comparison(number: int, first: str, second: str, work: tuple[float, ...]) -> CurveComparison:
    compared = number != 1
    shared = (1.0, 0.8, 0.6, 0.45)
    return CurveComparison(
        first=first,
        second=second,
        state="compared" if compared else "not compared",
        reason="" if compared else "Only one run of each reaches the second checkpoint.",
        submissions=3,
        runs_first=8,
        runs_second=7 if compared else 1,
        same_work=tuple(band(w, 0.9 + 0.1 * n) for n, w in enumerate(work)) if compared else (),
        same_sharpness=tuple(band(s, 1.0 + 0.2 * n, n < 3) for n, s in enumerate(shared)) if compared else (),
        same_sharpness_from_start=tuple(band(s, 1.0 + 0.1 * n) for n, s in enumerate(shared)) if compared else (),
        sentence=f"{first} and {second}: {'the curves cross.' if compared else 'Only one run of each reaches the second checkpoint.'}",
    )


def probes(endpoint: str) -> tuple[ProbeResult, ...]:
    states = ("answered", "too little", "not told apart")
    return tuple(
        ProbeResult(
            id=f"lot-{n}",
            question="Does the lot of the medium matter?",
            endpoint=endpoint,
            estimand="sharpness on one lot against another",
            state=state,
            reason="" if state == "answered" else "Only two runs used another lot.",
            result=interval(0.95) if state == "answered" else None,
            p=0.41 if state == "answered" else None,
            runs=30,
            submissions=6,
            sentence="The lot makes no difference that these runs can see." if state == "answered" else "This cannot be said yet.",
            does_not_show="Other media.",
        )
        for n, state in enumerate(states)
    )
