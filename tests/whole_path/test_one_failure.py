"""One fit whose numbers fail never takes the build with it: planted in every fit of the path, one call at a time.

A failure is planted in one call of one function; the build must go through, list what was not fitted with its reason, and be the same as
the unharmed build everywhere but in that place.
"""

from __future__ import annotations

import copy
import dataclasses
import importlib
import json
import re
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import pytest

from edgehold import everything
from edgehold.errors import InputError, NotSettledError
from edgehold.everything import find_everything
from edgehold.numerics.attempt import NOT_FINITE, NOT_SETTLED, SINGULAR
from edgehold.numerics.interval import Interval
from edgehold.pipeline import read
from edgehold.pooling.crossed.runs_fit import Difference
from edgehold.pooling.crossed.steel_by_level import SteelByLevel
from edgehold.pooling.crossed.two_roles import TwoRoles
from edgehold.pooling.pairwise.bounds import BoundsIncluded
from edgehold.pooling.pairwise.comparisons import VersionAgreement
from edgehold.results.publish.assemble import assemble
from edgehold.results.publish.written import written
from tests.generated import generate_pages

from .repositories import level_endpoint, protocol_text, run, submission, write_repository

STEELS = {
    "measured": ("AISI 1095", "AISI 52100", "AISI 440C"),
    "simulated": ("demo-plain-carbon", "demo-high-speed", "demo-fine-stainless"),
}
PLAN = ("01", "01", "12", "12", "02", "02", "01")  # which two steels each submission holds
WORK = (0, 10, 20, 40)
REASONS = {"singular": SINGULAR, "not settled": NOT_SETTLED, "not finite": NOT_FINITE}


@dataclass(frozen=True)
class Planted:
    """A place to plant a failure.

    Attributes
    ----------
    module, name : of the function, in the module that calls it.
    what : pattern of what is then listed as not fitted.
    where : pattern of the places in results.json that may differ.
    call : which of its calls fails, the last where -1.
    harms_later : what comes later rests on it, so that the whole pool may differ.
    holds : field of the result that is there where it has figures.
    no_number : a result with a figure that is no number, for what so small a repository has no figures of.
    """

    module: str
    name: str
    what: str
    where: str
    call: int = 0
    harms_later: bool = False
    holds: str = ""
    no_number: object = None


