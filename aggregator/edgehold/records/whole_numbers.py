"""The largest whole number that every program reads alike."""

LARGEST_EXACT_INTEGER = 2**53 - 1
"""Beyond it, programs that read numbers as binary64 disagree (RFC 8259 section 6)."""
