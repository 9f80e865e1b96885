"""The criterion of a linear mixed model y ~ N(Xb, e·(V + Σ γₖZₖZₖᵀ)) with known V, its exact gradient and its average
information, on sparse matrices.

With the rows whitened (V = I), H = I + Σ γₖZₖZₖᵀ and Λ = diag(γ), everything comes from one factor of Henderson's mixed-model
equations in the scaled form of Bates et al. (2015, J. Stat. Softw. 67(1), section 3.4), bordered by X::

    C = | Λ^½ZᵀZΛ^½ + I   Λ^½ZᵀX |      ln|C| = ln|H| + ln|XᵀH⁻¹X|
        | XᵀZΛ^½          XᵀX    |      Λ^½Zᵀ P ZΛ^½ = I − (C⁻¹)ᵤᵤ

with P = H⁻¹ − H⁻¹X(XᵀH⁻¹X)⁻¹XᵀH⁻¹ (Henderson 1975, Biometrics 31:423–447; Searle, Casella & McCulloch 1992, Variance Components,
sections 7.6 and 8.3). So the traces tr(ZₖᵀPZₖ) of the gradient need the diagonal of C⁻¹ only, and a factor that does not vary
(γₖ = 0) costs no division. No n × n matrix is formed.

The criterion at one point is three steps: ``set_ratios``, ``update_factor``, ``evaluate``; ``prepare`` comes before them once.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import scipy.sparse as sp

from .arrays import Array, Bools, Ints
from .elimination import Factor, Plan, analyse, factorise, half_solve, inverse_diagonal, solve
from .estimability import nearly_dependent
from .whitening import Whitening

ALIASED = 1e-9  # a column of unit length with less than this outside the span of those before it is a combination of them
SPARSE_SHARE = 0.3  # X keeps its zeros when fewer than this share of its entries are not zero
WELL_CONDITIONED = 1e-7  # least eigenvalue of XᵀX with unit diagonal for which its zeros are worth more than orthogonality
# Unknowns up to which a search takes the plainest steps: of few levels, terms are often nearly the same to the data, and where on the
# flat ridge of such a criterion it ends hangs on the last digits of every step.
FEW = 600
SMALL_CORE = 200  # unknowns, of more than FEW: with few right-hand sides a dense factor of less costs less than more rounds
# A ratio of zero is set this far above it, in units of one level's information, and the criterion is brought back by its exact
# slope: what is lost is the square of this.
FLOOR = 1e-8


@dataclass(frozen=True, eq=False)
class System:
    """One data set, prepared.

    Attributes
    ----------
    y : (n,) whitened responses minus their ordinary least-squares fit, divided by ``unit``.
    columns : (n, q + p) whitened [Z X].
    rhs : (q + p,) columnsᵀy.
    rows, cols, gram : entries of the lower triangle of columnsᵀcolumns.
    moments : (p, p) XᵀX of the whitened columns kept.
    diagonal : where among them the q diagonal entries of ZᵀZ stand.
    plan : the symbolic analysis of C.
    owner : (q,) which term an effect belongs to.
    sizes : (K,) numbers of effects.
    information : (K,) mean of the diagonal of ZₖᵀZₖ.
    n, p : numbers of rows and of coefficients that are told apart.
    unit : standard deviation that ``y`` was divided by; 1 with a known V.
    kept : which columns of the design were kept; the others are combinations of those before them.
    collinear : column of the design that the others kept come too close to adding up to; None where none does.
    origin : (p,) coefficients subtracted, in the columns kept.
    back : (p, p) coefficients of the columns kept = ``back`` · coefficients of the system.
    log_det_v : ln|V|.
    log_det_back : what ln|XᵀΣ⁻¹X| in the columns kept adds to that in the system's.
    """

    y: Array
    columns: sp.csr_matrix
    rhs: Array
    rows: Ints
    cols: Ints
    gram: Array
    moments: Array
    diagonal: Ints
    plan: Plan
    owner: Ints
    sizes: Ints
    information: Array
    n: int
    p: int
    unit: float
    kept: Bools
    collinear: int | None
    origin: Array
    back: Array
    log_det_v: float
    log_det_back: float

    @property
    def q(self) -> int:
        """Number of random effects."""
        return len(self.owner)

    @property
    def few(self) -> bool:
        """Whether there are few unknowns."""
        return self.q + self.p <= FEW

    @property
    def terms(self) -> int:
        """Number of random terms K."""
        return len(self.sizes)


@dataclass(frozen=True, eq=False)
class Ratios:
    """The variance ratios of one point.

    Attributes
    ----------
    gamma : (K,) as asked for, ≥ 0.
    used : (K,) never exactly zero.
    root : (q + p,) what rows and columns of C are scaled by: √γ of each effect, 1 for coefficients.
    """

    gamma: Array
    used: Array
    root: Array


@dataclass(frozen=True, eq=False)
class Evaluation:
    """The criterion's parts at one point.

    Attributes
    ----------
    ratios, factor : of the point.
    log_det : ln|H| + ln|XᵀH⁻¹X| (restricted) or ln|H| (not), in the system's columns.
    rss : yᵀPy.
    traces : (K,) slopes of ``log_det``: tr(ZₖᵀPZₖ), or tr(ZₖᵀH⁻¹Zₖ).
    squares : (K,) minus the slopes of ``rss``: ‖ZₖᵀPy‖².
    scaled : (q,) predicted effects divided by √γ.
    coefficients : (p,) generalised least-squares coefficients of the system.
    spread : (q + p,) diagonal of C⁻¹ (restricted), or of (Λ^½ZᵀZΛ^½ + I)⁻¹ with zeros for coefficients.
    """

    ratios: Ratios
    factor: Factor
    log_det: float
    rss: float
    traces: Array
    squares: Array
    scaled: Array
    coefficients: Array
    spread: Array


def prepare(y: Array, X: Array | sp.spmatrix, terms: Sequence[sp.spmatrix], known: Whitening | None) -> System:
    """Whiten, centre, scale and analyse.

    Parameters
    ----------
    y : (n,) finite responses.
    X : (n, p) finite design, dense or sparse; dependent columns are dropped.
    terms : K sparse (n, qₖ) matrices Zₖ without empty columns.
    known : the known covariance, or None: independent rows of one unknown variance.
    """
    Z = [sp.csr_matrix(term) for term in terms]
    if known:
        y, X, Z = known.root @ y, known.root @ X, [known.root @ term for term in Z]
    basis, back, kept, collinear = _basis(X)
    columns = sp.hstack([*Z, basis], format="csr")
    rows, cols, gram = _lower(columns.T @ columns)
    sizes = np.array([term.shape[1] for term in Z], dtype=int)
    q, p = int(sizes.sum()), basis.shape[1]
    on_diagonal = np.flatnonzero((rows == cols) & (rows < q))
    on_diagonal = on_diagonal[np.argsort(rows[on_diagonal])]
    owner = np.repeat(np.arange(len(sizes)), sizes)
    of_coefficients = cols >= q
    moments = np.zeros((p, p))
    moments[rows[of_coefficients] - q, cols[of_coefficients] - q] = gram[of_coefficients]
    moments += np.tril(moments, -1).T
    residual, origin, unit = _centred(y, basis, known is None)
    return System(
        y=residual,
        columns=columns,
        rhs=columns.T @ residual,
        rows=rows,
        cols=cols,
        gram=gram,
        moments=moments,
        diagonal=on_diagonal,
        plan=analyse(rows, cols, q + p, p, None if q + p <= FEW else SMALL_CORE),
        owner=owner,
        sizes=sizes,
        information=np.bincount(owner, gram[on_diagonal], minlength=len(sizes)) / np.maximum(sizes, 1),
        n=len(y),
        p=p,
        unit=unit,
        kept=kept,
        collinear=collinear,
        origin=back @ origin,
        back=back,
        log_det_v=known.log_determinant if known else 0.0,
        log_det_back=-2.0 * float(np.linalg.slogdet(back)[1]) if p else 0.0,
    )


def _basis(X: Array | sp.spmatrix) -> tuple[sp.csr_matrix, Array, Bools, int | None]:
    """Columns that span X, sparse where X is sparse and well conditioned and else orthonormal; how to go back; which were kept, and which
    of these the others come too close to adding up to."""
    X = sp.csr_matrix(X)
    if not X.has_canonical_format:
        X = X.copy()
        X.sum_duplicates()
    length = np.sqrt(np.bincount(X.indices, X.data**2, minlength=X.shape[1]))
    scale = 1 / np.where(length > 0, length, 1.0)
    scaled = X @ sp.diags(scale)
    everything = np.ones(X.shape[1], dtype=bool)
    if X.shape[1] == 0:
        return scaled, np.zeros((0, 0)), everything, None
    moments = (scaled.T @ scaled).toarray()
    sparse = X.nnz < SPARSE_SHARE * X.shape[0] * X.shape[1]
    if sparse and np.linalg.eigvalsh(moments)[0] > WELL_CONDITIONED:
        return sp.csr_matrix(scaled), np.diag(scale), everything, None
    kept = _independent(scaled.toarray())
    basis, triangle = np.linalg.qr(scaled.toarray()[:, kept])
    nearly = nearly_dependent(triangle)
    collinear = None if nearly is None else int(np.flatnonzero(kept)[nearly])
    return sp.csr_matrix(basis), scale[kept][:, None] * np.linalg.inv(triangle), kept, collinear


def _independent(columns: Array) -> Bools:
    """Which columns are no combination of those before them (Gram–Schmidt, twice for the digits)."""
    kept = np.zeros(columns.shape[1], dtype=bool)
    span = np.zeros((columns.shape[0], 0))
    for j, column in enumerate(columns.T):
        rest = column - span @ (span.T @ column)
        rest = rest - span @ (span.T @ rest)
        size = np.linalg.norm(rest)
        if size > ALIASED and span.shape[1] < columns.shape[0]:
            kept[j] = True
            span = np.column_stack([span, rest / size])
    return kept


def _lower(matrix: sp.csr_matrix) -> tuple[Ints, Ints, Array]:
    """Rows, columns and values of the lower triangle of a sparse matrix."""
    entries = matrix.tocoo()
    kept = entries.row >= entries.col
    return entries.row[kept].astype(np.int64), entries.col[kept].astype(np.int64), entries.data[kept]


def _centred(y: Array, basis: sp.csr_matrix, scale: bool) -> tuple[Array, Array, float]:
    """Residuals of ordinary least squares in their own unit; the fit is taken off twice for the digits that an offset costs."""
    origin = np.zeros(basis.shape[1])
    moments = (basis.T @ basis).toarray()
    residual = y
    for _ in range(2 if basis.shape[1] else 0):
        step = np.linalg.solve(moments, basis.T @ residual)
        origin, residual = origin + step, residual - basis @ step
    unit = float(np.sqrt(residual @ residual / max(len(y) - basis.shape[1], 1))) if scale else 1.0
    return residual / (unit or 1.0), origin, unit


def set_ratios(system: System, gamma: Array) -> Ratios:
    """First step: the variance ratios γ ≥ 0 of the K terms."""
    gamma = np.asarray(gamma, dtype=float)
    used = np.maximum(gamma, FLOOR / system.information)
    return Ratios(gamma, used, np.concatenate([np.sqrt(used)[system.owner], np.ones(system.p)]))


def update_factor(system: System, ratios: Ratios) -> Factor | None:
    """Second step: the numeric factor of C; None where it is not positive definite to working precision."""
    entries = system.gram * ratios.root[system.rows] * ratios.root[system.cols]
    entries[system.diagonal] += 1.0
    return factorise(system.plan, entries)


def evaluate(system: System, ratios: Ratios, factor: Factor, restricted: bool) -> Evaluation:
    """Third step: the parts of the criterion and of its gradient."""
    solution = solve(factor, (system.rhs * ratios.root)[:, None])[:, 0]
    scaled = solution[: system.q]
    residual = system.y - system.columns @ (ratios.root * solution)
    spread = inverse_diagonal(factor, with_last=restricted)
    traces = _traces(system, ratios, spread)
    squares = np.bincount(system.owner, scaled**2, minlength=system.terms) / ratios.used
    excess = ratios.used - ratios.gamma
    log_det = factor.log_determinant + (factor.log_determinant_last if restricted else 0.0)
    return Evaluation(
        ratios=ratios,
        factor=factor,
        log_det=log_det - float(excess @ traces),
        rss=float(residual @ residual + scaled @ scaled + excess @ squares),
        traces=traces,
        squares=squares,
        scaled=scaled,
        coefficients=solution[system.q :],
        spread=spread,
    )


def _traces(system: System, ratios: Ratios, spread: Array) -> Array:
    found: Array = (system.sizes - np.bincount(system.owner, spread[: system.q], minlength=system.terms)) / ratios.used
    return found


def traces_at(system: System, gamma: Array) -> Array | None:
    """The restricted criterion's ``traces`` alone at variance ratios; None where the equations are singular."""
    ratios = set_ratios(system, gamma)
    factor = update_factor(system, ratios)
    return None if factor is None else _traces(system, ratios, inverse_diagonal(factor))


