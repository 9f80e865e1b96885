"""Reference posteriors of hierarchical models: drawn by a general-purpose sampler, checked by a method that shares nothing with it.

This script made the JSON files beside it. It is not run by the tests, and the sampler is no dependency of the project.
To run it, make an environment of its own outside the checkout:

    python -m venv /tmp/posteriors
    /tmp/posteriors/bin/pip install "pymc==5.28.5" "nutpie==0.16.8" "arviz==0.23.4" "numba==0.65.1"
    /tmp/posteriors/bin/python tests/reference/posteriors/make.py            # every set: about a quarter of an hour on one core
    /tmp/posteriors/bin/python tests/reference/posteriors/make.py crins2014  # the sets named
    /tmp/posteriors/bin/python tests/reference/posteriors/make.py --check    # keeps the draws' summaries, makes the second opinions anew

The model of every set: y ~ N(X b + sum_k Z_k u_k, R), u_k ~ N(0, sigma_k^2), R = residual^2 I or diag(V). b has a flat prior, each SD
its own half-t(df, scale), where scale "inf" is the flat prior on the SD and df "inf" the half-normal. A value given by two limits enters
with the probability between them (normal distribution function), an exact one with its density.

1. The sampler (NUTS of nutpie on a PyMC model) draws coefficients, random effects and SDs together; nothing is integrated beforehand,
   save the effects of single estimates where V is known (`marginal`). u_k = sigma_k z_k (non-centred), except one term a set where the
   data outweigh the prior: there the levels' own means are drawn (`carrier`: hierarchical centring, Gelfand, Sahu & Carlin 1995,
   Biometrika 82:479-488). Both are the same posterior.
2. Monte-Carlo errors: of a mean, SD / sqrt(ESS); of an SD, the error of the mean of (x - mean)^2 over 2 SD (no normal shape supposed);
   of a limit, from the ESS of the quantile (Vehtari et al. 2021, Bayesian Analysis 16:667-718).
3. The second opinion: with exact values, b and u are integrated analytically by dense matrices and the SDs by importance sampling from a
   multivariate t on the log scale (scrambled Sobol points, errors from the scatter of scramblings); with one term and known V, by a fine
   grid besides. With limits, a Gibbs sampler of its own: values drawn within their limits, then effects, then SDs as scale mixtures of
   inverse gammas (Wand et al. 2011, Bayesian Analysis 6:847-900).
"""

import json
import math
import sys
import time
from pathlib import Path

import arviz as az
import numpy as np
import pymc as pm
import pytensor.tensor as pt
from scipy import optimize, special, stats
from scipy.stats import qmc

HERE = Path(__file__).parent
SEED = 20261128
DRAWS = {"chains": 4, "warm_up_a_chain": 2000, "draws_a_chain": 25000, "target_accept": 0.97}
STATISTICS = ("mean", "sd", "low", "high")
TOLERANCES = {
    "monte_carlo_errors": 3,
    "own_error_of_a_limit_in_half_widths": 0.02,
    "reason": "the errors are the sampler's; limits are published once our own error is under 2 % of the half-width",
}
FOUR = {"df": 4}
AUTHORS = "the authors' assumption for this check: half-t with 4 degrees of freedom, "
MACHINES = [{"constant": 1}, {"column": "Machine", "equals": "B"}, {"column": "Machine", "equals": "C"}]
OFFENCES = [{"constant": 1}, {"column": "deltype", "equals": "general"}, {"column": "deltype", "equals": "overt"}]
SUBJECTS = {"subject": {"labels": ["Subject"]}}
DISTRICTS = {"district": {"labels": ["district"]}, "school": {"labels": ["district", "school"]}}
PENICILLIN = {
    "data_set": "penicillin",
    "response": "diameter",
    "X": [{"constant": 1}],
    "coefficients": ["mean"],
    "terms": {"plate": {"labels": ["plate"]}, "sample": {"labels": ["sample"]}},
    "V": None,
    "priors": {name: FOUR | {"scale": 1.0} for name in ("plate", "sample", "residual")},
    "prior_note": AUTHORS + "scale 1 mm for each SD",
    "carrier": "sample",
    "draws": {"draws_a_chain": 40000},
}
SLEEP = {
    "data_set": "sleepstudy",
    "response": "Reaction",
    "X": [{"constant": 1}, {"column": "Days"}],
    "coefficients": ["at day 0", "a day"],
    "terms": SUBJECTS,
    "V": None,
    "priors": {"subject": FOUR | {"scale": 40.0}, "residual": FOUR | {"scale": 40.0}},
    "prior_note": AUTHORS + "scale 40 ms for each SD",
    "carrier": "subject",
}

