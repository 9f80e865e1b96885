"""The tables of the analyses: spreads and contrasts of the crossed model, network, curves against each other, probes."""

from __future__ import annotations

from collections.abc import Iterator

from edgehold.pooling.network.steel_network import SteelNetwork
from edgehold.results.model.analyses import BandPoint, CrossedContrast, CrossedResult, CurveComparison, NetworkLine, ProbeResult, Spread
from edgehold.results.model.answers import Answer, HangsOn, HowMuchResult, MethodLine, StandsOn
from edgehold.results.model.families import FamilyAnswer
from edgehold.results.model.references import ReferenceSpread
from edgehold.results.model.results import EndpointResult, Interlaboratory, LaboratoryCell
from edgehold.results.publish.assemble import EverythingFound

from .cells import ENDPOINT_COLUMNS, POOL_COLUMNS, Cell, Table
from .flat import Pooled, flat, pool_cells

PAIR = ("first", "second")
ANSWER, STANDS_ON, HANGS_ON = flat(Answer), flat(StandsOn), flat(HangsOn)
BY, METHOD = flat(MethodLine, only=("method",), rename={"method": "by"}), flat(MethodLine, without=("method",))
ANSWERED = flat(Answer, only=("factor", *PAIR))
HOW_MUCH, SPREAD, REFERENCES = flat(HowMuchResult), flat(Spread), flat(ReferenceSpread)
FITS = flat(CrossedResult)
CROSSED = flat(CrossedContrast, rename={"standard_error": "ln_standard_error"})
NETWORK, BAND, CURVES = flat(NetworkLine), flat(BandPoint), flat(CurveComparison, only=PAIR)
FAMILY = flat(FamilyAnswer)
LABORATORY, LABORATORY_CELL = flat(Interlaboratory), flat(LaboratoryCell)
ITEM = flat(Interlaboratory, only=("item", "scale"))
PROBE = flat(ProbeResult, without=("endpoint",), rename={"id": "probe"})


def _endpoints(results: Pooled) -> Iterator[tuple[EndpointResult, tuple[Cell, ...]]]:
    """Every endpoint with the cells that name it."""
    for pool in results.pools:
        for endpoint in pool.endpoints:
            yield endpoint, (*pool_cells(pool), endpoint.id)


def answers(results: Pooled) -> Table:
    """The one answer on every comparison."""
    rows = [
        (*named, *ANSWER.cells(one), *STANDS_ON.cells(one.stands_on), *HANGS_ON.cells(one.hangs_on))
        for endpoint, named in _endpoints(results)
        for one in endpoint.answers
    ]
    return ENDPOINT_COLUMNS | ANSWER.columns | STANDS_ON.columns | HANGS_ON.columns, rows


def answer_methods(results: Pooled) -> Table:
    """Every comparison by every method, the headline first."""
    rows = [
        (*named, *ANSWERED.cells(one), *BY.cells(line), *METHOD.cells(line))
        for endpoint, named in _endpoints(results)
        for one in endpoint.answers
        for line in one.methods
    ]
    return ENDPOINT_COLUMNS | ANSWERED.columns | BY.columns | METHOD.columns, rows


def how_much(results: Pooled) -> Table:
    """How much steels, practice, people, blades and runs differ, from the posterior behind the answers."""
    rows = [
        (*named, *HOW_MUCH.cells(one))
        for endpoint, named in _endpoints(results)
        for one in (
            *(endpoint.model.matters if endpoint.model is not None else ()),
            *([endpoint.families.spread] if endpoint.families is not None and endpoint.families.spread is not None else []),
        )
    ]
    return ENDPOINT_COLUMNS | HOW_MUCH.columns, rows


def families(results: Pooled) -> Table:
    """Every two families of steels."""
    told = [(endpoint.families, named) for endpoint, named in _endpoints(results) if endpoint.families is not None]
    return ENDPOINT_COLUMNS | FAMILY.columns, [(*named, *FAMILY.cells(one)) for found, named in told for one in found.answers]


def references(results: Pooled) -> Table:
    """How much rigs, scales, evenings, lots and reference edges themselves differ, as references tell it."""
    told = [(pool.references, pool_cells(pool)) for pool in results.pools if pool.references is not None]
    return POOL_COLUMNS | REFERENCES.columns, [(*named, *REFERENCES.cells(one)) for found, named in told for one in found.spreads]


def spreads(results: Pooled) -> Table:
    """How much testers, sharpeners, blades and the rest vary."""
    fitted = [(endpoint.crossed, named) for endpoint, named in _endpoints(results) if endpoint.crossed is not None]
    return ENDPOINT_COLUMNS | SPREAD.columns, [(*named, *SPREAD.cells(one)) for crossed, named in fitted for one in crossed.spreads]