@dataclass(frozen=True, eq=False)
class Turned:
    """How Py moves with the variance ratios, as far as effects show it.

    Attributes
    ----------
    effects : (q,) ZᵀPy of all terms.
    moved : (q, K) ZᵀPZⱼZⱼᵀPy, minus its slope in each ratio.
    """

    effects: Array
    moved: Array


def average_information(system: System, evaluation: Evaluation, known: Turned | None = None) -> Array:
    """(K, K) matrix yᵀPZᵢZᵢᵀPZⱼZⱼᵀPy; half of it is the average of observed and expected information (Gilmour, Thompson & Cullis
    1995, Biometrics 51:1440–1450)."""
    if known is not None:
        sums = [np.bincount(system.owner, known.effects * column, minlength=system.terms) for column in known.moved.T]
        return np.reshape(sums, (system.terms,) * 2)
    pieces = _by_term(system, evaluation)
    inner: Array
    if system.few:
        inner = pieces.T @ pieces - pieces.T @ solve(evaluation.factor, pieces)
        return (inner + inner.T) / (2 * np.outer(evaluation.ratios.used, evaluation.ratios.used))
    half = half_solve(evaluation.factor, pieces)
    inner = pieces.T @ pieces - half.T @ half
    return inner / np.outer(evaluation.ratios.used, evaluation.ratios.used)


def turned(system: System, evaluation: Evaluation) -> Turned:
    """How Py moves, which costs twice what the average information does."""
    pieces, used = _by_term(system, evaluation), evaluation.ratios.used
    root = np.sqrt(used)[system.owner]
    rest = (pieces - solve(evaluation.factor, pieces))[: system.q]
    return Turned(evaluation.scaled / root, rest / (root[:, None] * used))


def _by_term(system: System, evaluation: Evaluation) -> Array:
    """(q + p, K) the scaled effects of each term, and nothing for coefficients."""
    pieces = np.zeros((system.q + system.p, system.terms))
    pieces[np.arange(system.q), system.owner] = evaluation.scaled
    return pieces
