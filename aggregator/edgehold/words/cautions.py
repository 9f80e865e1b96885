"""What stands wherever a page or a sheet leads to cutting."""

from .reason import Reason

CAUTIONS = tuple(
    Reason(code) for code in ("pages.caution_law", "pages.caution_clamp", "pages.caution_away", "pages.caution_eyes", "pages.caution_never")
)
"""What stands on every sheet, on paper or not, above the cautions of its protocol."""
