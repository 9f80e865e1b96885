"""Files to records: opening, parsing, placing, one sweep over the repository."""
