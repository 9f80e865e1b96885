"""The records as pydantic models: one module a kind, every field's text written once here.

The field texts become the descriptions in ``schemas/`` and on the site.
"""