SETS = {
    "eight_schools": {
        "name": "Coaching in eight schools, effects with known standard errors, uniform prior on the SD between schools",
        "citation": "Rubin DB. Estimation in parallel randomized experiments. J Educ Stat 1981;6:377-401; rounded as in "
        "Gelman A et al. Bayesian Data "
        "Analysis, 3rd ed., CRC Press 2013, table 5.2",
        "columns": {
            "school": list("ABCDEFGH"),
            "effect": [28, 8, -3, 7, -1, 1, 18, 12],
            "se": [15, 10, 16, 11, 9, 11, 10, 18],
            "v": [225, 100, 256, 121, 81, 121, 100, 324],
        },
        "response": "effect",
        "X": [{"constant": 1}],
        "coefficients": ["mean"],
        "terms": {"school": {"labels": ["school"]}},
        "V": "v",
        "priors": {"school": {"df": 1, "scale": "inf"}},
        "prior_note": "uniform on the SD, as in Bayesian Data Analysis, section 5.5; improper, so the df say nothing",
        "published": [
            {
                "what": "RStan, p(mu, tau) constant, 4 chains of 1000 draws kept",
                "source": "Stan Development Team, vignette 'RStan: the R interface to Stan', printed output of 10 December "
                "2025 (file articles/rstan.md of "
                "the repository stan-dev/rstan, commit 91b49f5c953f3a7f20cdf4eb82b54d10b4f82f1b); errors of means as "
                "printed (se_mean), errors of "
                "quantiles from the printed n_eff and the density found on the grid",
                "coefficients": {
                    "mean": {"mean": 8.10, "mean_error": 0.11, "sd": 5.06, "quantiles": {"0.1": 1.85, "0.5": 7.90, "0.9": 14.36}}
                },
                "spreads": {
                    "school": {"mean": 6.29, "mean_error": 0.15, "sd": 5.37, "quantiles": {"0.1": 0.91, "0.5": 5.09, "0.9": 13.12}}
                },
                "n_eff": {"mean": 2265, "school": 1372},
                "printed_to": {"coefficients": 0.005, "spreads": 0.005},
            }
        ],
    },
    "crins2014": {
        "name": "Acute rejection after liver transplantation in children, six trials, log odds ratios, half-normal prior with scale 0.5",
        "citation": "Crins ND, Roever C, Goralczyk AD, Friede T. Interleukin-2 receptor antagonists for pediatric liver "
        "transplant recipients: a systematic "
        "review and meta-analysis of controlled studies. Pediatr Transplant 2014;18:839-850. Counts as in R "
        "package bayesmeta 3.4, data set "
        "CrinsEtAl2014; one half added to every count of Gras (2008), which has a zero",
        "columns": {
            "publication": ["Heffron (2003)", "Gibelli (2004)", "Schuller (2005)", "Ganschow (2005)", "Spada (2006)", "Gras (2008)"],
            "treated_events": [14, 16, 3, 9, 4, 0],
            "treated": [61, 28, 18, 54, 36, 50],
            "control_events": [15, 19, 8, 29, 11, 3],
            "control": [20, 28, 12, 54, 36, 34],
        },
        "response": "log_odds_ratio",
        "X": [{"constant": 1}],
        "coefficients": ["mean"],
        "terms": {"study": {"labels": ["publication"]}},
        "V": "v",
        "priors": {"study": {"df": "inf", "scale": 0.5}},
        "prior_note": "half-normal with scale 0.5 on the SD as in Roever 2020; here b is flat, there N(0, 4^2)",
        "published": [
            {
                "what": "bayesmeta, half-normal(0.5) on the SD and N(0, 4^2) on the mean",
                "source": "Roever C. Bayesian random-effects meta-analysis using the bayesmeta R package. J Stat Softw "
                "2020;93(6):1-51, pp. 21-23: printed "
                "ma01 and ma01$summary, read in the copy of the paper that comes with bayesmeta 3.4",
                "mean_prior_sd": 4.0,
                "coefficients": {"mean": {"mean": -1.5764366, "sd": 0.3295298, "quantiles": {"0.5": -1.5734823}}},
                "spreads": {"study": {"mean": 0.3810562, "sd": 0.2593672, "quantiles": {"0.5": 0.3445022}}},
                "printed_to": {"coefficients": 0.0002, "spreads": 0.000001},
                "printed_to_note": "the SD between trials is printed to seven digits; bayesmeta sums the mean's distribution over some "
                "dozen "
                "representative values of that SD, which leaves 0.0002",
            }
        ],
    },
    "penicillin": PENICILLIN
    | {
        "name": "Penicillin: 144 diameters, 24 plates crossed with 6 samples",
        "citation": "data: penicillin.json; half-t prior: Gelman A. Bayesian Analysis 2006;1:515-534",
    },
    "machines": {
        "name": "Machines: 3 fixed machines, 6 random workers crossed with them, random interaction, 3 replicates",
        "citation": "data: machines_gauge_rr.json; half-t prior: Gelman A. Bayesian Analysis 2006;1:515-534",
        "data_set": "machines_gauge_rr",
        "response": "score",
        "X": MACHINES,
        "coefficients": ["machine A", "B - A", "C - A"],
        "terms": {"worker": {"labels": ["Worker"]}, "cell": {"labels": ["Worker", "Machine"]}},
        "V": None,
        "priors": {"worker": FOUR | {"scale": 4.0}, "cell": FOUR | {"scale": 4.0}, "residual": FOUR | {"scale": 2.0}},
        "prior_note": AUTHORS + "scale 4 points for worker and interaction, 2 for the residual",
        "carrier": "cell",
    },
    "machines_all_random": {
        "name": "Machines as a gauge study: machine (3 levels), worker (6) and their interaction random",
        "citation": "data: machines_gauge_rr.json; half-t prior: Gelman A. Bayesian Analysis 2006;1:515-534",
        "data_set": "machines_gauge_rr",
        "response": "score",
        "X": [{"constant": 1}],
        "coefficients": ["mean"],
        "terms": {"machine": {"labels": ["Machine"]}, "worker": {"labels": ["Worker"]}, "cell": {"labels": ["Worker", "Machine"]}},
        "V": None,
        "priors": {name: FOUR | {"scale": 4.0} for name in ("machine", "worker", "cell")} | {"residual": FOUR | {"scale": 2.0}},
        "prior_note": AUTHORS + "scale 4 points for machine, worker and interaction, 2 for the residual",
        "carrier": "cell",
        "draws": {"draws_a_chain": 40000, "target_accept": 0.995},
    },
    "assink2016": {
        "name": "Recidivism of juveniles, 100 effects in 17 studies by kind of offence, sampling variances known",
        "citation": "data: assink2016.json; half-t prior: Gelman A. Bayesian Analysis 2006;1:515-534",
        "data_set": "assink2016",
        "response": "yi",
        "X": OFFENCES,
        "coefficients": ["covert", "general - covert", "overt - covert"],
        "terms": {"study": {"labels": ["study"]}, "effect": {"labels": ["study", "esid"]}},
        "V": "vi",
        "priors": {"study": FOUR | {"scale": 0.3}, "effect": FOUR | {"scale": 0.3}},
        "prior_note": AUTHORS + "scale 0.3 standardised mean differences for each SD",
        "marginal": "effect",
    },
    "konstantopoulos2011": {
        "name": "School calendars, 56 schools nested in 11 districts, year as moderator, sampling variances known",
        "citation": "data: konstantopoulos2011.json; half-t prior: Gelman A. Bayesian Analysis 2006;1:515-534",
        "data_set": "konstantopoulos2011",
        "response": "yi",
        "X": [{"constant": 1}, {"column": "year_centred"}],
        "coefficients": ["mean", "a year"],
        "terms": DISTRICTS,
        "V": "vi",
        "priors": {"district": FOUR | {"scale": 0.2}, "school": FOUR | {"scale": 0.2}},
        "prior_note": AUTHORS + "scale 0.2 standardised mean differences for each SD",
        "marginal": "school",
    },
    "konstantopoulos2011_crossed": {
        "name": "School calendars, schools nested in districts and a third term, year, crossed with schools, whose SD is near zero",
        "citation": "data: konstantopoulos2011.json; half-t prior: Gelman A. Bayesian Analysis 2006;1:515-534",
        "data_set": "konstantopoulos2011",
        "response": "yi",
        "X": [{"constant": 1}],
        "coefficients": ["mean"],
        "terms": DISTRICTS | {"year": {"labels": ["year"]}},
        "V": "vi",
        "priors": {name: FOUR | {"scale": 0.2} for name in ("district", "school", "year")},
        "prior_note": AUTHORS + "scale 0.2 standardised mean differences for each SD",
        "draws": {"target_accept": 0.99},
    },
    "sleepstudy": SLEEP
    | {
        "name": "Reaction times of 18 subjects over 10 days without sleep, a random intercept a subject",
        "citation": "data: sleepstudy.json; half-t prior: Gelman A. Bayesian Analysis 2006;1:515-534",
    },
    "penicillin_censored": PENICILLIN
    | {
        "name": "Penicillin coarsened: a quarter of the diameters one-sided, a quarter intervals",
        "citation": "data: penicillin.json; half-t prior: Gelman A. Bayesian Analysis 2006;1:515-534",
        "coarsening": {
            "at_most": 20,
            "then_below": 20.5,
            "at_least": 26,
            "then_above": 25.5,
            "every": 3,
            "half_width": 0.5,
            "rule": "a diameter of 20 mm or less is known only to be at most 20.5; one of 26 or more only to be at least "
            "25.5; of the others the 1st, 4th, "
            "7th ... row of the file is known to lie within 0.5 of the value; the rest are exact",
        },
    },
    "sleepstudy_censored": SLEEP
    | {
        "name": "Reaction times coarsened: a tenth known only to be long, a tenth only to be short, many in wide intervals",
        "citation": "data: sleepstudy.json; half-t prior: Gelman A. Bayesian Analysis 2006;1:515-534",
        "coarsening": {
            "at_most": 235,
            "then_below": 235,
            "at_least": 370,
            "then_above": 370,
            "every": 2,
            "half_width": 25,
            "rule": "a time of 235 ms or less is known only to be at most 235; one of 370 or more only to be at least "
            "370; of the others the 1st, 3rd, "
            "5th ... row of the file is known to lie within 25 ms of the value; the rest are exact",
        },
    },
}


