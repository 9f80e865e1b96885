"""An endpoint of a made-up pair, as the explorer's files have one."""

from __future__ import annotations


def made_up_endpoint(ln_ratio: list[float], ln_variance: list[float], variance_df: float) -> dict[str, object]:
    """Submissions with these ratios and sampling variances; none is one-sided, and nothing is published of them."""
    return {
        "id": "late",
        "title": "Late",
        "role": "late",
        "kind": "level",
        "primary": True,
        "worthwhile_ratio": 1.15,
        "variance_df": variance_df,
        "ln_ratio": ln_ratio,
        "ln_variance": ln_variance,
        "bound": [None] * len(ln_ratio),
        "published": None,
        "by_studies": None,
    }
