"""The results as CSV files with a ``datapackage.json``."""