# ------------------------------------------------------------------------------------------------------------------------------- data


def columns_of(spec):
    """The columns of a set: its own, or those of the file in tests/reference that it points to."""
    if "data_set" in spec:
        return json.loads((HERE.parent / f"{spec['data_set']}.json").read_text(encoding="utf-8"))["columns"]
    columns = spec["columns"]
    if "treated_events" not in columns:
        return columns
    a, n, c, m = (np.array(columns[name], dtype=float) for name in ("treated_events", "treated", "control_events", "control"))
    half = np.where((a == 0) | (c == 0) | (a == n) | (c == m), 0.5, 0.0)
    cells = np.array([a, n - a, c, m - c]) + half
    columns["log_odds_ratio"] = np.log(cells[0] * cells[3] / cells[1] / cells[2]).tolist()
    columns["v"] = (1 / cells).sum(0).tolist()
    return columns


def coarsened(values, rule):
    """Lower and upper limits of the values under a rule of one-sided and interval censoring."""
    y = np.array(values, dtype=float)
    short, long = y <= rule["at_most"], y >= rule["at_least"]
    within = ~short & ~long & (np.arange(len(y)) % rule["every"] == 0)
    low = np.where(short, -np.inf, np.where(long, rule["then_above"], np.where(within, y - rule["half_width"], y)))
    high = np.where(long, np.inf, np.where(short, rule["then_below"], np.where(within, y + rule["half_width"], y)))
    return low, high


