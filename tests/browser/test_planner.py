"""The planner of "Do it tonight": the same plans as `edgehold plan`, and somebody's way from five questions to a filled-in form."""

import json
import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page, expect
from scipy.stats import chi2

from edgehold.records.model.plan import Plan
from tests.planning.households import HOUSEHOLDS, SEEDS, added, asked_in_the_browser, handed_out, planned, wanted

from .serving import modules

ASSETS = Path(__file__).parents[2] / "site" / "pages" / "assets"
SHOWN = """one => ({
  last: one.design.asked.last, endpoint: one.design.asked.rule.id, runs: one.runs, buy_m: one.design.fits.buy_m,
  limits: one.design.fits.limits.map(limit => [limit.name, limit.runs]), half_width: one.shows.half_width, seen: one.shows.seen,
  changes: one.design.changes.map(change => [`plan.${change.code}`, change.values]),
})"""


@pytest.fixture(scope="module")
def scripts(browser: Browser) -> Iterator[Page]:
    with modules(browser, ASSETS, "plan/planned.js") as opened:
        yield opened


@pytest.mark.parametrize("name", HOUSEHOLDS)
def test_a_household_gets_the_plan_of_the_program(scripts, name):
    given = {"rules": handed_out(name), "question": asked_in_the_browser(name), "seeds": list(SEEDS)}
    body = f"given => import('./planned.js').then(m => given.seeds.map(seed => m.planned(given.question, given.rules, seed).map({SHOWN})))"
    for seed, (first, *others) in zip(SEEDS, scripts.evaluate(body, given), strict=True):
        expected = planned(wanted(name), seed)
        assert [[code, values | {"units": ""}] for code, values in first.pop("changes")] == [
            [code, arguments | {"units": ""}] for code, arguments in expected.pop("changes")
        ]
        for got, one in zip([first, *others], [expected, *expected.pop("others")], strict=True):
            got.pop("changes", None)
            widths = {key: (got.pop(key), one.pop(key)) for key in ("half_width", "seen")}
            assert got == one
            for mine, theirs in widths.values():
                assert mine == pytest.approx(theirs, rel=1e-9)


@pytest.mark.parametrize("name", HOUSEHOLDS)
def test_more_adds_what_it_adds_in_the_program(scripts, name):
    given = {"rules": handed_out(name), "question": asked_in_the_browser(name), "seed": SEEDS[1]}
    body = """async given => {
      const { planned } = await import('./planned.js'), { additions } = await import('./adds.js');
      const [{ design, runs }] = planned(given.question, given.rules, given.seed);
      return additions(design.asked, runs, given.seed).map(
        ({ shows }) => [Number.isFinite(shows.half_width) ? shows.half_width : null, shows.seen]);
    }"""
    for (width, seen), (_, half_width, chances) in zip(scripts.evaluate(body, given), added(wanted(name), SEEDS[1]), strict=True):
        assert width == (None if half_width is None else pytest.approx(half_width, rel=1e-9))
        assert seen == pytest.approx(chances, rel=1e-9)


def test_the_quantile_of_chi_squared_is_scipys(scripts):
    grid = [(p, df) for df in (0.5, 1, 2, 4, 6.3, 40, 333) for p in (1e-9, 1e-3, 0.2, 0.5, 0.8, 0.999, 1 - 1e-9)]
    got = scripts.evaluate("grid => import('../form/distributions.js').then(m => grid.map(([p, df]) => m.chiSquaredQuantile(p, df)))", grid)
    assert got == pytest.approx([chi2.ppf(p, df) for p, df in grid], rel=1e-11)


