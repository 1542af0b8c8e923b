"""`loomproof prove`."""
