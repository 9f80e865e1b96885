"""Stage 4: all submissions -> one answer on every comparison, other methods beside it, interlaboratory view, curves.

Enters: contrasts and covariances of single submissions (``estimates``) and rows of runs (``endpoints``). Leaves: frozen
results that hold numbers, their method, their level and what could not be told, with the reason. Must not happen here:
reading files, changing or dropping what a submission says, mixing measured with simulated, writing results.

The vocabulary, written once and used in every module of this stage:

====================  ==========================================================================================
``k``                 number of studies (rows); in the interlaboratory view also Mandel's within-person statistic
``p``                 number of coefficients; in the interlaboratory view the number of persons
``y``                 (k,) estimates, ln ratios
``v``, V              (k,) their sampling variances; V = diag(v)
``X``                 (k, p) design: a column of ones, or moderators
``b``                 (p,) coefficients; the pooled mean when X is a column of ones
``tau2``              between-study variance τ²; tau its root
``w``, W              weights 1/(v + tau2); W = diag(w)
Σ                     V + tau2·I
``r``                 residuals y − Xb
P                     W − WX(XᵀWX)⁻¹XᵀW
``q``                 Σ w r²; Cochran's Q at tau2 = 0
``i2``, ``h2``        inconsistency: fraction of variance between studies, and 1/(1 − i2)
``level``             aimed coverage of an interval, 0.95; alpha = 1 − level
``s_r, s_L, s_R``     repeatability, between-person and reproducibility standard deviations (ISO 5725)
``h``, ``k``          between-person and within-person consistency statistics (ISO 5725-2, ASTM E691)
====================  ==========================================================================================

Every name below is a function, imported as ``from edgehold.pooling import crossed, network, random_effects``; its module has the same
name or is named in brackets.

=================================  =============================================================================
``headline``                       the one answer that is published on every pair of steels and on practice
``hierarchical``                   the model behind it: the random-effects meta-analysis of all runs in one stage, with priors
``what_matters``                   how much steels, people, blades and runs differ, and which differ more
``random_effects``                 contrast pooling: mean, heterogeneity, prediction
``three_level``                    the same where several submissions share people or blades
``cochran_q``, ``q_profile``       Cochran's Q, and the interval of tau2 from it (``heterogeneity``, with its estimators)
``confidence_distribution``        where the next study's effect would fall (``prediction``)
``influence``, ``leave_one_out``   the fit without one study, and what changed
``small_study_test``               whether small studies tell another story than large ones (``small_study``)
``trim_and_fill``                  the pooled result if the funnel were symmetric
``cluster_robust``                 standard errors for studies that share people or blades
``with_bounds``                    what one-sided results change (``bounds``)
``network``                        steels never met side by side, compared through those they both met
``design_by_treatment``            whether a network agrees with itself (``inconsistency``)
``crossed``                        coefficients and variances when runs share steels, sharpeners, testers and blades in any pattern
``crossed_censored``               the same for lives that are only known to an interval or to one side (``crossed.censored``)
``runs_model``                     one crossed model of all runs: what stands in it, and what may be said of it
``new_hands``                      what somebody new would meet, and read
``max_t_quantile``                 for intervals that hold for all pairs at once (``max_t``)
``within_submissions``             steels compared within submissions alone, beside all runs
``practice_by_steel``              whether a steel's advantage depends on who sharpens
``steel_by_level``                 whether it changes with how good the sharpener is
``two_roles``                      whether who sharpens well also cuts well
``interlaboratory``                repeatability and reproducibility, with what stands out
``terms_held``                     which random terms the data can hold (``random_terms``)
``separability``                   whether runs can tell steels, sharpeners and testers apart
``best_exchanges``                 the further runs that would tell more (``exchanges``)
``curve_contrast``                 two steels along the whole course of work, with bands and crossovers
=================================  =============================================================================

Functions that know pools and protocols are imported from their modules: those that gather the rows of the path (``gather``), pool
contrasts of submissions pair by pair (``pairwise.comparisons``), make the network of a pool (``network.steel_network``) or hold its curves
against each other (``curves.pairs``), and those that ask all runs what may bend the results (``probes``: which questions there are stands
in ``probes.register``).

A function has its module's name here because the module is imported first and the name set after it; every module that shares its name with
a function has to be imported below, or a later import of it would put the module back.

What the answers start from stands in ``spread_priors`` (the one table of default priors), ``partitions`` (which terms these runs cannot
tell apart) and ``posterior_verdict`` (what probabilities come to).
"""

from .crossed.censored import crossed_censored
from .crossed.crossed import crossed
from .crossed.max_t import max_t_quantile
from .crossed.new_hands import new_hands
from .crossed.practice_by_steel import practice_by_steel
from .crossed.runs_model import runs_model
from .crossed.steel_by_level import steel_by_level
from .crossed.two_roles import two_roles
from .crossed.within_submissions import within_submissions
from .curves.contrast import curve_contrast
from .exchanges import best_exchanges
from .headline import headline
from .hierarchical import hierarchical
from .interlaboratory import interlaboratory
from .network.inconsistency import design_by_treatment
from .network.network import network
from .pairwise.bounds import with_bounds
from .pairwise.cluster_robust import cluster_robust
from .pairwise.heterogeneity import cochran_q, q_profile
from .pairwise.influence import influence, leave_one_out
from .pairwise.prediction import confidence_distribution
from .pairwise.random_effects import random_effects
from .pairwise.small_study import small_study_test
from .pairwise.three_level import three_level
from .pairwise.trim_and_fill import trim_and_fill
from .random_terms import terms_held
from .separability import separability
from .what_matters import what_matters

__all__ = [
    "best_exchanges",
    "cluster_robust",
    "cochran_q",
    "confidence_distribution",
    "crossed",
    "crossed_censored",
    "curve_contrast",
    "design_by_treatment",
    "headline",
    "hierarchical",
    "influence",
    "interlaboratory",
    "leave_one_out",
    "max_t_quantile",
    "network",
    "new_hands",
    "practice_by_steel",
    "q_profile",
    "random_effects",
    "runs_model",
    "separability",
    "small_study_test",
    "steel_by_level",
    "terms_held",
    "three_level",
    "trim_and_fill",
    "two_roles",
    "what_matters",
    "with_bounds",
    "within_submissions",
]
