"""`loomproof records` and `loomproof report`."""
