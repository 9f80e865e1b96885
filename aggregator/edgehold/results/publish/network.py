"""The network of steels as published: every pair, how it is known, and whether the network agrees with itself."""

from __future__ import annotations

import math
from itertools import combinations
from typing import TypedDict

from edgehold.pooling.network.inconsistency import Inconsistency
from edgehold.pooling.network.network import NetworkFit
from edgehold.pooling.network.steel_network import LinkedPair, NoNetwork, SteelNetwork, UnlinkedPair
from edgehold.results.model.analyses import NetworkLine, NetworkResult
from edgehold.results.model.numbers import needed, published
from edgehold.results.model.ratio import ratio_interval
from edgehold.results.words.sentences import compared, figures
from edgehold.words import Reason, listed, together

from .reasons import reasoned

DISAGREES = 0.05  # p value below which a test of inconsistency is said to speak


def network_result(network: SteelNetwork | NoNetwork | None, kind: str) -> NetworkResult | None:
    """A network with its sentences; None below three steels.

    Parameters
    ----------
    network : what pooling found.
    kind : of the endpoint; a life is told in "longer", all others in "sharper".
    """
    if network is None:
        return None
    fit = None if isinstance(network, NoNetwork) else network.fit
    lines = tuple(map(_line, network.pairs if isinstance(network, SteelNetwork) else _unlinked(network)))
    return NetworkResult(
        state="not fitted" if fit is None else "fitted",
        **reasoned(network.reason if isinstance(network, NoNetwork) else network.apart),
        steels=network.steels,
        studies=fit.studies if fit else 0,
        **_spread(fit),
        **_tests(fit),
        lines=lines,
        sentence=_not_fitted(network) if isinstance(network, NoNetwork) else _sentence(len(network.steels), lines, kind),
    )


def _unlinked(network: NoNetwork) -> tuple[UnlinkedPair, ...]:
    return tuple(UnlinkedPair(*pair, network.reason) for pair in combinations(network.steels, 2))


def _line(pair: LinkedPair | UnlinkedPair) -> NetworkLine:
    if isinstance(pair, UnlinkedPair):
        return NetworkLine(
            first=pair.first, second=pair.second, evidence="not linked", path=(), direct_studies=0, result=None, **reasoned(pair.reason),
            split_p=None,
        )  # fmt: skip
    contrast = pair.contrast
    return NetworkLine(
        first=pair.first,
        second=pair.second,
        evidence="direct" if pair.direct_studies else "indirect",
        path=() if pair.direct_studies else pair.path,
        direct_studies=pair.direct_studies,
        result=ratio_interval(needed(contrast.estimate), contrast.interval) if contrast.interval else None,
        **reasoned(contrast.reason),
        split_p=published(pair.split_p),
    )


class _Spread(TypedDict):
    tau: float | None
    tau_low: float | None
    tau_high: float | None


def _spread(fit: NetworkFit | None) -> _Spread:
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


def _tests(fit: NetworkFit | None) -> _Tests:
    """Both design-by-treatment tests; the one with random effects by the F distribution, which does not take tau2 as known."""
    if fit is None:
        return {"q_inconsistency": None, "q_df": None, "p_common": None, "p_random": None, "agreement": ""}
    found = fit.inconsistency
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


def _not_fitted(network: NoNetwork) -> Reason:
    return Reason("network.not_fitted", steels=len(network.steels), reason=network.reason)


def _sentence(steels: int, lines: tuple[NetworkLine, ...], kind: str) -> str:
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
