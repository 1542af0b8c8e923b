"""From verdicts to the faults that explain them."""