NAN, ANY = float("nan"), Interval(-1.0, 1.0, 0.95, "made up")
ENDPOINT = r"/pools/\d+/endpoints/\d+"
METHOD = rf"{ENDPOINT}/(steels/\d+|practice)/methods"  # the folded table, and the sentence below it
HEADLINE = rf"/pools/\d+/(told_apart|headline|quoted|crossovers)|{ENDPOINT}/(steels|practice|model|sharpening|families)"
COMPARISON = rf"{ENDPOINT}/pairwise/\d+|{METHOD}"
PLACES = (
    Planted("endpoints.collect", "run_curve", "the value of run", "", harms_later=True),
    Planted("endpoints.collect", "endpoint_of", "the value of run", "", harms_later=True),
    Planted("estimates.own_variance", "own_variance", "the run variance of", "", harms_later=True),
    Planted("estimates.repeatability", "_prior", "how much submissions differ in repeatability", "", harms_later=True),
    Planted("estimates.submissions", "_by_least_squares", "the contrasts of", "", harms_later=True),
    Planted("estimates.submissions", "_by_likelihood", "the contrasts of", "", harms_later=True),
    Planted("estimates.submissions", "_profiled", r".* against .* of", "", harms_later=True),
    Planted("pooling.pairwise.studies", "three_level", ".* against ", COMPARISON),
    Planted("pooling.gather.months", "_answered", "as it stood in", r"/moves/\d+/courses"),
    Planted(
        "pooling.pairwise.comparisons",
        "_sharpener_variance",
        "how much sharpeners of one class differ",
        COMPARISON,
        no_number=NAN,
    ),
    Planted(
        "pooling.pairwise.comparisons",
        "_version_agreement",
        "whether versions agree",
        COMPARISON,
        no_number=VersionAgreement(("1.0.0", "1.1.0"), NAN, NAN),
    ),
    Planted("pooling.pairwise.comparisons", "_with_bounds", "the ratio with bounds", COMPARISON, no_number=BoundsIncluded(NAN, ANY)),
    Planted("pooling.pairwise.comparisons", "_checks", "what single studies do to it", COMPARISON),
    Planted("pooling.gather.circulation", "interlaboratory", "circulating blade", rf"{ENDPOINT}/interlaboratory/\d+"),
    Planted("pooling.curves.curves", "_mean_point", "the mean curve of", r"/pools/\d+/curves/\d+"),
    Planted(
        "pooling.curves.joint", "hierarchical", "the mean curve of|along the work", rf"/pools/\d+/(curves|curve_comparisons)/\d+|{HEADLINE}"
    ),
    Planted("pooling.curves.pairs", "curve_contrast", "along the work", rf"/pools/\d+/curve_comparisons/\d+|{METHOD}"),
    Planted(
        "pooling.gather.all_answers",
        "headline_of",
        "the hierarchical model|what the runs can tell apart",
        HEADLINE,
    ),
    Planted("pooling.headline", "hanging", "what hangs on whose results", rf"{ENDPOINT}/(steels/\d+|practice)/(hangs_on|methods)"),
    Planted("pooling.gather.all_families", "families", "families of steels", rf"{ENDPOINT}/families"),
    Planted("pooling.network.steel_network", "network", "the network of steels", rf"{ENDPOINT}/network|{METHOD}"),
    Planted("pooling.probes.probes", "model", "the question", rf"{ENDPOINT}/(probes/\d+|probes_sentence)", holds="fit"),
    Planted("pooling.probes.probes", "_by_itself", "the question", rf"{ENDPOINT}/(probes/\d+|probes_sentence)"),
    Planted("pooling.gather.all_runs", "model_of", "the crossed model of all runs", rf"{ENDPOINT}/crossed|{METHOD}"),
    Planted("pooling.gather.all_runs", "within_submissions", "within submissions", rf"{ENDPOINT}/crossed/contrasts|{METHOD}"),
    Planted("pooling.gather.all_runs", "practice_by_steel", "in practised and novice hands", rf"{ENDPOINT}/crossed/practice"),
    Planted(
        "pooling.gather.all_runs",
        "steel_by_level",
        "by level",
        rf"{ENDPOINT}/crossed/by_level",
        no_number=(SteelByLevel("a", "b", 9, Difference(NAN, NAN, NAN, ANY), 0.9, ""),),
    ),
    Planted(
        "pooling.gather.all_runs",
        "two_roles",
        "whether who sharpens well also cuts well",
        rf"{ENDPOINT}/crossed/two_roles",
        no_number=TwoRoles(9, NAN, NAN, NAN, ""),
    ),
    Planted("results.publish.assemble", "comparison_result", "against", COMPARISON),
    Planted("results.publish.assemble", "crossed_result", "the crossed model of all runs", rf"{ENDPOINT}/crossed|{METHOD}"),
    Planted("results.publish.assemble", "network_result", "the network of steels", rf"{ENDPOINT}/network|{METHOD}"),
    Planted("results.publish.assemble", "probe_result", "the question", rf"{ENDPOINT}/(probes/\d+|probes_sentence)"),
    Planted("results.publish.assemble", "curve_comparison", "along the work", r"/pools/\d+/curve_comparisons/\d+"),
)
LATER = "repeatability_table estimate_submissions compare circulated_blades steel_networks courses"
ANSWERS = "all_answers judged"
AGAIN = {
    "endpoints.collect": f"endpoint_rows curve_points {LATER} {ANSWERS}",
    "estimates.own_variance": LATER,
    "estimates.repeatability": LATER,
    "estimates.submissions": LATER,
    "pooling.pairwise.studies": "compare courses",
    "pooling.pairwise.comparisons": "compare courses",
    "pooling.gather.circulation": "circulated_blades",
    "pooling.gather.months": "courses",
    "pooling.curves.curves": ANSWERS,
    "pooling.curves.joint": ANSWERS,
    "pooling.curves.pairs": ANSWERS,
    "pooling.gather.all_answers": ANSWERS,
    "pooling.headline": ANSWERS,
    "pooling.gather.all_families": ANSWERS,
    "pooling.network.steel_network": "steel_networks",
    "pooling.probes.probes": "probe_answers",
    "pooling.gather.all_runs": "all_runs",
    "results.publish.assemble": "",
}
"""What of the path is run again; the rest is slow, knows nothing of the harmed function, and comes from the unharmed build."""
STAGES = f"endpoint_rows curve_points {LATER} {ANSWERS} probe_answers all_runs".split()
NO_FIGURES = {"results.publish.assemble"}  # nothing that comes from there holds a figure that could be no number


