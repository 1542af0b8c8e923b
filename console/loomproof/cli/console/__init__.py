"""`loomproof open`, `demo` and `edit`."""
