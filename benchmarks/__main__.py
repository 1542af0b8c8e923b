"""Every benchmark that takes minutes at most: `make benchmarks`."""

import sys

from benchmarks import firmware_figures, firmware_sizes, speed

<<<<<<< HEAD
failed = speed.main()
firmware_figures.main()
firmware_sizes.main()
sys.exit(failed)
=======
from benchmarks import console_load

sys.exit(main() or console_load.main())
>>>>>>> 9e7055f (tui: pages that are away do no work; the bench drawn with less; benchmarks: the console on a real terminal; docs: loom and bench)
