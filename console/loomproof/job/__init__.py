"""The job: what the loom should be (pure data, no I/O beyond reading a file handed in)."""
