"""What a report's card tells of the things that its runs leave open."""

LIMITS = frozenset(
    f"report.limit_{name}"
    for name in (
        "hiding_unstated", "hiding_unstated_all", "nothing_hid", "nothing_hid_all", "own_edges", "no_plan", "one_blade", "one_evening",
        "one_tester", "one_sharpener",
    )
)  # fmt: skip
"""Those that the file alone shows. What cannot be told apart stands in the sentence on the comparison."""
MOST = 2  # of them
MOST_PERCENT = 200  # from this difference on "times as much"
