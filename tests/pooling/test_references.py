"""Reference edges and known weights as rows of the joint model: Federer's augmented design, statsmodels, and what they change.

How often intervals through them hold the truth: ``tests/simulation/reference_coverage.py``.
"""

import warnings
from dataclasses import replace

import numpy as np
import pytest
import scipy.sparse as sp
from scipy.linalg import cho_factor, cho_solve

from edgehold.endpoints.references import Beside
from edgehold.numerics.half_t import HalfT
from edgehold.numerics.restricted_likelihood import likelihood_at, prepare_rows
from edgehold.pooling.answer import Estimated, NotEstimable
from edgehold.pooling.curves.curves import curves_asked, read_pool
from edgehold.pooling.curves.references import OF_REFERENCES, WEIGHING, OfRuns, References, augmented
from edgehold.pooling.gather.all_answers import Asked, AskedOfPool, all_answers
from edgehold.pooling.gather.references import places, references_of
from edgehold.pooling.spread_priors import priors_for
from tests.estimates.rows import make_row
from tests.simulation.reference_coverage import ASSUMED, HIGH, LATE, LEVEL, POOL, STEELS, WORKS, ReferenceDesign, draw, shift
from tests.words.says import says

with warnings.catch_warnings():
    warnings.simplefilter("ignore", DeprecationWarning)  # statsmodels decorates with what pandas will take away
    from statsmodels.regression.mixed_linear_model import MixedLM, VCSpec

PRIORS = priors_for(ASSUMED, "assumed here")
# Federer (1956), Augmented (or hoonuiaku) designs, Hawaiian Planters' Record 55:191-208, the example as it stands in the documentation of
# the R packages agricolae (DAU.test) and augmentedRCBD: three blocks, checks A to D in each, new entries in one.
BLOCKS = ["I"] * 7 + ["II"] * 6 + ["III"] * 7
ENTRIES = list("ABCDgklABCDeiABCDfhj")
YIELDS = np.array([83, 77, 78, 78, 70, 75, 74, 79, 81, 81, 91, 79, 78, 92, 79, 87, 81, 89, 96, 82], dtype=float)
FREE = 1e4  # standard deviation of blocks at which they are as good as fixed


def published(drawn, beside=None):
    rule = LEVEL.model_copy(update={"id": "late", "at": WORKS[LATE]})
    rules, pools = {(POOL, "late"): Asked(rule, PRIORS)}, {POOL: AskedOfPool(WORKS, PRIORS, True)}
    own = drawn.beside if beside is None else beside
    return all_answers(drawn.rows, drawn.points, rules, pools, own, sensitivity=False).answers[POOL, "late"].headline


def model_of(drawn, beside=None):
    read = read_pool(drawn.points, drawn.rows, WORKS, True)
    references = references_of(read.keys, drawn.rows, drawn.beside if beside is None else beside)
    return curves_asked(read, WORKS, PRIORS, references).model


def indicator(labels):
    levels, code = np.unique(labels, return_inverse=True)
    return sp.csr_matrix((np.ones(len(code)), (np.arange(len(code)), code)), shape=(len(code), len(levels)))


# ---- Federer's augmented design --------------------------------------------------------------------------------------------------