class Data:
    """Arrays of one set: limits of the values, X, one index of levels a term, V or None, priors as numbers."""

    def __init__(self, spec):
        columns = columns_of(spec)
        n = len(columns[spec["response"]])
        self.y = np.array(columns[spec["response"]], dtype=float)
        self.low, self.high = coarsened(self.y, spec["coarsening"]) if "coarsening" in spec else (self.y, self.y)
        self.censored = not np.array_equal(self.low, self.high)
        self.X = np.column_stack([self._column(columns, one, n) for one in spec["X"]])
        self.index = {}
        for name, term in spec["terms"].items():
            labels = ["/".join(str(columns[column][row]) for column in term["labels"]) for row in range(n)]
            self.index[name] = np.unique(labels, return_inverse=True)[1]
        self.V = None if spec["V"] is None else np.array(columns[spec["V"]], dtype=float)
        self.spreads = [*spec["terms"], *(["residual"] if self.V is None else [])]
        self.priors = {name: (float(spec["priors"][name]["df"]), float(spec["priors"][name]["scale"])) for name in self.spreads}
        self.coefficients = spec["coefficients"]

    @staticmethod
    def _column(columns, one, n):
        if "constant" in one:
            return np.full(n, float(one["constant"]))
        values = columns[one["column"]]
        return np.array([value == one["equals"] for value in values] if "equals" in one else values, dtype=float)

    def indicator(self, name):
        return np.eye(self.index[name].max() + 1)[self.index[name]]


# ------------------------------------------------------------------------------------------------------------------------- the sampler


def prior_of(name, df, scale):
    if math.isinf(scale):
        return pm.HalfFlat(name)
    return pm.HalfNormal(name, scale) if math.isinf(df) else pm.HalfStudentT(name, nu=df, sigma=scale)


def between(low, high):
    """ln of the standard normal probability between two bounds, from the tail they lie in."""
    flip = low > 0
    a, b = pt.where(flip, -high, low), pt.where(flip, -low, high)
    upper, lower = pm.logcdf(pm.Normal.dist(), b), pm.logcdf(pm.Normal.dist(), a)
    return upper + pt.log1mexp(lower - upper)


def likelihood(data, mean, spread):
    if not data.censored:
        pm.Normal("y", mean, spread, observed=data.y)
        return
    exact, above, below = data.low == data.high, np.isinf(data.high), np.isinf(data.low)
    within = ~(exact | above | below)
    pm.Normal("y", mean[exact], spread, observed=data.low[exact])
    pm.Potential("below", pm.logcdf(pm.Normal.dist(), (data.high[below] - mean[below]) / spread).sum())
    pm.Potential("above", pm.logcdf(pm.Normal.dist(), (mean[above] - data.low[above]) / spread).sum())
    pm.Potential("within", between((data.low[within] - mean[within]) / spread, (data.high[within] - mean[within]) / spread).sum())


