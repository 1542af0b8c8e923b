"""From a trace to a signature with its uncertainty (pure)."""
