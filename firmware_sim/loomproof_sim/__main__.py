"""`python -m loomproof_sim` is `loomproof-sim`."""

from loomproof_sim.cli import main

main()