def test_checks_as_rows_give_the_published_analysis_of_an_augmented_design():
    """Adjusted means and standard errors of differences as augmentedRCBD 0.1.7 prints them for these data, its blocks in the other
    order: MSE 26.97; 77.25, 86.50 and 79.50 for the entries of one block; 7.344688 in one block, 8.211611 in two. An entry beside a
    check is not held to what it prints, 6.704752, which has + 1/(rc) in the variance: earlier versions and least squares have
    MSE(1 + 1/r + 1/c − 1/(rc))."""
    X = indicator(ENTRIES).toarray()
    rows = prepare_rows(YIELDS, YIELDS, X, [indicator(BLOCKS)], None)
    names = sorted(set(ENTRIES))
    point = likelihood_at(rows, np.array([FREE]), np.sqrt(26.97222), None, False)
    means = dict(zip(names, point.coefficients, strict=True))
    middle = np.mean([means[name] for name in "ABCD"])
    wanted = {"A": 84.67, "B": 79.00, "C": 82.00, "l": 77.25, "f": 86.50, "j": 79.50, "h": 93.50, "g": 73.25}
    assert {name: means[name] - middle for name in wanted} == pytest.approx(
        {name: value - np.mean([84.67, 79.00, 82.00, 83.33]) for name, value in wanted.items()}, abs=0.006
    )

    def error(first, second):
        c = np.zeros(len(names))
        c[names.index(first)], c[names.index(second)] = 1, -1
        return np.sqrt(c @ point.covariance @ c)

    assert error("f", "h") == pytest.approx(7.344688, rel=1e-4)
    assert error("f", "g") == pytest.approx(8.211611, rel=1e-4)
    assert error("f", "A") == pytest.approx(np.sqrt(26.97222 * (1 + 1 / 3 + 1 / 4 - 1 / 12)), rel=1e-4)


def test_the_two_readings_of_a_reference_edge_are_two_checks_of_an_augmented_design():
    """Federer (1956): two new entries in two blocks with c checks have the difference of their values less the means of their blocks'
    checks, with variance 2σ²(1 + 1/c); in one block 2σ². Here a block is a rig, the checks are the edge before and after its work, and
    segments do not differ."""
    entries, blocks = [e for e in ENTRIES if e.islower()], [b for e, b in zip(ENTRIES, BLOCKS, strict=True) if e.islower()]
    y = np.array([v for e, v in zip(ENTRIES, YIELDS, strict=True) if e.islower()])
    checks = [(b, e == "B", v) for b, e, v in zip(BLOCKS, ENTRIES, YIELDS, strict=True) if e in "AB"]
    nothing = np.zeros(0)
    references = References(
        low=np.array([v for *_, v in checks]), high=np.array([v for *_, v in checks]),
        work=np.array([float(after) for _, after, _ in checks]),
        rig=np.array([b for b, *_ in checks]), scale=np.array([b for b, *_ in checks]), pack=np.array(["one"] * 6),
        segment=np.array([b for b, *_ in checks]),
        labels={name: np.array([b for b, *_ in checks]) for name in ("lot", "evening", "submission")},
        place=np.zeros(6), shown=nothing, hung=np.array([], dtype=str),
        run_rig=np.array(blocks), run_scale=np.array(blocks), run_evening=np.array(blocks), run_place=np.zeros(len(y)),
    )  # fmt: skip
    of_runs = OfRuns(np.arange(len(y)), y, y, indicator(entries).toarray(), {}, {}, {}, {})
    joined = augmented(of_runs, references, nothing, PRIORS)
    assert joined.names == ("fresh", "wear") and set(joined.groups) == {"rig", "segment"}
    rows = prepare_rows(joined.low, joined.high, joined.X, list(joined.groups.values()), None)
    sds = np.array([FREE if name == "rig" else 1e-6 for name in joined.groups])
    point = likelihood_at(rows, sds, 1.0, None, False)
    names = sorted(entries)
    value, block = dict(zip(entries, y, strict=True)), dict(zip(entries, blocks, strict=True))
    mean = {b: np.mean([v for own, _, v in checks if own == b]) for b in set(blocks)}
    for first, second in (("f", "g"), ("e", "l"), ("f", "h")):
        c = np.zeros(joined.X.shape[1])
        c[names.index(first)], c[names.index(second)] = 1, -1
        apart = block[first] != block[second]
        assert c @ point.coefficients == pytest.approx(value[first] - mean[block[first]] - value[second] + mean[block[second]], abs=1e-4)
        assert c @ point.covariance @ c == pytest.approx(2 * (1 + apart / 2), rel=1e-4)


# ---- a general mixed-model library ------------------------------------------------------------------------------------------------