def test_texts_are_filled_in_as_the_program_fills_them(scripts):
    patterns = {"a": "{x:.3g}, {x:g}, {x:.0f}, {x:.2f}, {n}", "b": {"count": "n", "one": "1 run", "other": "{n} runs"}}
    values = [1 / 3, 43.75, 0.00012, 123456.0, 2.0, 1.005]
    got = scripts.evaluate(
        "given => import('./words.js').then(m => given.values.map(x => m.say(given.patterns, 'a', { x, n: 3 })))",
        {"patterns": patterns, "values": values},
    )
    assert got == [f"{x:.3g}, {x:g}, {x:.0f}, {x:.2f}, 3" for x in values]
    said = "patterns => import('./words.js').then(m => [1, 2].map(n => m.say(patterns, 'b', { n })))"
    assert scripts.evaluate(said, patterns) == ["1 run", "2 runs"]


@pytest.fixture()
def tonight(browser: Browser, form_base: str) -> Iterator[Page]:
    """The page on a phone."""
    context = browser.new_context(viewport={"width": 390, "height": 844}, accept_downloads=True)
    page = context.new_page()
    page.goto(f"{form_base}/tonight/")
    expect(page.locator("#plan-root")).to_be_visible()
    yield page
    context.close()


def ask(page: Page) -> None:
    page.get_by_role("button", name="Show what fits").click()
    expect(page.locator("#plan-result")).to_be_visible()


def table(page: Page) -> list[dict[str, str]]:
    rows = page.locator("#plan-order tr")
    heads, *cells = [row.locator("th, td").all_inner_texts() for row in rows.all()]
    return [dict(zip(heads, row, strict=True)) for row in cells]


def test_the_usual_evening_is_planned_with_the_keyboard_alone_and_without_a_network(tonight):
    tonight.context.set_offline(True)
    tonight.get_by_label("Handles, yours first").focus()
    tonight.keyboard.type("fid, wren, tern")
    tonight.keyboard.press("Enter")
    expect(tonight.locator("#plan-result")).to_be_visible()
    expect(tonight.locator("#plan-first")).to_be_focused()
    expect(tonight.locator("#plan-best")).to_contain_text("6 runs to 40 cuts, judged by sharpness after 40 cuts")
    expect(tonight.locator("#plan-best")).to_contain_text(re.compile(r"ahead in [45] evenings in 10 .* in [89] evenings in 10"))
    runs = table(tonight)
    assert {(run["Sharpened by"], run["Cut and read by"]) for run in runs} == {("wren", "fid"), ("tern", "fid")}
    assert all(re.fullmatch("[A-Z]{2}", run["Code"]) for run in runs)
    assert [(run["Half"], run["In turn with"]) for run in runs[:2]] in ([("heel", "2"), ("tip", "1")], [("tip", "2"), ("heel", "1")])
    assert tonight.evaluate("document.documentElement.scrollWidth") <= 390


def test_cautions_stand_between_the_questions_and_the_order(tonight):
    ask(tonight)
    tops = [tonight.locator(place).bounding_box()["y"] for place in ("#plan-ask", "section.cautions", "#plan-order")]
    assert tops == sorted(tops)
    expect(tonight.locator("#plan-cautions li").first).to_contain_text("Clamp the rope for every cut")


def test_alone_with_ninety_minutes_gets_a_plan_that_says_what_it_cannot_tell(tonight):
    tonight.get_by_label("I am alone").check()
    tonight.get_by_label("Minutes in an evening").fill("90")
    tonight.get_by_label(re.compile("^Metres of rope")).fill("6")
    ask(tonight)
    expect(tonight.locator("#plan-best")).to_contain_text("2 runs to 40 cuts. Each sharpener has the same half throughout")
    assert {run["Sharpened by"] for run in table(tonight)} == {"second", "first"}


def test_too_little_time_gets_shorter_runs_and_says_so(tonight):
    tonight.get_by_label("Minutes in an evening").fill("90")
    ask(tonight)
    expect(tonight.locator("#plan-best")).to_contain_text("Runs end after 10 cuts instead of 40.")
    assert len(table(tonight)) == 4


