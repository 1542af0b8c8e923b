"""The long studies: `make campaign`. The whole fault matrix of every example job, three seeds."""

import subprocess
import sys
from pathlib import Path

sys.exit(subprocess.call([sys.executable, str(Path(__file__).with_name("fault_matrix.py")), "--seeds", "3"]))
