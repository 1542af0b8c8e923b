"""Every benchmark that takes minutes at most: `make benchmarks`."""

import sys

from benchmarks.speed import main

sys.exit(main())
