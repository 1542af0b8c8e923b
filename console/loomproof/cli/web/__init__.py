"""`loomproof web`."""