def pymc_model(data, carrier=None, marginal=None):
    """The set as a PyMC model; `carrier`: the term whose level means are drawn; `marginal`: single estimates' effects, integrated."""
    start = np.linalg.lstsq(data.X, data.y, rcond=None)[0]
    unit = data.y.std() * np.sqrt(np.diag(np.linalg.inv(data.X.T @ data.X)))
    with pm.Model() as model:
        b = pm.Deterministic("b", start + unit * pm.Flat("b_raw", shape=len(start)))
        sd = {name: prior_of(name, *data.priors[name]) for name in data.spreads}
        spread = sd["residual"] if data.V is None else np.sqrt(data.V)
        if marginal:
            spread = pt.sqrt(data.V + sd[marginal] ** 2)
        z = {
            name: pm.Normal(f"z_{name}", shape=int(index.max()) + 1)
            for name, index in data.index.items()
            if name not in (carrier, marginal)
        }
        parts = [(data.X[:, j], lambda rows, j=j: data.X[rows, j] * b[j]) for j in range(len(start))]
        parts += [(data.index[name], lambda rows, name=name: sd[name] * z[name][data.index[name][rows]]) for name in z]
        rows = np.arange(len(data.y))
        if carrier:
            index = data.index[carrier]
            first = np.unique(index, return_index=True)[1]
            carried = [bool(np.array_equal(values, values[first][index])) for values, _ in parts]
            level_mean = sum(part(first) for (_, part), yes in zip(parts, carried, strict=True) if yes)
            mean = pm.Normal(f"means_{carrier}", level_mean, sd[carrier], shape=len(first))[index]
            mean = mean + sum(part(rows) for (_, part), yes in zip(parts, carried, strict=True) if not yes)
        else:
            mean = sum(part(rows) for _, part in parts)
        likelihood(data, mean, spread)
    return model


def drawn(data, spec, seed):
    """(chains, draws) of every coefficient and SD, and how they were drawn."""
    import nutpie

    settings = DRAWS | spec.get("draws", {})
    began = time.process_time()
    trace = nutpie.sample(
        nutpie.compile_pymc_model(pymc_model(data, spec.get("carrier"), spec.get("marginal"))),
        draws=settings["draws_a_chain"],
        tune=settings["warm_up_a_chain"],
        chains=settings["chains"],
        cores=1,
        target_accept=settings["target_accept"],
        seed=seed,
        progress_bar=False,
    )
    posterior = trace.posterior
    draws = {"coefficients": {}, "spreads": {name: posterior[name].values for name in data.spreads}}
    draws["coefficients"] = {name: posterior["b"].values[:, :, j] for j, name in enumerate(data.coefficients)}
    every = [x for group in draws.values() for x in group.values()]
    how = {
        "sampler": f"NUTS: nutpie {nutpie.__version__} on a PyMC {pm.__version__} model",
        "script": "tests/reference/posteriors/make.py",
        "seed": seed,
        **settings,
        "drawn": "coefficients, SDs"
        + (f" (effects of single estimates, term {spec['marginal']}, integrated)" if spec.get("marginal") else "")
        + " and random effects"
        + (f", level means of {spec['carrier']} centred" if spec.get("carrier") else ", all non-centred"),
        "divergences": int(trace.sample_stats["diverging"].values.sum()),
        "largest_r_hat": round(max(float(az.rhat(x)) for x in every), 5),
        "smallest_bulk_ess": round(min(float(az.ess(x, method="bulk")) for x in every)),
        "smallest_tail_ess": round(min(float(az.ess(x, method="tail")) for x in every)),
    }
    print(
        f"  {how['divergences']} divergences, r-hat {how['largest_r_hat']}, ESS {how['smallest_bulk_ess']} / {how['smallest_tail_ess']},"
        f" {time.process_time() - began:.0f} s",
        flush=True,
    )
    return draws, how


def summary(x):
    """Mean, SD and central 95 % limits with the Monte-Carlo error of each; `x` is (chains, draws)."""
    mean, sd = x.mean(), x.std(ddof=1)
    values = {"mean": mean, "sd": sd, "low": np.quantile(x, 0.025), "high": np.quantile(x, 0.975)}
    errors = {
        "mean": az.mcse(x, method="mean"),
        "sd": az.mcse((x - mean) ** 2, method="mean") / (2 * sd),
        "low": az.mcse(x, method="quantile", prob=0.025),
        "high": az.mcse(x, method="quantile", prob=0.975),
    }
    return {name: {"value": digits(values[name], 7), "error": digits(errors[name], 3)} for name in STATISTICS}


def digits(value, figures):
    return float(f"{np.asarray(value).item():.{figures}g}")


# ------------------------------------------------------------------------------------------------------------------ the second opinion


def log_prior(data, log_sd):
    """ln prior density of the logarithms of the SDs, up to a constant."""
    total = np.zeros(log_sd.shape[:-1])
    for k, name in enumerate(data.spreads):
        (df, scale), t = data.priors[name], log_sd[..., k]
        total = total + t
        if math.isfinite(scale):
            square = np.exp(2 * t) / scale**2
            total = total - (square / 2 if math.isinf(df) else (df + 1) / 2 * np.log1p(square / df))
    return total


