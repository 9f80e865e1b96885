"""Beside the path: a fair plan from what is in the house, and what to expect of it.

Who, with what and for how long enters; an `Advice` leaves: the runs that fit and what limits them, the drawn order, the interval and
verdicts to expect, what would help, what stays open. Chances come from the very estimator of the report and never from a formula of
its own, and an evening that cannot answer its question is told so first.

``occasion``  what a plan is made from, checked
``geometry``  bevels, and steel lost to sharpening
``capacity``  runs that fit, blocks of evening and lot
``draws``     whole numbers that every machine draws alike
``orders``    balanced orders, and what one recognised edge gives away
``plans``     the drawn plan, drawn again, sealed
``chances``   drawn evenings through the estimator
``remedies``  what would make the question answerable
``threats``   what the plan leaves open
``advice``    the glue
``text``      the whole in words
``house``     a repository's own protocols and table in, files out
``words``     the words of ``edgehold plan``; imports nothing, so that the program starts fast
``command``   what these words ask for
"""
