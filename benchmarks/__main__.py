"""Every benchmark that takes minutes at most: `make benchmarks`."""

import sys

from benchmarks import console_load, firmware_figures, firmware_sizes, speed

failed = speed.main()
console_load.main()
missed = firmware_figures.main()
firmware_sizes.main()
sys.exit(failed or missed)
