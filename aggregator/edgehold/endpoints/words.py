"""Why an endpoint of a run is missing or censored, and what is worth a look, in plain words.

The page that answers in the browser says the same (it is handed these patterns).
"""

from __future__ import annotations

from .rows import INTERVAL, LEFT, RIGHT

MISSING_PATTERN = "not computed: {reason}"
REASONS = {
    "no_readings": "no readings",
    "no_values": "no values were read",
    "no_keenness": "a reading that only passes or fails has no keenness",
    "no_start": "no reading at 0",
    "start_off_scale": "the reading at 0 was off the scale",
    "none_before": "no reading at or before {asked}",
    "ended_before": "the run ended before {asked} ({ended})",
    "none_near": "no reading near {asked}",
    "off_scale": "the readings were off the scale",
    "none_tells": "no reading that tells",
    "none_after_first_cut": "no reading after the first cut",
    "wholly_open": "the readings leave the life wholly open",
    "reached_early": "reached at or before the first checkpoint that tells",
    "not_reached": "not reached by the last reading",
    "maybe_not_reached": "may not have been reached by the last reading",
    "between": "known only to lie between two amounts of work",
    LEFT: "known only to be at or below this",
    RIGHT: "known only to be at or above this",
    INTERVAL: "known only to lie between the two",
}
FLAGS = {
    "split_tester": "two testers in one run",
    "lot_changed": "lot changed during the run",
    "off_checkpoint": "read off a checkpoint",
    "burr": "burr at the start?",
    "passed_again": "passed again after a fail",
}
