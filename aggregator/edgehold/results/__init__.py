"""Stage 5: results with their schema and provenance.

Enters: what pooling found. Leaves: one ``Results`` record, and the files made from it (JSON, CSV, datapackage.json).
This is the only code that writes results. Nothing is estimated here.
"""