def test_ninety_minutes_and_no_scale_are_offered_an_evening_that_fits(tonight):
    expect(tonight.locator("#plan-ask input[type=radio]").first).to_have_value("first-evening-paper")
    offered = tonight.locator("p.banner", has_text="no scale?")
    expect(offered.get_by_role("link")).to_have_attribute("href", re.compile("/protocols/first-evening-paper/1.0.0/$"))
    expect(offered).to_contain_text("Nothing to build.")
    tonight.get_by_label("Whose half of one edge cuts more card").check()
    tonight.get_by_label("Minutes in an evening").fill("90")
    ask(tonight)
    expect(tonight.locator("#plan-best")).to_contain_text("4 runs to 8 m")
    assert [run["Half"] for run in table(tonight)].count("heel") == 2


def test_every_method_says_what_must_be_bought_and_built_before(tonight):
    rope = tonight.locator("article.card", has_text="Does it matter which of two people sharpened this blade")
    expect(rope).to_contain_text("Before the evening, build: Reading rig")
    expect(rope).to_contain_text("Buy, or borrow: Natural-fibre three-strand rope")


def test_a_slip_is_answered_at_its_field_and_nothing_else_happens(tonight):
    tonight.get_by_label("Minutes in an evening").fill("9000")
    tonight.get_by_role("button", name="Show what fits").click()
    expect(tonight.locator("#plan-status")).to_have_text("Minutes in an evening: got 9000, wanted a number from 20 to 900.")
    expect(tonight.get_by_label("Minutes in an evening")).to_be_focused()
    expect(tonight.locator("#plan-result")).to_be_hidden()


def test_the_saved_plan_is_a_plan_of_the_format_and_of_the_order_shown(tonight):
    tonight.get_by_label("Minutes in an evening").fill("300")
    ask(tonight)
    with tonight.expect_download() as saved:
        tonight.get_by_role("button", name="Save the plan as a file").click()
    plan = Plan.model_validate_json(Path(saved.value.path()).read_bytes())
    assert saved.value.suggested_filename == f"{plan.id}.json"
    assert [run["Sharpened by"] for run in table(tonight)] == [run.sharpener for run in plan.runs]
    assert (plan.blinding, plan.planned_last_checkpoint, plan.endpoint, len(plan.runs)) == ("helper coded", 40, "late", 8)
    orders = set()
    for _ in range(12):
        tonight.get_by_role("button", name="Draw another order").click()
        orders.add(tuple(run["Sharpened by"] for run in table(tonight)))
    rounds = [("second", "third", "third", "second"), ("third", "second", "second", "third")]
    assert orders <= {one + other for one in rounds for other in rounds}
    assert len(orders) > 1  # of four; missed once in four millions


def test_where_nothing_is_hidden_the_sheet_says_whose_edge_it_is_and_stands_alone_on_paper(tonight):
    tonight.evaluate("window.print = () => {}")
    tonight.get_by_label("Two of us").check()
    tonight.get_by_label("Handles, yours first").fill("fid wren")
    ask(tonight)
    runs = table(tonight)
    tonight.get_by_role("button", name="Print the sheet").click()
    tonight.emulate_media(media="print")
    paper = tonight.locator("#plan-paper .sheet")
    expect(paper.get_by_text("Before you cut")).to_be_visible()
    told = [section.locator("dd").first.inner_text() for section in paper.locator(".run").all()]
    assert told == [run["Sharpened by"] for run in runs]
    assert tonight.locator("#plan-ask:visible, #plan-order:visible, p.lead:visible").count() == 0


