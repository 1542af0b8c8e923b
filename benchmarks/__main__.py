"""Every benchmark that takes minutes at most: `make benchmarks`."""

import sys

from benchmarks import firmware_figures, firmware_sizes, speed

failed = speed.main()
firmware_figures.main()
firmware_sizes.main()
sys.exit(failed)
