"""Whether people who sharpen well also cut well: the covariance between a person's two effects."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.sparse import csr_array, csr_matrix

from edgehold.numerics.distributions import chi2_sf
from edgehold.pooling.separability import PEOPLE
from edgehold.words import Reason

from .results import CrossedFit, NothingFitted
from .runs_design import Runs, fixed_part
from .runs_model import RunsModel, RunsModelFitted
from .working_values import fit_working

LEAST_PEOPLE = 8  # in both roles
ALPHA = 0.05


@dataclass(frozen=True)
class TwoRoles:
    """Covariance between a person's effect as sharpener and as tester.

    Attributes
    ----------
    people : people met in both roles.
    covariance : ln units squared; None where not looked at.
    correlation : of the two effects; None where not looked at or one of them does not vary.
    p : of the likelihood-ratio test of covariance 0; None where not looked at.
    reason : why not looked at; empty otherwise.
    """

    people: int
    covariance: float | None
    correlation: float | None
    p: float | None
    reason: str


def two_roles(runs: Runs, model: RunsModel) -> TwoRoles:
    """Fit a part that a person's two effects share, or share with opposite signs.

    Parameters
    ----------
    runs : what the model was fitted to.
    model : a fitted model.

    Notes
    -----
    As lines serve as both parents of a diallel cross, with a general effect in either role and another in one only (Cockerham &
    Weir 1977, Biometrics 33:187–203; Lynch & Walsh 1998, Genetics and Analysis of Quantitative Traits, ch. 20). With Z₁, Z₂ the
    runs' people as sharpeners and as testers, σ₁², σ₂² their variances and c their covariance, people contribute (σ₁² − |c|)Z₁Z₁ᵀ +
    (σ₂² − |c|)Z₂Z₂ᵀ + |c|(Z₁ ± Z₂)(Z₁ ± Z₂)ᵀ to Σ, ± being the sign of c: three variances, none negative, for each sign one
    fit, of which the likelier stands. |c| is thereby held to the smaller of σ₁² and σ₂². The test is the restricted likelihood
    ratio against no shared part, χ² with 1 df as c may take either sign.
    """
    people = sorted(set(runs.sharpener.tolist()) & set(runs.tester.tolist()))
    if not isinstance(model, RunsModelFitted):
        return TwoRoles(len(people), None, None, None, Reason("crossed.nothing_fitted"))
    reason = _reason(model, len(people))
    if reason:
        return TwoRoles(len(people), None, None, None, reason)
    X = fixed_part(runs).X
    groups: dict[str, object] = {name: labels for name, labels in runs.groups().items() if name in model.terms}
    values = model.values
    if values is None:
        return TwoRoles(len(people), None, None, None, Reason("crossed.shared_no_fit"))
    fits = {sign: fit_working(values, X, groups | {"shared": _shared(runs, sign)}) for sign in (1.0, -1.0)}
    usable = {sign: _shared_part(one) for sign, one in fits.items()}
    told = [(sign, *one) for sign, one in usable.items() if one is not None]
    if not told:
        return TwoRoles(len(people), None, None, None, Reason("crossed.shared_not_apart"))
    sign, likelihood, size, of_roles = max(told, key=lambda one: one[1])
    whole = [variance + size for variance in of_roles]
    gain = max(2 * (likelihood - model.fit.log_likelihood), 0.0)
    correlation = sign * size / float(np.sqrt(whole[0] * whole[1])) if min(whole) > 0 else None
    return TwoRoles(len(people), sign * size, correlation, float(chi2_sf(gain, 1)), "")


def _reason(model: RunsModelFitted, people: int) -> str:
    if people < LEAST_PEOPLE:
        return Reason("crossed.shared_few", people=people, needed=LEAST_PEOPLE)
    if model.apart.split.verdict == "no":
        return Reason("crossed.roles_not_apart")
    return ""


def _shared_part(fit: CrossedFit) -> tuple[float, float, list[float]] | None:
    """Log-likelihood, variance of the shared part and of either role's own; None where the fit cannot tell them."""
    if isinstance(fit, NothingFitted):
        return None
    size, of_roles = fit.variances["shared"], [value for value in (fit.variances[name] for name in PEOPLE) if value is not None]
    if not fit.convergence.converged or size is None or len(of_roles) < len(PEOPLE):
        return None
    return fit.log_likelihood, size, of_roles


def _shared(runs: Runs, sign: float) -> csr_matrix:
    """Z₁ + Z₂ or Z₁ − Z₂, a column a person."""
    everybody = np.unique(np.concatenate([runs.sharpener, runs.tester]))
    n = len(runs.sharpener)
    columns = np.concatenate([np.searchsorted(everybody, one) for one in (runs.sharpener, runs.tester)])
    rows, weights = np.tile(np.arange(n), 2), np.repeat([1.0, sign], n)
    return csr_matrix(csr_array((weights, (rows, columns)), shape=(n, len(everybody))))
