"""Edgehold's program: from result files that people wrote to pooled comparisons on a site.

The stages in the order of the data::

    records     files -> validated records, or findings
    endpoints   records -> one row a run and endpoint
    estimates   runs of one submission -> contrasts, covariance, degrees of freedom
    pooling     all submissions -> one answer on every comparison, other methods beside it, interlaboratory view
    results     what pooling found -> one published record with its schema and provenance; JSON and CSV
    forms       records -> what the browser is handed to ask for a file and check it
    pages       results and forms -> pages, tables, charts

Beside the path: ``numerics`` (arrays in, arrays out), ``report`` (one submission against the repeatability table), ``demo``
(the seeded demonstration), ``archive`` (published builds, kept for ever). Steels, units and grits are data files in
``aggregator/registers``. ``pipeline`` runs the whole path; ``request`` checks what somebody proposes and tells what each new
submission says.
"""

__version__ = "0.1.0"