def integrated(data, log_sd, precision=0.0):
    """ln restricted likelihood, conditional mean and covariance of b, for a batch of log SDs; `precision`: b's prior precision."""
    n, p = data.X.shape
    S = np.zeros((*log_sd.shape[:-1], n, n))
    for k, name in enumerate(data.spreads):
        part = np.eye(n) if name == "residual" else data.indicator(name) @ data.indicator(name).T
        S += np.exp(2 * log_sd[..., k])[..., None, None] * part
    if data.V is not None:
        S += np.diag(data.V)
    L = np.linalg.cholesky(S)
    W = np.linalg.solve(L, np.broadcast_to(np.column_stack([data.X, data.y]), (*S.shape[:-2], n, p + 1)))
    A = np.swapaxes(W[..., :p], -1, -2) @ W[..., :p] + precision * np.eye(p)
    c = (np.swapaxes(W[..., :p], -1, -2) @ W[..., p:])[..., 0]
    b = np.linalg.solve(A, c[..., None])[..., 0]
    rest = (W[..., p] ** 2).sum(-1) - (b * c).sum(-1)
    log_likelihood = -np.log(np.diagonal(L, axis1=-2, axis2=-1)).sum(-1) - np.linalg.slogdet(A)[1] / 2 - rest / 2
    return log_likelihood, b, np.linalg.inv(A)


def mixture_quantile(weights, means, sds, prob):
    heavy = weights > 1e-9 * weights.max()  # the rest could only stretch the bracket and coarsen the root
    weights, means, sds = weights[heavy] / weights[heavy].sum(), means[heavy], sds[heavy]
    low, high = (means - 12 * sds).min(), (means + 12 * sds).max()
    return optimize.brentq(lambda x: weights @ special.ndtr((x - means) / sds) - prob, low, high, xtol=1e-12 * (high - low), rtol=1e-14)


def weighted_quantile(weights, x, prob):
    order = np.argsort(x)
    cumulative = np.cumsum(weights[order]) - weights[order] / 2
    return np.interp(prob, cumulative, x[order])


def mixture_summary(data, weights, log_sd, b, covariance, probs=(0.025, 0.975)):
    """Values of every quantity from weighted points in the log SDs."""
    found = {"coefficients": {}, "spreads": {}}
    for j, name in enumerate(data.coefficients):
        mean, sd = b[:, j], np.sqrt(covariance[:, j, j])
        centre = weights @ mean
        limits = [mixture_quantile(weights, mean, sd, prob) for prob in probs]
        found["coefficients"][name] = [centre, math.sqrt(weights @ (sd**2 + (mean - centre) ** 2)), *limits]
    for k, name in enumerate(data.spreads):
        x = np.exp(log_sd[:, k])
        centre = weights @ x
        found["spreads"][name] = [centre, math.sqrt(weights @ (x - centre) ** 2), *(weighted_quantile(weights, x, prob) for prob in probs)]
    return found


