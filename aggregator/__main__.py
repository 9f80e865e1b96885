"""``python -m aggregator`` is the same as ``edgehold``."""

import sys

from aggregator.cli import main

sys.exit(main())
