"""Beside the path: a fair plan from what is in the house, and what to expect of it.

Who, with what and for how long enters; an `Advice` leaves: the runs that fit and what limits them, the drawn order, the interval and
verdicts to expect, what would help, what stays open. Chances come from the very estimator of the report and never from a formula of
its own. A plan is always made: of what was asked for where that fits, else of the nearest thing that does, and what it will not
tell is said first.

``occasion``  what a plan is made from, checked
``geometry``  bevels, and steel lost to sharpening
``minutes``   what a run takes, from its parts
``capacity``  runs that fit, blocks of evening and lot
``designs``   the nearest thing that can be done, and what else the same time holds
``draws``     whole numbers that every machine draws alike
``orders``    balanced orders, and what one recognised edge gives away
``plans``     the drawn plan, sealed
``chances``   drawn evenings through the estimator
``remedies``  what would make the question answerable
``precision`` how well runs at several tables tell two levels apart
``adds``      what an exchange, a friend's table and a second evening add
``threats``   what the plan leaves open
``tables``    a shared plan for two to six tables
``tables_output`` the whole of it as text and as JSON
``advice``    the glue
``output``    the whole as text and as JSON
``house``     a repository's own protocols and table in, files out
``options``   the words of ``edgehold plan``; imports nothing, so that the program starts fast
``command``   what these words ask for
"""