def test_the_restricted_likelihood_with_references_is_at_its_top_where_statsmodels_finds_it():
    """MixedLM of statsmodels 0.14 on the same rows, terms as variance components: its coefficients, and no slope at its estimates."""
    drawn = draw(ReferenceDesign("for statsmodels", tables=10, runs=3, sds={"segment": 0.2, "drift": 0.2}), 3)
    model = model_of(drawn, Beside(drawn.beside.edges))
    beside = model.beside
    names = ["rig", "segment", "run"]
    mats = [beside.groups[name].toarray() for name in names]
    vc = VCSpec(names, [[[str(i) for i in range(Z.shape[1])]] for Z in mats], [[Z] for Z in mats])
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        found = MixedLM(beside.low, beside.X, np.zeros(len(beside.low)), exog_vc=vc).fit(reml=True, method=["lbfgs"], gtol=1e-9)
    variances = dict(zip(names, found.vcomp, strict=True))
    assert min(variances.values()) > 1e-3
    rows = prepare_rows(beside.low, beside.high, beside.X, [beside.groups[name] for name in names], None)
    point = likelihood_at(rows, np.sqrt([variances[name] for name in names]), np.sqrt(found.scale), None, True)
    assert point.coefficients == pytest.approx(found.fe_params, abs=1e-5)
    assert np.abs(point.slopes).max() < 0.02 * len(beside.low)  # a change of 1 % of a spread of .1 moves the likelihood by < 10⁻³ a row
    moved = [likelihood_at(rows, np.sqrt([variances[n] * f for n in names]), np.sqrt(found.scale), None, False) for f in (0.9, 1.1)]
    assert all(one.log_likelihood < point.log_likelihood for one in moved)


def test_given_the_spreads_the_coefficients_are_those_of_generalised_least_squares():
    """Textbook formula, dense, over runs, reference edges and weights together; a weight's row counts WEIGHING times in every part."""
    drawn = draw(ReferenceDesign("dense", tables=4), 2)
    model = model_of(drawn)
    fit, beside = model.fitted(()), model.beside
    i = int(np.argmax(fit.weights))
    spread = dict(zip(fit.names, fit.sds[i], strict=True))
    V = np.diag(np.full(len(beside.low), spread["residual"] ** 2))
    for name, Z in beside.groups.items():
        V += spread[name] ** 2 * (Z @ Z.T).toarray()
    V_inv_X = cho_solve(cho_factor(V), beside.X)
    information = beside.X.T @ V_inv_X
    p = int(model.kept.sum())
    b = np.linalg.solve(information, V_inv_X.T @ beside.low)
    assert fit.coefficients[i] == pytest.approx(b[:p], abs=1e-6)
    assert fit.covariances[i] == pytest.approx(np.linalg.inv(information)[:p, :p], abs=1e-7)
    assert fit.target_means[i] == pytest.approx(b[p:], abs=1e-6)  # fresh, wear, drift
    weighed = beside.low[-len(drawn.beside.weights) :]
    assert weighed == pytest.approx([WEIGHING * one.shown for one in drawn.beside.weights])


# ---- what they change -------------------------------------------------------------------------------------------------------------


def test_lone_tables_are_linked_by_references_and_by_nothing_else():
    drawn = draw(ReferenceDesign("four lone tables", tables=4), 1)
    refused = published(drawn, Beside()).pair(*STEELS)
    assert isinstance(refused, NotEstimable) and says(refused.reason, "separability.not_linked")
    told = published(drawn)
    one = told.pair(*STEELS)
    assert isinstance(one, Estimated) and (one.evidence, one.direct_share) == ("reference", 0.0)
    assert says(one.weak, "separability.through_reference")
    assert told.apart.contrasts["steel"].pair(*STEELS) == "no"  # what the labels tell by themselves stays as it was
    half = draw(ReferenceDesign("of two, one has none", tables=2, without=1), 1)
    assert isinstance(published(half).pair(*STEELS), NotEstimable)


def test_one_blade_a_side_stays_two_blades_without_a_verdict():
    one = published(draw(ReferenceDesign("two lone tables", tables=2, packs=1), 1)).pair(*STEELS)
    assert isinstance(one, Estimated) and (one.about, one.verdict, one.evidence) == ("blades", None, "reference")
    assert one.general.sd > 1.5 * one.posterior.sd


