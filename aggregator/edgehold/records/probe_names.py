"""Names of the probes that an objection or response may point at; ``pooling.probe_register`` says what each one asks."""

from __future__ import annotations

PROBE_NAMES = frozenset(
    {
        "lot",
        "coil-position",
        "run-order",
        "first-and-last",
        "later-evening",
        "humidity",
        "blinding",
        "seal",
        "tester-guess",
        "interest",
        "own-sharpening",
        "relative-life",
        "start-keenness",
        "steels-at-equal-start",
        "edge-angle",
        "steels-at-equal-angle",
        "finish",
        "steels-at-equal-finish",
        "hardness",
        "steels-at-equal-hardness",
    }
)
