"""What stands in the places of a published text, by name."""

from __future__ import annotations

Arguments = dict[str, str | int | float]
