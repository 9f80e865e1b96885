"""Registers as data files: steels.json, units.json and grits.json.

Changed by maintainers only. Their form is ``aggregator.records.model.registers``; ``aggregator.records.registers``
reads them.
"""