def test_steels_met_at_one_table_are_compared_there_and_say_nothing_of_references():
    one = published(draw(ReferenceDesign("both", tables=4, both=4), 1)).pair(*STEELS)
    assert one.evidence == "direct" and not says(one.weak, "separability.through_reference")


def test_no_list_of_steels_or_terms_meets_the_reference():
    drawn = draw(ReferenceDesign("eight", tables=8, both=4), 1)
    told = published(drawn)
    assert {name for pair in told.pairs for name in (pair.first, pair.second)} == set(STEELS)
    assert not set(told.terms) & set(OF_REFERENCES) and not set(told.fit.names) & set(OF_REFERENCES)
    assert told.runs == len(drawn.rows)


def test_a_pool_without_references_has_the_model_that_it_had():
    drawn = draw(ReferenceDesign("four", tables=4, both=4), 1)
    model = model_of(drawn, Beside())
    assert model.beside is None and model.parts.joined is None
    assert not set(model.groups) & set(OF_REFERENCES)


def test_weights_alone_join_no_tables_but_tell_how_far_the_scale_is_off():
    drawn = draw(ReferenceDesign("weights", tables=6, both=6, sds={"scale": 0.15}), 1)
    model = model_of(drawn, Beside((), drawn.beside.weights))
    assert [name for name in model.beside.groups if name in OF_REFERENCES] == ["scale", "weight"] and not model.parts.joined.any()
    fit = model.fitted(())
    shown = np.array([one.shown for one in drawn.beside.weights])
    assert fit.spread("scale").interval.low < shown.std() < fit.spread("scale").interval.high
    lone = replace(draw(ReferenceDesign("lone", tables=2), 1))
    assert isinstance(published(lone, Beside((), lone.beside.weights)).pair(*STEELS), NotEstimable)


def test_a_rig_that_reads_high_moves_the_ratio_without_references_and_hardly_with_them():
    """The whole study: ``reference_coverage``. Without references the error of a lone table's rig is wholly in its edge; with them what is
    left is the error's share that segments and readings leave open, a tenth at the spreads drawn here."""
    moved = np.array([shift(ReferenceDesign("two lone tables", tables=2, packs=1), seed) for seed in (1, 2, 3)])
    assert moved[:, 0] == pytest.approx(-HIGH, abs=0.02)
    assert np.abs(moved[:, 1]).max() < 0.4 * HIGH


def test_a_reference_that_does_not_say_its_lot_or_evening_has_those_of_its_files_runs_if_they_have_one():
    drawn = draw(ReferenceDesign("four", tables=4), 1)
    silent = tuple(replace(edge, lot=None, evening=None) for edge in drawn.beside.edges)
    keys = sorted({(row.submission, row.run) for row in drawn.rows})
    told, said = (references_of(keys, drawn.rows, Beside(edges)) for edges in (silent, drawn.beside.edges))
    for name in ("lot", "evening"):
        assert (told.labels[name] == said.labels[name]).all()
    two = [replace(row, lot=f"{row.lot} {row.run}") for row in drawn.rows]
    assert set(references_of(keys, two, Beside(silent)).labels["lot"]) == {f"of file-{t}" for t in range(4)}


def test_runs_lie_between_the_two_reference_edges_of_their_evening_in_the_order_in_which_they_were_made():
    rows = [
        make_row(0.0, order, evening=evening, submission=file)
        for file, order, evening in (("a", 3, 1), ("a", 1, 1), ("a", 5, 2), ("b", 1, None))
    ]
    assert places(rows) == pytest.approx([2 / 3 - 0.5, 1 / 3 - 0.5, 0, 0])


def test_spreads_that_were_planted_are_found():
    drawn = draw(ReferenceDesign("many", tables=24, sds={"rig": 0.3, "segment": 0.15}), 5)
    fit = model_of(drawn).fitted(())
    for name, planted in (("rig", 0.3), ("segment", 0.15), ("weight", 0.02)):
        limits = fit.spread(name).interval
        assert limits.low < planted < limits.high, (name, limits)


def test_a_prior_is_wanted_of_every_term_that_references_add():
    assert all(isinstance(PRIORS[name], HalfT) for name in OF_REFERENCES)
