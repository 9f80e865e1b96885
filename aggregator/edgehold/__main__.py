"""``python -m edgehold`` is the same as ``edgehold``."""

import sys

from .cli import main

sys.exit(main())
