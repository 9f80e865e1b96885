"""Stage 4: all submissions -> random effects, interlaboratory view, curves.

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

``studies``          what counts as one study, and how sure each line is
``cumulative``       the leading comparison of each pool through the months
``random_effects``   contrast pooling: mean, heterogeneity, prediction
``heterogeneity``    Cochran's Q, I², estimators of tau2 and its interval
``prediction``       where the next study's effect would fall
``influence``        the fit without one study, and what changed
``small_study``      whether small studies tell another story than large ones
``trim_and_fill``    the pooled result if the funnel were symmetric
``cluster_robust``   standard errors for studies that share people or blades
``network``          steels never met side by side, compared through those they both met
``inconsistency``    whether a network agrees with itself
``crossed``          coefficients and variances when runs share steels, sharpeners, testers and blades in any pattern
``censored_crossed`` the same for lives that are only known to an interval or to one side
``runs_model``       one crossed model of all runs: what stands in it, and what may be said of it
``new_hands``        what somebody new would meet, and read
``max_t``            intervals that hold for all pairs at once
``within_submissions``  steels compared within submissions alone, beside all runs
``practice_by_steel``   whether a steel's advantage depends on who sharpens
``two_roles``        whether who sharpens well also cuts well
``interlaboratory``  repeatability and reproducibility, with what stands out
``random_terms``     which random terms the data can hold
``separability``     whether runs can tell steels, sharpeners and testers apart
``exchanges``        the further runs that would tell more
``curve_contrast``   two steels along the whole course of work, with bands and crossovers
``incomplete_runs``  mean curves where some runs end early
``probe_register``   the questions there are to all runs about what may bend the results; ``probe_columns``, what they ask of a row
``probe_effects``, ``probe_spread``, ``probe_agreement``   a moderator beside the steels; levels without order; two endpoints of one run
``probe_runs``, ``probe_start``   the runs a probe can use; a moderator that is itself a reading
``bounds``           what one-sided results change

Gathering the rows of the path for them: ``all_runs``, ``comparisons``, ``presences``, ``circulation``, ``curves``, ``apart``,
``steel_network``, ``curve_pairs`` and ``probes``.
"""
