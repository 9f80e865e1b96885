"""Rules that need two fields or two files.

Each rule is a plain function from records to problems (or to problems by path). Rules never compute results and never
change records. What one field may hold is in the models, and so in the schemas.
"""