def evening(number: int, origin: str, rng: np.random.Generator) -> dict:
    """One person's evening with two steels, each sharpened by a practised and a novice hand; a blade that goes round the last two."""
    who, other = f"{origin[:4]}-auk-{number}", f"{origin[:4]}-coot-{number}"
    steels = STEELS[origin]
    pair = [steels[int(digit)] for digit in PLAN[number]]
    shared = f"{origin[:4]}-round.one" if number >= len(PLAN) - 2 else f"{who}.a"
    blades = [{"key": key, "steel": {"designation": steel}, "edge": "plain"} for key, steel in zip((shared, f"{who}.b"), pair, strict=True)]
    runs = []
    for place, hand in enumerate((who, other) * 4):
        blade = blades[place // 2 % 2]
        level = rng.normal(0.6 + 0.1 * steels.index(blade["steel"]["designation"]) + 0.1 * (hand == other), 0.1)
        forces = [round(float(np.exp(level + 0.5 * step + rng.normal(0, 0.03))), 3) for step in range(len(WORK))]
        runs.append(
            run(place + 1, blade["key"], who, [(w, [f, round(f * 1.02, 3)]) for w, f in zip(WORK, forces, strict=True)], sharpener=hand)
        )
    people = [{"handle": one, "agreed": "yes", "sharpening": skill} for one, skill in ((who, "practised"), (other, "novice"))]
    month = f"2026-{number + 1:02d}"
    return submission(f"{origin[:4]}-evening-{number}", [who, other], blades, runs, origin=origin, month=month) | {"people": people}


@pytest.fixture(scope="module")
def repository(tmp_path_factory):
    """A pool of seven small submissions and one of two; some lives end after the last cut."""
    rng = np.random.default_rng(5)
    life = {
        "id": "life",
        "title": "Cuts until a reading needs 6 N",
        "kind": "life",
        "role": "late",
        "primary": False,
        "threshold": {"value": 6, "relative": False},
        "fit_from": "first positive checkpoint",
        "worthwhile_ratio": 1.4,
        "assumed_repeatability": {"ln_sd": 0.4, "prior_df": 4, "source": "made up for a test"},
    }
    level = level_endpoint(20, title="Reading after 20 cuts")
    root = write_repository(
        tmp_path_factory.mktemp("failing"),
        protocol_text(endpoints=[level, life], early_checkpoint=10, late_checkpoint=40),
        [evening(number, origin, rng) for origin, count in (("simulated", 2), ("measured", len(PLAN))) for number in range(count)],
    )
    return read(root)


@pytest.fixture(scope="module")
def unharmed(repository):
    """The build as it should be; by place the calls whose result holds a figure and the number of all calls; what every stage gave."""
    found: dict[Planted, tuple[list[int], int]] = {}
    with pytest.MonkeyPatch.context() as patched:
        counts = {place: watched(patched, place) for place in PLACES if place.call == 0}
        gave = {name: kept(patched, name) for name in STAGES}
        results = json.loads(written(assemble(find_everything(repository))).whole())
    for place in PLACES:
        calls = counts[first_of(place)]
        found[place] = ([number for number, told in enumerate(calls) if told], len(calls))
    return results, found, {name: one for name, (one,) in gave.items()}


def kept(patched, name: str) -> list[object]:
    """What a stage of the path gives, kept."""
    original, told = getattr(everything, name), []

    def call(*given, **named):
        told.append(original(*given, **named))
        return told[-1]

    patched.setattr(everything, name, call)
    return told


def first_of(place: Planted) -> Planted:
    """The place of the same function whose first call fails."""
    return next(one for one in PLACES if (one.module, one.name, one.call) == (place.module, place.name, 0))


def watched(patched, place: Planted) -> list[bool]:
    """Whether each call's result holds a figure, in the order of the calls."""
    module = importlib.import_module(f"edgehold.{place.module}")
    original, told = getattr(module, place.name), []

    def call(*given, **named):
        at = len(told)
        told.append(False)
        result = original(*given, **named)
        told[at] = spoiled(result)[1] and (not place.holds or getattr(result, place.holds, None) is not None)
        return result

    patched.setattr(module, place.name, call)
    return told


def spoiled(value: object) -> tuple[object, bool]:
    """The value with every figure in it turned into no number, and whether there was one."""
    if isinstance(value, float):
        return float("nan"), True
    if isinstance(value, np.ndarray):
        return (np.full(value.shape, np.nan), True) if value.dtype.kind == "f" and value.size else (value, False)
    if isinstance(value, tuple | list):
        parts = [spoiled(one) for one in value]
        return type(value)(one for one, _ in parts), any(was for _, was in parts)
    if isinstance(value, Mapping):
        parts = {key: spoiled(one) for key, one in value.items()}
        return {key: one for key, (one, _) in parts.items()}, any(was for _, was in parts.values())
    if dataclasses.is_dataclass(value):
        made, any_was = copy.copy(value), False
        for field in dataclasses.fields(value):
            one, was = spoiled(getattr(value, field.name))
            object.__setattr__(made, field.name, one)
            any_was |= was
        return made, any_was
    return value, False


def harmed(repository, place: Planted, number: int, kind: str, gave: dict[str, object]) -> dict:
    """The build with one call of the place's function failing."""
    module = importlib.import_module(f"edgehold.{place.module}")
    original, calls = getattr(module, place.name), iter(range(10**9))

    def call(*given, **named):
        if next(calls) != number:
            return original(*given, **named)
        if kind == "singular":
            raise np.linalg.LinAlgError("Singular matrix")
        if kind == "not settled":
            raise NotSettledError("planted")
        return spoiled(original(*given, **named))[0] if place.no_number is None else place.no_number

    with pytest.MonkeyPatch.context() as patched:
        patched.setattr(module, place.name, call)
        for name in set(STAGES) - set(AGAIN[place.module].split()):
            patched.setattr(everything, name, lambda *given, told=gave[name], **named: told)
        results = assemble(find_everything(repository))
    if kind == "singular":
        assert len(list(generate_pages(results))) > 10, "every page is made"
    return json.loads(written(results).whole())


def differences(one: object, other: object, at: str = "") -> list[str]:
    """JSON pointers of what is not the same."""
    if isinstance(one, dict) and isinstance(other, dict) and one.keys() == other.keys():
        return [place for key in one for place in differences(one[key], other[key], f"{at}/{key}")]
    if isinstance(one, list) and isinstance(other, list) and len(one) == len(other):
        return [place for i, (a, b) in enumerate(zip(one, other, strict=True)) for place in differences(a, b, f"{at}/{i}")]
    return [] if one == other else [at]


def kinds_of(place: Planted) -> list[str]:
    """The kinds of failure that can be planted there."""
    return [kind for kind in REASONS if kind != "not finite" or place.module not in NO_FIGURES]


def marks(number: int, place: Planted, kind: str) -> list[pytest.MarkDecorator]:
    """One kind in each place, another one in the next, is planted in every run; all of them by `make test-long`."""
    kinds = kinds_of(place)
    return [] if kind == kinds[number % len(kinds)] else [pytest.mark.long]


CASES = [pytest.param(place, kind, marks=marks(number, place, kind)) for number, place in enumerate(PLACES) for kind in kinds_of(place)]


@pytest.mark.parametrize(("place", "kind"), CASES, ids=lambda one: one if isinstance(one, str) else f"{one.name}{one.call or ''}")
def test_one_failure_stays_in_its_place(repository, unharmed, place, kind):
    whole, (figures, calls), gave = unharmed[0], unharmed[1][place], unharmed[2]
    assert calls, "the small repository asks for this fit"
    candidates = figures or range(calls)
    results = harmed(repository, place, candidates[place.call], kind, gave)
    assert results["not_fitted"], "what was not fitted is listed"
    for line in results["not_fitted"]:
        assert re.search(place.what, line["what"])
        told = line["reason_code"]
        assert told == REASONS[kind] or (kind == "not finite" and told in REASONS.values()), "what is no number may make others fail"
    changed = [at for at in differences(whole, results) if not at.startswith("/not_fitted")]
    assert changed, "the place says so"
    if place.harms_later:
        assert len({line["origin"] for line in results["not_fitted"]}) == 1
        pools = {at.split("/")[2] for at in changed if at.startswith("/pools/")}
        assert len(pools) <= 1, "the other pool is as it was"
    else:
        assert [at for at in changed if not re.match(place.where, at)] == []


@pytest.mark.parametrize("mistake", [TypeError("planted"), KeyError("planted"), InputError("planted")], ids=lambda one: type(one).__name__)
def test_a_mistake_of_the_program_is_raised(repository, unharmed, mistake, monkeypatch):
    def failing(*given, **named):
        raise mistake

    for name in set(STAGES) - {"all_runs"}:
        monkeypatch.setattr(everything, name, lambda *given, told=unharmed[2][name], **named: told)

    monkeypatch.setattr(importlib.import_module("edgehold.pooling.gather.all_runs"), "model_of", failing)
    with pytest.raises(type(mistake), match="planted"):
        find_everything(repository)
