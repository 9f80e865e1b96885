"""Names of the probes that an objection or response may point at: those that the catalogue of words has a question for."""

from __future__ import annotations

from edgehold.words import group

PROBE_NAMES = frozenset(name.removesuffix("_question").replace("_", "-") for name in group("probes") if name.endswith("_question"))