def by_importance(data, scramblings=8, points=2**12, df=4):
    """The integral over the log SDs by importance sampling from a multivariate t, scrambled Sobol points, dense matrices.

    The t is laid about the mode by the curvature, doubled; its first weighted points give the mean and covariance of the second, which
    is used. Each scrambling is an estimate of its own; their mean is the value, their scatter its error.
    """

    def minus(log_sd):
        return -(integrated(data, log_sd)[0] + log_prior(data, log_sd))

    def weighted(centre, L, seed):
        uniform = np.clip(qmc.Sobol(k + 1, seed=seed).random(points), 1e-12, 1 - 1e-12)
        t = special.ndtri(uniform[:, :k]) / np.sqrt(stats.chi2.ppf(uniform[:, k], df) / df)[:, None]
        log_sd = np.clip(centre + t @ L.T, *bounds)  # far outside nothing weighs, and matrices would be singular in rounding
        batches = [integrated(data, part) for part in np.array_split(log_sd, max(1, points // 512))]
        log_likelihood, b, covariance = (np.concatenate([batch[i] for batch in batches]) for i in range(3))
        log_weight = log_likelihood + log_prior(data, log_sd) + (df + k) / 2 * np.log1p((t**2).sum(1) / df)
        log_weight[((log_sd == bounds[0]) | (log_sd == bounds[1])).any(1)] = -np.inf
        return np.exp(log_weight - special.logsumexp(log_weight)), log_sd, b, covariance

    k = len(data.spreads)
    bounds = math.log(data.y.std()) - 20, math.log(data.y.std()) + 8
    first = np.log(np.full(k, data.y.std() / 2))
    mode = optimize.minimize(minus, first, method="Nelder-Mead", options={"xatol": 1e-7, "fatol": 1e-9, "maxiter": 5000}).x
    step = 1e-3 * np.eye(k)
    curvature = np.array(
        [[(minus(mode + a + c) - minus(mode + a - c) - minus(mode - a + c) + minus(mode - a - c)) / 4e-6 for c in step] for a in step]
    )
    weights, log_sd, *_ = weighted(mode, 2 * np.linalg.cholesky(np.linalg.inv(curvature)), SEED)
    centre = weights @ log_sd
    L = np.linalg.cholesky((weights * (log_sd - centre).T) @ (log_sd - centre))
    every = [weighted(centre, L, SEED + 1 + i) for i in range(scramblings)]
    found = [mixture_summary(data, *one) for one in every]
    stacked = {group: {name: np.array([one[group][name] for one in found]) for name in found[0][group]} for group in found[0]}
    values = {group: {name: x.mean(0).tolist() for name, x in one.items()} for group, one in stacked.items()}
    errors = {
        group: {name: (x.std(0, ddof=1) / math.sqrt(scramblings)).tolist() for name, x in one.items()} for group, one in stacked.items()
    }
    how = {
        "method": f"importance sampling over the log SDs, {scramblings} scramblings of {points} Sobol points",
        "effective_points": round(sum(1 / (one[0] ** 2).sum() for one in every)),
    }
    return values, how, errors


def on_a_grid(data, prior_sd=math.inf, probs=(0.025, 0.5, 0.975), points=40001):
    """One SD: the integral as a sum over an even grid of its logarithm, to nearly every digit."""
    log_sd = np.linspace(math.log(1e-7), math.log(3e4), points)[:, None]
    batches = [integrated(data, part, 1 / prior_sd**2) for part in np.array_split(log_sd, 40)]
    log_likelihood, b, covariance = (np.concatenate([batch[i] for batch in batches]) for i in range(3))
    log_weight = log_likelihood + log_prior(data, log_sd)
    weights = np.exp(log_weight - special.logsumexp(log_weight))
    return mixture_summary(data, weights, log_sd, b, covariance, probs), (weights, np.exp(log_sd[:, 0]))


def inverse_gamma(rng, shape, rate):
    return rate / rng.gamma(shape, size=np.shape(rate))


def by_gibbs(data, chains=64, draws=4000, warm_up=500, seed=SEED):
    """Values drawn within their limits, then b and u together, then the SDs as scale mixtures: own code, no gradient, no library."""
    rng = np.random.default_rng(seed)
    p, sizes = data.X.shape[1], {name: index.max() + 1 for name, index in data.index.items()}
    W = np.column_stack([data.X, *(data.indicator(name) for name in data.index)])
    WW, wide = W.T @ W, ~(data.low == data.high)
    middle = np.where(np.isinf(data.low), data.high, np.where(np.isinf(data.high), data.low, (data.low + data.high) / 2))
    y = np.tile(middle, (chains, 1))
    variance = {name: np.full(chains, middle.var() / 2) for name in data.spreads}
    scale_of = {name: np.ones(chains) for name in data.spreads}
    kept = {"coefficients": np.empty((p, chains, draws)), "spreads": np.empty((len(data.spreads), chains, draws))}
    for turn in range(-warm_up, draws):
        shrink = np.concatenate(
            [np.zeros((chains, p)), *(np.repeat(1 / variance[name][:, None], size, 1) for name, size in sizes.items())], axis=1
        )
        precision = WW / variance["residual"][:, None, None] + shrink[:, :, None] * np.eye(len(WW))
        L = np.linalg.cholesky(precision)
        right = np.linalg.solve(L, (y @ W / variance["residual"][:, None])[..., None])
        effects = np.linalg.solve(np.swapaxes(L, 1, 2), right + rng.standard_normal(right.shape))[..., 0]
        mean, sd = effects @ W.T, np.sqrt(variance["residual"])[:, None]
        a, c = (data.low - mean[:, :])[:, wide] / sd, (data.high - mean)[:, wide] / sd
        flip = a > 0
        a, c = np.where(flip, -c, a), np.where(flip, -a, c)
        u = rng.random(a.shape)
        inside = special.ndtri(special.ndtr(a) + u * (special.ndtr(c) - special.ndtr(a)))
        y[:, wide] = mean[:, wide] + sd * np.where(flip, -inside, inside)
        squares, at = {"residual": ((y - mean) ** 2).sum(1)}, p
        for name, size in sizes.items():
            squares[name], at = (effects[:, at : at + size] ** 2).sum(1), at + size
        for name in data.spreads:
            (df, scale), count = data.priors[name], len(data.y) if name == "residual" else sizes[name]
            variance[name] = inverse_gamma(rng, (df + count) / 2, df / scale_of[name] + squares[name] / 2)
            scale_of[name] = inverse_gamma(rng, (df + 1) / 2, 1 / scale**2 + df / variance[name])
        if turn >= 0:
            kept["coefficients"][:, :, turn] = effects[:, :p].T
            kept["spreads"][:, :, turn] = [np.sqrt(variance[name]) for name in data.spreads]
    names = {"coefficients": data.coefficients, "spreads": data.spreads}
    full = {group: {name: summary(kept[group][i]) for i, name in enumerate(names[group])} for group in kept}
    values = {group: {name: [one[s]["value"] for s in STATISTICS] for name, one in full[group].items()} for group in full}
    errors = {group: {name: [one[s]["error"] for s in STATISTICS] for name, one in full[group].items()} for group in full}
    return values, {"method": f"Gibbs sampler with the values drawn within their limits, {chains} chains of {draws} draws"}, errors


def second_opinion(data, posterior):
    """The other method's values, and how far the sampler's lie from them in Monte-Carlo errors (of both together)."""
    found, how, errors = by_gibbs(data) if data.censored else by_importance(data)
    distance = {}
    for group in posterior:
        for name, one in posterior[group].items():
            for i, statistic in enumerate(STATISTICS):
                error = math.hypot(one[statistic]["error"], errors[group][name][i])
                distance[f"{name}, {statistic}"] = (one[statistic]["value"] - found[group][name][i]) / error
    worst = max(distance, key=lambda key: abs(distance[key]))
    spread = math.sqrt(np.mean(np.square(list(distance.values()))))
    print(f"  second opinion: {how}; farthest {worst}: {distance[worst]:.2f} errors; root mean square {spread:.2f}", flush=True)
    values = {
        group: {
            name: {s: {"value": digits(x, 7), "error": digits(e, 3)} for s, x, e in zip(STATISTICS, one, errors[group][name], strict=True)}
            for name, one in found[group].items()
        }
        for group in found
    }
    return {
        **how,
        **values,
        "farthest": {"quantity": worst, "in_monte_carlo_errors": round(distance[worst], 2)},
        "root_mean_square_in_monte_carlo_errors": round(spread, 2),
    }


def published_again(data, published):
    """What a publication printed, computed again on the grid under its own priors; errors of drawn quantiles where n_eff is told."""
    once = []
    for entry in published:
        probs = sorted(float(prob) for prob in next(iter(entry["coefficients"].values()))["quantiles"])
        near = [prob + step for prob in probs for step in (0, -0.01, 0.01)]
        found, _ = on_a_grid(data, entry.get("mean_prior_sd", math.inf), near)
        again = {}
        for group in found:
            again[group] = {}
            for name, (mean, sd, *quantiles) in found[group].items():
                triples = dict(zip(map(str, probs), np.reshape(quantiles, (-1, 3)), strict=True))
                again[group][name] = {
                    "mean": digits(mean, 8),
                    "sd": digits(sd, 8),
                    "quantiles": {p: digits(q[0], 8) for p, q in triples.items()},
                }
                if "n_eff" in entry:
                    n_eff = entry["n_eff"][name]
                    entry[group][name]["quantile_errors"] = {
                        p: digits(math.sqrt(float(p) * (1 - float(p)) / n_eff) * (q[2] - q[1]) / 0.02, 3) for p, q in triples.items()
                    }
        once.append(entry | {"computed_again": again})
    return once


# ------------------------------------------------------------------------------------------------------------------------------- files


def make(name, spec, check=False):
    """Write one file; with `check` the draws' summaries are kept and only what is beside them is made anew."""
    print(name, flush=True)
    data = Data(spec)
    if "coarsening" in spec:
        counts = {"below": np.isinf(data.low), "above": np.isinf(data.high)}
        counts["within"] = ~(data.low == data.high) & np.isfinite(data.low) & np.isfinite(data.high)
        spec["coarsening"] |= {kind: int(rows.sum()) for kind, rows in counts.items()} | {
            "low": [None if math.isinf(x) else x for x in data.low.tolist()],
            "high": [None if math.isinf(x) else x for x in data.high.tolist()],
        }
    path = HERE / f"{name}.json"
    if check:
        how, posterior = (json.loads(path.read_text(encoding="utf-8"))[key] for key in ("sampler", "posterior"))
    else:
        draws, how = drawn(data, spec, SEED + list(SETS).index(name))
        posterior = {group: {key: summary(x) for key, x in draws[group].items()} for group in draws}
    opinion = second_opinion(data, posterior)
    told = {key: spec[key] for key in ("name", "citation", "data_set", "columns", "coarsening") if key in spec}
    told["model"] = {key: spec[key] for key in ("response", "X", "coefficients", "terms", "V")}
    told |= {"priors": spec["priors"], "prior_note": spec["prior_note"], "sampler": how, "posterior": posterior, "second_opinion": opinion}
    if len(data.spreads) == 1:
        found, _ = on_a_grid(data)
        order = ("mean", "sd", "low", "median", "high")
        told["grid"] = {
            g: {key: dict(zip(order, (digits(x, 8) for x in one), strict=True)) for key, one in found[g].items()} for g in found
        }
    if "published" in spec:
        told["published"] = published_again(data, spec["published"])
    told["tolerances"] = TOLERANCES
    path.write_text(json.dumps(told, indent=1, ensure_ascii=False) + "\n", encoding="utf-8")


if __name__ == "__main__":
    named = [word for word in sys.argv[1:] if word != "--check"]
    for wanted in named or SETS:
        make(wanted, SETS[wanted], check="--check" in sys.argv)
