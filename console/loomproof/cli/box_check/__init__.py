"""`loomproof box-check`."""
