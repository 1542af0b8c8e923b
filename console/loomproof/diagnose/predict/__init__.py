"""What the parts of one set, and the loom's temperature, predict of each single part; how much likelier a fault is."""
