"""Drafts of what is published about methods: protocols, events of their lives, objections, responses, outcomes.

Enters: what somebody says on the command line. Leaves: a file where the repository wants it, which `edgehold check` accepts, or a
protocol's draft that its author goes on writing. It stands beside the path and imports `records` alone; the forms of the site
(``site/pages/assets/form/review.js``) write the same files, byte for byte.
"""
