"""What can be told apart: known designs, closed forms, awkward labels, and a slow dense second way."""

import itertools
import time

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from edgehold.errors import InputError
from edgehold.numerics.factor_levels import information_beside
from edgehold.pooling.random_terms import ASSUMED_VARIANCES, terms_held
from edgehold.pooling.separability import canonical_efficiencies, crosses, separability

FANO = ["124", "235", "346", "457", "561", "672", "713"]
# A published answer to Kirkman's problem of 1850: fifteen in five groups of three on seven days, every pair once.
KIRKMAN = """0-5-10 1-6-11 2-7-12 3-8-13 4-9-14  0-1-4 2-3-6 7-8-11 9-10-13 12-14-5  1-2-5 3-4-7 8-9-12 10-11-14 13-0-6
4-5-8 6-7-10 11-12-0 13-14-2 1-3-9  2-4-10 3-5-11 6-8-14 7-9-0 12-13-1  4-6-12 5-7-13 8-10-1 9-11-2 14-0-3
10-12-3 11-13-4 14-1-7 0-2-8 5-6-9"""
SQUARE = np.arange(9).reshape(3, 3)
DIAGONALS = [[SQUARE[i, (i + j) % 3] for i in range(3)] for j in range(3)]
OTHER_DIAGONALS = [[SQUARE[i, (j - i) % 3] for i in range(3)] for j in range(3)]


def blocks_to_labels(blocks) -> dict[str, list[str]]:
    """Steels in blocks: every tester is a block; one person sharpens all."""
    runs = [(str(steel), f"t{block:02d}") for block, steels in enumerate(blocks) for steel in steels]
    return {"steel": [s for s, _ in runs], "tester": [t for _, t in runs], "sharpener": ["one"] * len(runs)}


def own_and_crossing(testers: int, each: int, crossing: int, seed: int = 1) -> dict[str, list[str]]:
    rng = np.random.default_rng(seed)
    tester = np.repeat(np.arange(testers), each)
    sharpener = tester.copy()
    for i in rng.choice(len(tester), crossing, replace=False):
        sharpener[i] = (tester[i] + rng.integers(1, testers)) % testers
    return {"sharpener": [f"p{i:02d}" for i in sharpener], "tester": [f"p{i:02d}" for i in tester]}


def crossed_gauge(sharpeners: int, testers: int, each: int) -> dict[str, list[str]]:
    cells = list(itertools.product(range(sharpeners), range(testers))) * each
    return {"sharpener": [f"s{a}" for a, _ in cells], "tester": [f"t{b}" for _, b in cells]}


# --- known designs -------------------------------------------------------------------------------------------------


def test_seven_blocks_of_three_have_efficiency_seven_ninths():
    """The projective plane of order 2: λv/(rk) = 7/9 for every contrast (John & Williams 1995)."""
    found = separability(blocks_to_labels(FANO)).contrasts["steel"]
    assert found.efficiencies == pytest.approx(np.full(6, 7 / 9))
    assert found.rank == 6 and found.verdict == "yes"
    assert found.pair_efficiency[np.triu_indices(7, 1)] == pytest.approx(np.full(21, 7 / 9))


def test_one_blade_a_laboratory_is_disconnected():
    found = separability(blocks_to_labels(["1", "2", "3"])).contrasts["steel"]
    assert found.verdict == "no" and found.rank == 0
    assert found.efficiencies == pytest.approx(np.zeros(2), abs=0)
    assert found.groups == (("1",), ("2",), ("3",))
    assert found.aliased_contrasts == (("1", "2"), ("1", "3"), ("2", "3"))
    assert "cannot tell the steels apart" in found.sentence


