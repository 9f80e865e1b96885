"""Hand-made answers for the tests of pages: every state that an answer, another method's line or a spread can be in."""

from __future__ import annotations

from sample_analyses import PAIRS, interval

from edgehold.results.model.answers import Answer, HowMuchResult, MethodLine, ModelResult, PriorResult

ALONE = "demo-fine-stainless was tested by one person only"
UNSPLIT = "too few people exchanged edges"
NOT_FITTED = "the computation did not pass its checks"
KINDS = ("better", "undecided", "not estimable", "blades", "both", "linked")  # of each pair in turn


def methods(ratio: float, outside: bool, factor: str = "steel") -> tuple[MethodLine, ...]:
    """The headline first; another method without a ratio, and perhaps one that lies outside the headline's interval."""
    lines = (
        MethodLine(method="hierarchical model", result=interval(ratio, method="posterior"), reason=""),
        MethodLine(method="hierarchical model, prior scales halved", result=interval(ratio, 0.18, "posterior"), reason=""),
        MethodLine(method="hierarchical model, prior scales doubled", result=interval(ratio, 0.23, "posterior"), reason=""),
        MethodLine(method="random effects over studies", result=None, reason="2 studies are listed, three are needed to pool"),
    )
    if factor == "practice":
        return lines
    crossed = interval(ratio * (2 if outside else 1.05))
    return (
        *lines,
        MethodLine(method="network of steels", result=interval(ratio * 1.02), reason=""),
        MethodLine(method="crossed model, restricted likelihood", result=crossed, reason=""),
        MethodLine(method="within submissions alone", result=None, reason="no submission holds both"),
    )


def answer(number: int, first: str, second: str, fitted: bool = True, factor: str = "steel") -> Answer:
    kind = KINDS[number % len(KINDS)] if fitted else "not fitted"
    told, single = kind not in ("not estimable", "not fitted"), kind == "blades"
    ratio, judged = 0.6 + 0.35 * number, told and not single
    whole, units = ("steels", "blades") if factor == "steel" else ("classes", "sharpeners")
    return Answer(
        factor=factor,
        first=first,
        second=second,
        state="estimated" if told else kind,
        about=units if single else whole,
        sentence=f"After 10 cuts, {first} against {second}: {kind}."
        if told
        else f"After 10 cuts, there is no ratio of {first} to {second}: {ALONE if fitted else NOT_FITTED}.",
        verdict=("undecided" if kind == "undecided" else "better") if judged else "",
        reason="" if told else ALONE if fitted else NOT_FITTED,
        weak="few comparisons across people" if kind == "undecided" else "",
        result=interval(ratio, method="posterior") if told else None,
        probability_better=0.81 if judged else None,
        probability_within=0.16 if judged else None,
        probability_worse=0.03 if judged else None,
        probability_above_one=0.93 if told else None,
        ruled_out_beyond=1.6 if judged else None,
        general=interval(ratio, 0.9, "posterior") if single else None,
        new_hands=interval(ratio, 0.7, "posterior") if told else None,
        new_hands_measured=interval(ratio, 0.8, "posterior") if told else None,
        new_hands_runs=2,
        evidence="" if not told else "linked" if kind == "linked" else "both",
        direct_percent=None if not told else 0.0 if kind == "linked" else 64.0,
        units_first=1 if single else 3,
        units_second=2,
        direct_submissions=0 if kind == "linked" else 4,
        testers=6,
        methods=methods(ratio, kind == "undecided", factor) if told else (),
        methods_sentence=""
        if not told
        else "It does depend on the method: “crossed model, restricted likelihood” (×1.9) lies outside the interval of the headline."
        if kind == "undecided"
        else "The other 4 methods agree: their ratios lie within the interval of the headline.",
    )


def how_much(what: str, state: str = "given", typical: float = 1.3, mostly: bool = False, reason: str = "") -> HowMuchResult:
    given, spread = state == "given", what != "practice"
    return HowMuchResult(
        what=what,
        state=state,
        reason=reason,
        typical_ratio=typical if given else None,
        typical_low=1 + (typical - 1) / 2 if given else None,
        typical_high=typical**2 if given else None,
        most_ratio=typical**2.9 if given and spread else None,
        from_prior_percent=(93.0 if mostly else 31.0) if given and spread else None,
        levels=9,
        sentence=f"How far {what} differs: {state}{f', {reason}' if reason else ''}.",
    )


def matters(split_told: bool) -> tuple[HowMuchResult, ...]:
    """Where sharpeners and testers cannot be split, both are withheld."""
    people = "given" if split_told else "withheld"
    why = "" if split_told else UNSPLIT
    return (
        how_much("steel", typical=1.42),
        how_much("practice", typical=1.35),
        how_much("blade", typical=1.09),
        how_much("sharpener", people, 1.34, reason=why),
        how_much("tester", people, 1.21, mostly=True, reason=why),
        how_much("run-to-run", typical=1.26),
    )


def model(fitted: bool = True, split_told: bool = True) -> ModelResult:
    return ModelResult(
        state="fitted" if fitted else "not fitted",
        reason="" if fitted else NOT_FITTED,
        runs=40,
        one_sided=3,
        submissions=4,
        left_out=2,
        fixed=("steel", "practised or novice sharpener") if fitted else (),
        not_held=("version: one version only",) if fitted else (),
        priors=(
            PriorResult(what="sharpener", df=4.0, scale=0.31, source="ratios of 1.5 are common"),
            PriorResult(what="run-to-run", df=4.0, scale=0.27, source="the protocol’s assumption"),
        )
        if fitted
        else (),
        points=4096 if fitted else 0,
        effective_points=1875.0 if fitted else None,
        pareto_k=0.34 if fitted else None,
        error_percent=0.72 if fitted else None,
        own_sharpening=interval(1.04, method="posterior") if fitted else None,
        matters=matters(split_told) if fitted else (),
        matters_sentence=f"The sharpener matters more than the blade, people {'told' if split_told else 'not told'} apart."
        if fitted
        else f"What matters more is not known: {NOT_FITTED}.",
    )


def steels(fitted: bool) -> tuple[Answer, ...]:
    """The answer on every pair of four steels."""
    return tuple(answer(n, *pair, fitted) for n, pair in enumerate(PAIRS))
