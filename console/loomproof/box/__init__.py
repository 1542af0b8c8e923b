"""The typed client of one box: `connect(url, auto_call_in=...)` and what the `Box` it returns can do."""
