"""The network of steels as published: every pair, how it is known, and whether the network agrees with itself."""

from __future__ import annotations

import math
from typing import Literal, TypedDict

from edgehold.pooling.network.inconsistency import Inconsistency
from edgehold.pooling.network.steel_network import SteelNetwork, SteelPair
from edgehold.results.model.analyses import NetworkLine, NetworkResult
from edgehold.results.model.numbers import needed, published
from edgehold.results.model.ratio import ratio_interval
from edgehold.results.words.sentences import compared, figures
from edgehold.words import Reason, listed, together

from .fields import one_of
from .reasons import reasoned

EVIDENCE: tuple[Literal["direct", "indirect", "not linked"], ...] = ("direct", "indirect", "not linked")
DISAGREES = 0.05  # p value below which a test of inconsistency is said to speak


def network_result(network: SteelNetwork | None, kind: str) -> NetworkResult | None:
    """A network with its sentences; None below three steels.

    Parameters
    ----------
    network : what pooling found.
    kind : of the endpoint; a life is told in "longer", all others in "sharper".
    """
    if network is None:
        return None
    lines = tuple(_line(pair) for pair in network.pairs)
    return NetworkResult(
        state="not fitted" if network.fit is None else "fitted",
        **reasoned(network.reason),
        steels=network.steels,
        studies=network.studies,
        **_spread(network),
        **_tests(network),
        lines=lines,
        sentence=_sentence(network, lines, kind),
    )


def _line(pair: SteelPair) -> NetworkLine:
    contrast = pair.contrast
    result = ratio_interval(needed(contrast.estimate), contrast.interval) if contrast and contrast.interval else None
    return NetworkLine(
        first=pair.first,
        second=pair.second,
        evidence=one_of(pair.evidence, EVIDENCE),
        path=pair.path if pair.evidence == "indirect" else (),
        direct_studies=pair.direct_studies,
        result=result,
        **reasoned(pair.reason),
        split_p=published(pair.split_p),
    )


class _Spread(TypedDict):
    tau: float | None
    tau_low: float | None
    tau_high: float | None


def _spread(network: SteelNetwork) -> _Spread:
    fit = network.fit
    if fit is None or fit.tau2 is None:
        return {"tau": None, "tau_low": None, "tau_high": None}
    limits = fit.tau2_interval
    return {
        "tau": published(math.sqrt(fit.tau2)),
        "tau_low": published(math.sqrt(limits.low)) if limits and limits.high > 0 else None,
        "tau_high": published(math.sqrt(limits.high)) if limits and limits.high > 0 else None,
    }


class _Tests(TypedDict):
    q_inconsistency: float | None
    q_df: int | None
    p_common: float | None
    p_random: float | None
    agreement: str


def _tests(network: SteelNetwork) -> _Tests:
    """Both design-by-treatment tests; the one with random effects by the F distribution, which does not take tau2 as known."""
    if network.fit is None:
        return {"q_inconsistency": None, "q_df": None, "p_common": None, "p_random": None, "agreement": ""}
    found = network.fit.inconsistency
    told = found.between_designs.df > 0
    return {
        "q_inconsistency": published(found.between_designs.q) if told else None,
        "q_df": found.between_designs.df if told else None,
        "p_common": published(found.between_designs.p),
        "p_random": published(found.random_effects_p_f),
        "agreement": _agreement(found) if told else "",
    }


def _agreement(found: Inconsistency) -> Reason:
    common, random = needed(found.between_designs.p), found.random_effects_p_f
    random_p = {} if random is None else {"random": random}
    how = "agree" if common >= DISAGREES else "differ_as_studies" if random is not None and random >= DISAGREES else "disagree"
    return Reason(f"network.{how}{'' if random is None else '_random'}", common=common, **random_p)


def _sentence(network: SteelNetwork, lines: tuple[NetworkLine, ...], kind: str) -> str:
    steels = len(network.steels)
    if network.fit is None:
        return Reason("network.not_fitted", steels=steels, reason=network.reason)
    indirect = [line for line in lines if line.evidence == "indirect"]
    apart = sum(line.evidence == "not linked" for line in lines)
    return together(
        indirect_sentence(min(indirect, key=_width), kind) if indirect else "",
        Reason("network.more_indirect", pairs=len(indirect)) if len(indirect) > 1 else "",
        "" if indirect or apart else Reason("network.all_side_by_side", steels=steels),
        Reason("network.not_joined", pairs=apart) if apart else "",
    )


def indirect_sentence(line: NetworkLine, kind: str) -> Reason:
    """What is known of two steels that no submission compares."""
    names = {"first": line.first, "second": line.second, "through": listed(line.path[1:-1])}
    if line.result is None:
        return Reason("network.indirect_unknown", **names, reason=line.reason)
    return Reason("network.indirect", **names, compared=compared(kind, line.result.ratio), **figures(line.result))


def _width(line: NetworkLine) -> float:
    """Width of the interval on the ln scale; infinite without one."""
    result = line.result
    return math.log(result.high / result.low) if result and result.low and result.high else math.inf