def crossed_fits(results: Pooled) -> Table:
    """The crossed model of every endpoint: what stands in it, its likelihood, what it could not hold."""
    fitted = [(endpoint.crossed, named) for endpoint, named in _endpoints(results) if endpoint.crossed is not None]
    return ENDPOINT_COLUMNS | FITS.columns, [(*named, *FITS.cells(crossed)) for crossed, named in fitted]


def crossed_contrasts(results: Pooled) -> Table:
    """Steels against each other in the model of all runs."""
    fitted = [(endpoint.crossed, named) for endpoint, named in _endpoints(results) if endpoint.crossed is not None]
    return ENDPOINT_COLUMNS | CROSSED.columns, [(*named, *CROSSED.cells(one)) for crossed, named in fitted for one in crossed.contrasts]


def network(results: Pooled) -> Table:
    """Every pair of steels, met or linked through others."""
    fitted = [(endpoint.network, named) for endpoint, named in _endpoints(results) if endpoint.network is not None]
    return ENDPOINT_COLUMNS | NETWORK.columns, [(*named, *NETWORK.cells(line)) for network, named in fitted for line in network.lines]


def curve_comparisons(results: Pooled) -> Table:
    """Two steels along the whole course of work, place by place."""
    columns = POOL_COLUMNS | CURVES.columns | {"view": "string: same work, same sharpness, or same sharpness from a common start"}
    rows = [
        (*pool_cells(pool), *CURVES.cells(c), view, *BAND.cells(point))
        for pool in results.pools
        for c in pool.curve_comparisons
        for view, points in (
            ("same work", c.same_work),
            ("same sharpness", c.same_sharpness),
            ("same sharpness from a common start", c.same_sharpness_from_start),
        )
        for point in points
    ]
    return columns | BAND.columns, rows


def probes(results: Pooled) -> Table:
    """Questions to all runs about what may bend the results."""
    rows = [(*named, *PROBE.cells(one)) for endpoint, named in _endpoints(results) for one in endpoint.probes]
    return ENDPOINT_COLUMNS | PROBE.columns, rows


def interlaboratory(results: Pooled) -> Table:
    """Repeatability and reproducibility on every circulating blade."""
    rows = [(*named, *LABORATORY.cells(one)) for endpoint, named in _endpoints(results) for one in endpoint.interlaboratory]
    return ENDPOINT_COLUMNS | LABORATORY.columns, rows


def interlaboratory_cells(results: Pooled) -> Table:
    """Tester by tester on every circulating blade, with h and k."""
    rows = [
        (*named, *ITEM.cells(one), *LABORATORY_CELL.cells(cell))
        for endpoint, named in _endpoints(results)
        for one in endpoint.interlaboratory
        for cell in one.cells
    ]
    return ENDPOINT_COLUMNS | ITEM.columns | LABORATORY_CELL.columns, rows


CONTRAST = ENDPOINT_COLUMNS | {
    "row": "integer: number of the contrast in its network",
    "study": "integer: number of the study, the same at every endpoint of the pool",
    "first": "string: steel in the numerator",
    "second": "string: steel in the denominator",
    "ln_estimate": "number: ln ratio",
}
COVARIANCE = ENDPOINT_COLUMNS | {
    "row": "integer: number of a contrast",
    "other": "integer: number of a contrast of the same study, not above row",
    "covariance": "number: their sampling covariance, ln scale; a variance where both are one",
}


def network_contrasts(found: EverythingFound) -> Table:
    """What the networks were fitted to: the independent contrasts of each study."""
    rows = [
        (*_named(network), i, study, first, second, float(y))
        for network in _networks(found)
        for data in [network.contrasts]
        for i, (study, first, second, y) in enumerate(zip(data.study, data.first, data.second, data.y, strict=True), start=1)
    ]
    return CONTRAST, rows


def network_covariances(found: EverythingFound) -> Table:
    """Sampling covariances of those contrasts, which differ from 0 within a study alone."""
    rows = [
        (*_named(network), i + 1, j + 1, float(data.V[i, j]))
        for network in _networks(found)
        for data in [network.contrasts]
        for i in range(len(data.y))
        for j in range(i + 1)
        if data.study[i] == data.study[j]
    ]
    return COVARIANCE, rows


def _networks(found: EverythingFound) -> list[SteelNetwork]:
    return [one for one in found.networks.values() if isinstance(one, SteelNetwork)]


def _named(network: SteelNetwork) -> tuple[Cell, ...]:
    return network.pool.origin, network.pool.protocol, network.pool.major, network.endpoint