def test_kirkmans_fifteen_in_groups_of_three_have_efficiency_five_sevenths():
    """A resolvable balanced design, v = 15, b = 35, r = 7, k = 3, λ = 1: λv/(rk) = 15/21."""
    blocks = [group.split("-") for group in KIRKMAN.split()]
    assert len({frozenset(p) for b in blocks for p in itertools.combinations(b, 2)}) == 105
    labels = blocks_to_labels(blocks)
    assert separability(labels).contrasts["steel"].efficiencies == pytest.approx(np.full(14, 5 / 7))
    days = [str(int(t[1:]) // 5) for t in labels["tester"]]
    assert separability(labels | {"evening": days}).contrasts["steel"].efficiencies == pytest.approx(np.full(14, 5 / 7))


@pytest.mark.parametrize(
    ("replicates", "lost", "share", "average"),
    [
        ([SQUARE, SQUARE.T], 4, 1 / 2, 4 / 6),
        ([SQUARE, SQUARE.T, DIAGONALS], 6, 2 / 3, 8 / 11),
        ([SQUARE, SQUARE.T, DIAGONALS, OTHER_DIAGONALS], 8, 3 / 4, 3 / 4),
    ],
    ids=["simple", "triple", "balanced"],
)
def test_square_lattices_have_yates_efficiencies(replicates, lost, share, average):
    """Yates (1936): nine steels in blocks of three; averages (k+1)/(k+3), (2k+2)/(2k+5) and k/(k+1) at k = 3."""
    found = separability(blocks_to_labels([list(block) for r in replicates for block in r])).contrasts["steel"].efficiencies
    assert found == pytest.approx(np.r_[np.ones(8 - lost), np.full(lost, share)])
    assert len(found) / (1 / found).sum() == pytest.approx(average)


def test_a_latin_square_loses_nothing_to_rows_and_columns():
    square = [(r, c, (r + c) % 4) for r in range(4) for c in range(4)]
    labels = {"tester": [f"t{r}" for r, _, _ in square], "evening": [c for _, c, _ in square], "steel": [s for *_, s in square]}
    found = separability(labels | {"sharpener": ["one"] * 16}).contrasts["steel"]
    assert found.efficiencies == pytest.approx(np.ones(3))


@pytest.mark.parametrize(("order", "published"), [(4, 0.9091), (3, 0.8000)])
def test_williams_squares_keep_nine_tenths_beside_what_came_before(order, published):
    """Efficiency of direct effects adjusted for carry-over, (t² − t − 2)/(t² − t − 1): 80.00 % for three and 90.91 % for four
    (Jones & Kenward 2003, Design and Analysis of Cross-Over Trials, ch. 4; from memory)."""
    zigzag = [0, *[x for i in range(1, order // 2 + 1) for x in (i, order - i)]][:order]
    zigzag = list(dict.fromkeys(zigzag))
    rows = [[(x + shift) % order for x in zigzag] for shift in range(order)]
    rows += [row[::-1] for row in rows] if order % 2 else []
    places = itertools.product(range(len(rows)), range(order))
    runs = [(person, period, rows[person][period], rows[person][period - 1] if period else order) for person, period in places]
    person, period, steel, before = (np.array(column) for column in zip(*runs, strict=True))
    weights = np.ones(len(runs))
    e = canonical_efficiencies(
        information_beside(steel, [person, period, before], weights), information_beside(steel, [person, period], weights)
    )
    assert e == pytest.approx(np.full(order - 1, published), abs=5e-5)


# --- verdicts ------------------------------------------------------------------------------------------------------


def test_people_who_only_test_their_own_edges_cannot_be_split():
    labels = own_and_crossing(6, 4, 0) | {"steel": ["x", "y"] * 12}
    found = separability(labels)
    assert found.contrasts["steel"].verdict == "yes"
    assert found.contrasts["sharpener"].verdict == found.contrasts["tester"].verdict == "no"
    assert found.split.verdict == "no" and found.split.cv == {} and found.split.vif is None
    assert "cannot be told apart" in found.split.sentence
    assert len(found.components) == 6 and found.crossing_runs == 0


def test_steels_that_never_meet_under_one_persons_hands_cannot_be_told():
    labels = own_and_crossing(6, 4, 0) | {"steel": np.repeat(["x", "y"], 12)}
    found = separability(labels).contrasts["steel"]
    assert found.verdict == "no" and found.pair("x", "y") == "no"


def test_three_comparisons_are_weak_and_four_are_not():
    for people, verdict in ((3, "weak"), (4, "yes")):
        labels = own_and_crossing(people, 2, 0) | {"steel": ["x", "y"] * people}
        found = separability(labels).contrasts["steel"]
        assert (found.verdict, list(found.crossing_df)) == (verdict, [people, people])


def test_a_contrast_that_loses_four_fifths_to_people_is_weak():
    """Ten people, each with forty runs of one steel and one of the other, every second the other way about."""
    runs = [(f"p{i}", s) for i in range(10) for s in ("x" * 40 + "y" if i % 2 else "y" * 40 + "x")]
    labels = {"tester": [p for p, _ in runs], "sharpener": [p for p, _ in runs], "steel": [s for _, s in runs]}
    found = separability(labels).contrasts["steel"]
    assert found.crossing_df[0] == 10
    assert 0 < found.pair_efficiency[0, 1] < 0.2 and found.verdict == "weak"


def test_a_steel_nothing_links_leaves_the_others_told():
    labels = own_and_crossing(6, 6, 0)
    steel = np.tile(["x", "y", "x", "y", "x", "y"], 6)
    steel[labels["tester"].index("p05") :] = "z"
    found = separability(labels | {"steel": steel}).contrasts["steel"]
    assert found.verdict == "weak" and found.pair("x", "y") == "yes" and found.pair("z", "x") == "no"
    assert found.groups == (("x", "y"), ("z",))
    assert "1 of 3 pairs" in found.sentence and "2 groups" in found.sentence


def test_a_full_cross_of_strangers_splits_and_is_one_component():
    found = separability(crossed_gauge(6, 6, 2))
    assert found.split.verdict == "yes" and found.split.people == 12
    assert found.split.vif == pytest.approx(1.0, abs=0.01)
    assert found.contrasts["sharpener"].efficiencies == pytest.approx(np.ones(5))
    assert found.rank == 11 and found.levels == 12 and len(found.components) == 1 and found.crossing_runs == 72


def test_two_people_who_swap_are_too_few_to_split():
    labels = {"sharpener": ["a", "b", "a", "b"] * 3 + ["c", "d"], "tester": ["a", "b", "b", "a"] * 3 + ["c", "d"]}
    found = separability(labels).split
    assert found.people == 2 and found.verdict == "no" and "only 2 people" in found.reason


def test_few_crossing_runs_give_limits_only_and_many_a_split():
    few, many = separability(own_and_crossing(20, 12, 4)).split, separability(own_and_crossing(20, 12, 48)).split
    assert few.verdict == "weak" and "upper limits" in few.sentence and few.cv["sharpener"] > 1
    assert many.verdict == "yes" and many.reason == ""
    assert many.cv["sharpener"] < few.cv["sharpener"] and many.vif < few.vif


def test_crossing_runs_need_both_people_met_elsewhere():
    sharpener, tester = ["a", "b", "a", "visitor", "c"], ["a", "b", "b", "b", "d"]
    assert list(crosses(sharpener, tester)) == [False, False, True, False, False]


def test_own_edges_as_a_condition_is_taken_out_of_everything():
    labels = own_and_crossing(8, 6, 16)
    own = [s == t for s, t in zip(labels["sharpener"], labels["tester"], strict=True)]
    with_it, without = separability(labels | {"own sharpening": own}), separability(labels)
    assert with_it.contrasts["sharpener"].efficiencies.sum() < without.contrasts["sharpener"].efficiencies.sum() + 1e-9
    assert with_it.rank == without.rank + 1


def test_one_level_of_everything_is_a_reason_and_not_a_crash():
    found = separability({"steel": ["x"] * 3, "sharpener": ["a"] * 3, "tester": ["a"] * 3})
    assert found.contrasts["steel"].verdict == "no" and "only one steel" in found.contrasts["steel"].sentence
    assert found.split.verdict == "no"
    one = separability({"sharpener": ["a"], "tester": ["a"]})
    assert one.split.verdict == "no" and one.rank == 1


# --- random terms ----------------------------------------------------------------------------------------------------


def test_one_way_information_is_the_textbooks():
    """Balanced one-way layout, a groups of n (Searle, Casella & McCulloch 1992, Variance Components, 3.6): var(σ̂²_A) =
    2/n²·((σ² + nσ²_A)²/(a − 1) + σ⁴/(a(n − 1)))."""
    a, n, between, within = 7, 5, 0.05, 0.08
    found = terms_held({"tester": np.repeat(np.arange(a), n)}, variances={"tester": between, "residual": within})
    variance = 2 / n**2 * ((within + n * between) ** 2 / (a - 1) + within**2 / (a * (n - 1)))
    assert found.cv["tester"] == pytest.approx(variance**0.5 / between, rel=1e-10)
    assert found.cv["residual"] == pytest.approx((2 / (a * (n - 1))) ** 0.5, rel=1e-10)


def test_gauge_study_information_is_that_of_its_mean_squares():
    """Balanced two-way layout without interaction: var(σ̂²_S) = 2/(tm)²·((σ² + tmσ²_S)²/(s − 1) + σ⁴/df)."""
    s, t, m, size, within = 5, 4, 3, 0.04, 0.09
    found = terms_held(crossed_gauge(s, t, m), variances={"sharpener": size, "tester": 0.06, "residual": within})
    df = s * t * m - s - t + 1
    variance = 2 / (t * m) ** 2 * ((within + t * m * size) ** 2 / (s - 1) + within**2 / df)
    assert found.cv["sharpener"] == pytest.approx(variance**0.5 / size, rel=1e-10)
    assert found.variances["sharpener"] == size


def test_terms_go_in_the_stated_order_and_the_survivor_says_what_it_holds():
    """Every person of a submission uses one steel and one blade: submission, both interactions and blade are all one."""
    labels = {name: np.repeat(np.arange(8), 3) for name in ("blade", "steel × tester", "steel × sharpener", "submission")}
    found = terms_held(labels)
    assert [term.name for term in found.dropped] == ["submission", "steel × sharpener", "steel × tester"]
    assert found.held == ("blade",)
    assert found.holds["blade"].startswith("blade, or ") and "how this tester and steel suit each other" in found.holds["blade"]
    assert found.smallest_eigenvalue < 1e-6


def test_only_a_term_that_takes_part_is_dropped():
    tester = np.repeat(np.arange(6), 8)
    blade = np.tile(np.arange(4), 12)
    labels = {"tester": tester, "blade": blade, "steel × tester": blade, "submission": np.tile(np.repeat([0, 1, 2], 4), 4)}
    found = terms_held(labels)
    assert [term.name for term in found.dropped] == ["steel × tester"]
    assert found.dropped[0].aliased_with == ("blade",)
    assert found.held == ("tester", "blade", "submission")


def test_a_level_for_every_run_is_the_residual():
    found = terms_held({"tester": np.repeat(np.arange(4), 4), "blade": np.arange(16)})
    assert [(t.name, t.aliased_with) for t in found.dropped] == [("blade", ("residual",))]
    assert found.holds["residual"] == "run-to-run variation, or blade"


def test_a_term_inside_the_fixed_part_is_empty():
    steel = np.tile([0, 1], 8)
    found = terms_held({"tester": np.repeat(np.arange(4), 4), "batch": steel}, X=np.eye(2)[steel])
    assert [(t.name, t.aliased_with) for t in found.dropped] == [("batch", ())]
    assert "nothing beside the fixed part" in found.dropped[0].reason


@pytest.mark.parametrize("size", [1e-12, 1e6])
def test_variances_of_any_size_leave_the_answer_alone(size):
    """Whether terms are one does not depend on how large they are."""
    labels = {"tester": np.repeat(np.arange(5), 6), "blade": np.tile(np.arange(3), 10), "submission": np.repeat(np.arange(5), 6)}
    found = terms_held(labels, variances={"tester": size})
    assert found.held == ("tester", "blade") and [t.name for t in found.dropped] == ["submission"]
    assert all(np.isfinite(list(found.cv.values())))


def test_a_single_level_is_empty_and_a_single_run_holds_nothing():
    assert terms_held({"tester": ["a"] * 5}).held == ()
    full = terms_held({"tester": list("aab"), "blade": list("xyy")}, X=np.random.default_rng(1).standard_normal((3, 3)))
    assert full.held == () and full.cv["residual"] == float("inf")
    one = terms_held({"tester": ["a"]})
    assert one.held == () and one.cv["residual"] == float("inf")


# --- a slow dense second way -------------------------------------------------------------------------------------------


def indicator(column) -> np.ndarray:
    column = np.array(column)
    return (column[:, None] == np.unique(column)).astype(float)


def off_space(x: np.ndarray) -> np.ndarray:
    return np.eye(len(x)) - x @ np.linalg.pinv(x, rcond=1e-10)


def rank(*columns) -> int:
    return int(np.linalg.matrix_rank(np.hstack([indicator(c) for c in columns]), tol=1e-8))


def random_labels(seed: int, n: int) -> dict[str, np.ndarray]:
    rng = np.random.default_rng(seed)
    people = int(rng.integers(2, 6))
    tester = rng.integers(0, people, n)
    sharpener = np.where(rng.random(n) < 0.6, tester, rng.integers(0, people, n))
    return {
        "steel": rng.integers(0, 3, n).astype(str),
        "sharpener": sharpener.astype(str),
        "tester": tester.astype(str),
        "version": rng.integers(0, 2, n).astype(str),
    }


@settings(max_examples=40, deadline=None)
@given(st.integers(0, 10**6), st.integers(5, 24))
def test_dense_projections_agree_on_contrasts(seed, n):
    labels = random_labels(seed, n)
    found = separability(labels)
    assert found.rank == rank(*labels.values())
    for name, paired in (("steel", ("sharpener", "tester")), ("sharpener", ("tester",)), ("tester", ("sharpener",))):
        z = indicator(labels[name])
        if z.shape[1] < 2:
            continue
        verdict = found.contrasts[name]
        others = {k: v for k, v in labels.items() if k != name}
        c = z.T @ off_space(np.hstack([np.ones((n, 1)), *map(indicator, others.values())])) @ z
        c0 = z.T @ off_space(np.hstack([np.ones((n, 1)), *(indicator(v) for k, v in others.items() if k not in paired)])) @ z
        size, vector = np.linalg.eigh(c0)
        root = vector @ np.diag([x**-0.5 if x > 1e-7 else 0.0 for x in size]) @ vector.T
        e = np.sort(np.linalg.eigvalsh(root @ c @ root))[::-1]
        wanted = np.zeros(z.shape[1])
        wanted[: len(verdict.efficiencies)] = verdict.efficiencies
        assert e == pytest.approx(wanted, abs=1e-7)
        size, vector = np.linalg.eigh(c)
        lost = vector[:, size < 1e-7]
        for i, j in itertools.combinations(range(z.shape[1]), 2):
            d = np.zeros(z.shape[1])
            d[[i, j]] = 1, -1
            if np.linalg.norm(lost.T @ d) > 1e-6:
                assert verdict.pair_efficiency[i, j] == 0
                continue
            ratio = (d @ root @ root @ d) / (d @ np.linalg.pinv(c, rcond=1e-9, hermitian=True) @ d)
            assert verdict.pair_efficiency[i, j] == pytest.approx(ratio, rel=1e-7)
            rows = [labels[name][k] in next(g for g in verdict.groups if verdict.levels[i] in g) for k in range(n)]
            rest = [v[rows] for v in others.values()]
            cells = [np.char.add(np.char.add(labels[name], "/"), labels[p])[rows] for p in paired]
            assert verdict.crossing_df[i] == rank(*rest, *cells) - rank(*rest)


@settings(max_examples=40, deadline=None)
@given(st.integers(0, 10**6), st.integers(8, 24))
def test_dense_information_agrees(seed, n):
    labels = random_labels(seed, n)
    groups = {name: labels[name] for name in ("sharpener", "tester")}
    groups["steel × tester"] = np.char.add(labels["steel"], labels["tester"])
    x = indicator(labels["steel"])
    found = terms_held(groups, X=np.hstack([x, np.ones((n, 1))]))
    z = [indicator(groups[name]) for name in found.held] + [np.eye(n)]
    v = sum(ASSUMED_VARIANCES[name] * indicator(groups[name]) @ indicator(groups[name]).T for name in groups)
    v += ASSUMED_VARIANCES["residual"] * np.eye(n)
    vi = np.linalg.inv(v)
    p = vi - vi @ x @ np.linalg.inv(x.T @ vi @ x) @ x.T @ vi
    f = np.array([[0.5 * np.trace(p @ a @ a.T @ p @ b @ b.T) for b in z] for a in z])
    assert found.information == pytest.approx(f, rel=1e-7, abs=1e-7)
    scale = np.sqrt(np.diag(f))
    assert np.linalg.eigvalsh(f / np.outer(scale, scale))[0] >= 1e-6
    sizes = np.array([ASSUMED_VARIANCES[name] for name in found.names])
    assert list(found.cv.values()) == pytest.approx(np.sqrt(np.diag(np.linalg.inv(f))) / sizes, rel=1e-5)


def test_some_thousands_of_runs_are_judged():
    rng = np.random.default_rng(1)
    n, people = 3000, 60
    tester = rng.integers(0, people, n)
    labels = {"tester": tester, "sharpener": np.where(rng.random(n) < 0.8, tester, rng.integers(0, people, n))}
    labels |= {"steel": rng.integers(0, 6, n), "lot": rng.integers(0, 30, n), "blade": rng.integers(0, 150, n)}
    found = separability(labels)
    assert found.runs == 3000 and found.split.verdict == "yes"
    assert found.rank == 6 + 60 + 60 + 30 - 3


def volunteers(seed: int, n: int = 600) -> dict[str, np.ndarray]:
    """Labels of runs whose batches, lots and tables are nested in blades and people in every way."""
    rng = np.random.default_rng(seed)
    tester, blade = rng.integers(0, 40, n), rng.integers(0, 90, n)
    sharpener = np.where(rng.random(n) < 0.6, tester, rng.integers(0, 40, n))
    labels = {
        "tester": tester,
        "sharpener": sharpener,
        "blade": blade,
        "batch": blade // 2,
        "submission": tester * 3 + rng.integers(0, 3, n),
    }
    return {name: column.astype(str) for name, column in labels.items()}


@pytest.mark.parametrize("seed", range(3))
def test_many_levels_are_judged_by_simulated_responses_as_few_are(seed, monkeypatch):
    """The same terms for the same reasons; coefficients of variation within their simulation's few percent."""
    groups = volunteers(seed)
    groups |= {"lot": groups["tester"], "evening": np.array([f"{b}.{t}" for b, t in zip(groups["blade"], groups["batch"], strict=True)])}
    assumed = {"lot": 0.01, "evening": 0.01}
    few = terms_held(groups, variances=assumed)
    monkeypatch.setattr("edgehold.pooling.random_terms.DENSE_LEVELS", 0)
    many = terms_held(groups, variances=assumed)
    assert (many.held, many.dropped) == (few.held, few.dropped) and few.dropped
    assert list(many.cv.values()) == pytest.approx(list(few.cv.values()), rel=0.1)


def test_ten_thousand_runs_are_judged_in_seconds():
    """A thousand people with 3,000 blades; every two of these levels would be 600 MB, runs by runs 800."""
    rng = np.random.default_rng(1)
    n = 10_000
    tester = np.arange(n) // 10
    sharpener = np.where(rng.random(n) < 0.7, tester, np.minimum(tester + rng.integers(0, 5, n), 999))
    labels = {"steel": rng.integers(0, 6, n), "tester": tester, "sharpener": sharpener, "blade": tester * 3 + rng.integers(0, 3, n)}
    labels |= {"submission": np.arange(n) // 5}
    begun = time.process_time()
    judged = separability(labels, of=("steel", "split"))
    assert judged.contrasts["steel"].verdict == "yes" and judged.split.verdict == "yes"
    assert time.process_time() - begun < 20


# --- callers' mistakes ---------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("labels", "variances", "message"),
    [
        ({"tester": ["a"]}, None, "without sharpener"),
        ({"tester": ["a", "b"], "sharpener": ["a"]}, None, "one label a run; got lengths"),
        ({"tester": ["a", None], "sharpener": ["a", "b"]}, None, "tester needs a label at every run; got none at run 1"),
        ({"tester": [], "sharpener": []}, None, "must be a sequence of labels"),
        ({"tester": ["a"], "sharpener": ["a"]}, {"tester": 0.0}, "variance of tester must be positive"),
        ({"tester": ["a"], "sharpener": ["a"]}, {"tester": 1e9}, "more than 1e\\+08 times that of a run"),
        ({"tester": np.arange(50_001), "sharpener": np.arange(50_001)}, None, "at most 100000 levels"),
    ],
)
def test_a_callers_mistake_is_named(labels, variances, message):
    with pytest.raises(InputError, match=message):
        separability(labels, variances=variances)


def test_terms_need_a_name_a_variance_and_a_fitting_design():
    with pytest.raises(InputError, match="at least one random term"):
        terms_held({})
    with pytest.raises(InputError, match="an assumed variance is needed for moon"):
        terms_held({"moon": ["a", "b"]})
    with pytest.raises(InputError, match="one row a run"):
        terms_held({"tester": ["a", "b"]}, X=np.ones((3, 1)))


def test_a_steel_nobody_has_is_refused():
    with pytest.raises(InputError, match="a steel must be one of 1, 2, 3, 4, 5, 6, 7; got 'q'"):
        separability(blocks_to_labels(FANO)).contrasts["steel"].pair("1", "q")


def test_two_conditions_of_one_person_at_their_own_table_join_nobody():
    """Edges before and after a course tell how much the course did, not whether a person sharpens or cuts well."""
    who = [person for person in "abcdef" for _ in range(4)]
    edges = [person if n % 2 else f"{person} (before the course)" for n, person in enumerate(who)]
    found = separability({"sharpener": edges, "tester": who})
    assert found.crossing_runs == 0 and found.split.verdict != "yes"
