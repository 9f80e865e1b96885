"""Numerics: arrays in, arrays out. numpy and scipy only; nothing here knows what a knife is.

Enters: arrays that were validated elsewhere. Leaves: numbers, arrays and frozen dataclasses of them. Must not happen
here: validation of what people wrote, global state, randomness that was not passed in.

``arrays``                 names for kinds of arrays
``attempt``                one fit at a time: failed numbers become "not fitted" with the reason
``interval``               one interval with its level and the method that made it
``weighted_regression``    least squares with weights 1/(v + tau2), linear in the number of rows
``residual_spectrum``      restricted likelihood for one variance and dense covariances, in independent parts
``elimination``            sparse factor, solves and selected inverse with one analysis for many matrices of a pattern
``dissection``             an order of elimination of what is left of a large pattern, and its supernodes
``fronts``                 dense arithmetic on these supernodes
``whitening``              rows with a known block-diagonal covariance divided by its root
``mixed``                  criterion of the linear mixed model and its exact gradient, in three steps
``moments``                first values of variance components
``variance_search``        variance components: bounded Newton steps, several starts where rows are few
``variance_profile``       profile-likelihood limits of one variance
``mixed_inference``        coefficients' covariance, its small-sample correction, degrees of freedom, effects' errors
``censored_mixed``         the mixed model with responses known to one side, by expectation and maximisation
``truncated_normal``       probability and moments of correlated normal responses beyond limits
``truncated_moments``      the same of independent ones between two limits
``normal_sites``           what a limit says of a normal response, as a value with a variance
``restricted_likelihood``  log-likelihood and slopes at given standard deviations, exact, interval and one-sided responses alike
``curvature``              its second derivatives, from one inverse
``many_points``            the likelihood of hundreds of rows at many points at once, by the covariance of the rows
``half_t``                 the prior of a standard deviation, and the coordinate in which it is standard normal
``quasi_importance``       points of a multivariate t about a mode, the same on every call
``pareto``                 importance weights: the shape of their tail, and smoothed by it
``normal_mixture``         moments, probabilities and quantiles of a mixture of normals
``isotonic``               monotone fits
``estimability``           which contrasts a design can tell
``factor_levels``          what levels of factors tell beside those of others, and their rank, from sparse matrices
``known_spreads``          generalised least squares with all spreads known: of all rows, and of all but some
``root_search``            roots of one-dimensional functions, and the best of several local maxima
``quadratic_form``         the distribution of Cochran's Q
"""
