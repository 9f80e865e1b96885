"""Methods side by side: what one leaves open and the other does not, and what the usual evening tells."""

import math

import pytest
from sample import results
from scipy.stats import t as t_distribution

from edgehold.forms.usual import usual_evening
from edgehold.pages.method_table import THREATS, handling, methods, pair_pages
from edgehold.pages.safe_text import protocol_body
from edgehold.records import load_repository
from edgehold.results.publish.versions import protocol_results
from tests.planning.boatyard_plans import ROOT, protocol
from tests.records.builder import make_repository
from tests.records.builder import protocol as small_protocol


@pytest.fixture(scope="module")
def told():
    repository = load_repository(ROOT)
    published = results().model_copy(update={"protocols": protocol_results(repository), "objections": ()})
    return methods(published, [version for version in published.protocols if version.newest])


def by_id(told, name):
    return next(method for method in told if method.version.id == name)


def test_every_method_stands_in_the_table_with_what_it_compares(told):
    compared = {method.version.id: str(method.compared) for method in told}
    assert compared["two-sharpeners-rope"] == "any two sharpeners" and compared["finish-in-halves-rope"] == "coarse and fine"
    assert len(compared) == len({method.version.id for method in told}) == 6


def test_a_threat_left_open_is_open_and_one_with_a_step_is_not(told):
    method = by_id(told, "two-sharpeners-rope")
    named = {threat.threat: threat.steps for threat in method.settings.threats}
    for kind in THREATS:
        assert handling(method, kind).open == (not named.get(kind))


def test_two_methods_have_one_page_each_pair_and_it_holds_both_sides(told):
    pages = list(pair_pages(told))
    assert len(pages) == 15 and len({page.address for page in pages}) == 15
    page = next(page for page in pages if page.address == "/protocols/compare/life-on-card-and-two-sharpeners-rope/")
    for method in (by_id(told, "life-on-card"), by_id(told, "two-sharpeners-rope")):
        assert method.settings.medium.name in page.html
        assert all(threat.text.split(";")[0].split("'")[0] in page.html.replace("&#39;", "'") for threat in method.settings.threats)


def test_the_usual_evening_of_pairs_is_students_interval_on_their_differences():
    """Four runs are two pairs. A column for the half leaves their two differences no degree of freedom, so that the assumed spread, worth
    four, gives all: √(2/2)·0.2·t(.975, 4)."""
    evening = usual_evening(protocol("two-sharpeners-rope", "2.0.0"))
    assert evening.runs == 4
    assert evening.half_width == pytest.approx(math.sqrt(2 / 2) * 0.2 * t_distribution.ppf(0.975, 4), rel=0.02)


@pytest.mark.parametrize(
    ("body", "linked"),
    [("### s1-prepare", True), ("### s1-prepare: flat", True), ("## s1-prepare *flat*", True), ("### s1-prepare&#45;it", False)],
)
def test_a_step_is_linked_to_where_the_method_s_page_has_it(tmp_path, body, linked):
    """A link that leads nowhere stops the build: what the check passes may not hold one."""
    both = [small_protocol(), small_protocol({"/id": "other-rope"})]
    repository = load_repository(make_repository(tmp_path, [], both, body=f"{body}\n\nFlatten.\n"))
    assert repository.errors == ()
    published = results().model_copy(update={"protocols": protocol_results(repository), "objections": ()})
    (page,) = pair_pages(methods(published, published.protocols))
    assert page.html.count('/1.0.0/#s1-prepare"') == (2 if linked else 0)
    assert ('id="s1-prepare"' in protocol_body(body, {})) == linked