def test_the_form_opens_with_people_blades_and_order_filled_in(tonight):
    tonight.get_by_label("Handles, yours first").fill("fid wren tern")
    ask(tonight)
    runs = table(tonight)
    tonight.get_by_role("button", name="Open the form with this filled in").click()
    expect(tonight.locator("#form-root")).to_be_visible()
    expect(tonight).to_have_url(re.compile("/tonight/two-sharpeners-rope-"))
    kept = tonight.evaluate("Object.entries(localStorage).find(([key]) => key.startsWith('edgehold/draft/submission/'))[1]")
    draft = json.loads(kept)["draft"]
    assert [person["handle"] for person in draft["people"]] == ["fid", "wren", "tern"]
    assert [edge["sharpener"] for edge in draft["preparations"]] == [run["Sharpened by"] for run in runs]
    assert [run["preparation"] for run in draft["runs"]] == [edge["id"] for edge in draft["preparations"]]
    assert [edge["edge_part"] for edge in draft["preparations"]] == [run["Half"] for run in runs]
    assert [run["partner"] for run in draft["runs"]] == [f"run-{run['In turn with']}" for run in runs]
    expect(tonight.get_by_role("group", name="Person 1", exact=True).get_by_role("textbox", name="Handle", exact=True)).to_have_value("fid")


def kept_edges(page: Page) -> list[dict[str, str]]:
    """The sharpenings of the form that was opened with a plan."""
    page.get_by_role("button", name="Open the form with this filled in").click()
    expect(page.locator("#form-root")).to_be_visible()
    kept = page.evaluate("Object.entries(localStorage).find(([key]) => key.startsWith('edgehold/draft/submission/'))[1]")
    return json.loads(kept)["draft"]["preparations"]


@pytest.mark.parametrize(
    ("whose", "label", "edges"),
    [
        ("mine now and mine before I learned", "fid (before)", {("fid", "before", None), ("fid", None, None)}),
        ("the factory's and mine", "factory", {("factory", None, "factory"), ("fid", None, None)}),
    ],
)
def test_an_edge_that_is_there_stays_as_it_was_left_and_the_form_knows_whose_it_is(tonight, whose, label, edges):
    tonight.get_by_label("Handles, yours first").fill("fid")
    tonight.get_by_label("Whose edges are compared?").select_option(label=whose)
    tonight.get_by_label("Blades to test").fill("2")
    ask(tonight)
    assert {(run["Sharpened by"], run["Half"]) for run in table(tonight)} == {
        (who, half) for who in (label, "fid") for half in ("heel", "tip")
    }
    told = f"The half by {'the factory' if label == 'factory' else label} stays as it was left"
    expect(tonight.locator("#plan-order")).to_contain_text(told)
    assert {(one["sharpener"], one.get("condition"), one.get("start_state")) for one in kept_edges(tonight)} == edges


def test_two_ways_of_one_person_are_saved_and_a_single_way_is_asked_about(tonight):
    tonight.get_by_label("Handles, yours first").fill("fid, wren, tern")
    expect(tonight.get_by_label("Two ways, separated by a comma")).to_be_hidden()
    tonight.get_by_label("Whose edges are compared?").select_option(label="mine, sharpened in two ways")
    tonight.get_by_label("Two ways, separated by a comma").fill("freehand")
    tonight.get_by_role("button", name="Show what fits").click()
    expect(tonight.locator("#plan-status")).to_contain_text("got freehand, wanted two separated by a comma")
    tonight.get_by_label("Two ways, separated by a comma").fill("freehand, guided")
    ask(tonight)
    with tonight.expect_download() as saved:
        tonight.get_by_role("button", name="Save the plan as a file").click()
    plan = Plan.model_validate_json(Path(saved.value.path()).read_bytes())
    assert {(run.sharpener, run.condition, run.tester) for run in plan.runs} == {("fid", "freehand", "wren"), ("fid", "guided", "wren")}
    assert plan.coder == "tern" and tonight.evaluate("document.documentElement.scrollWidth") <= 390
    assert {(one["sharpener"], one["condition"]) for one in kept_edges(tonight)} == {("fid", "freehand"), ("fid", "guided")}


def test_whose_edges_is_not_asked_where_steels_are_compared(tonight):
    expect(tonight.get_by_label("Whose edges are compared?")).to_be_visible()
    tonight.locator('[name="plan-question"][value="steels-exchanged-rope"]').check()
    expect(tonight.get_by_label("Whose edges are compared?")).to_be_hidden()
