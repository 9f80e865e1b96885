"""Stage 6: pages, tables and charts, rendered from the bundle.

Enters: one ``Results`` record and the files made from it. Leaves: a folder with a static site. This stage knows the
bundle and nothing else. Nothing is estimated here, and nothing is computed in a template.

``generate_pages`` is a pure function from results to ``(path, text)``, so that moving to another site generator stays
cheap; ``build_site`` hands those pages, the hand-written ones and the downloads to the generator.
"""

from .generate import generate_pages
from .site import build_site

__all__ = ["build_site", "generate_pages"]
