"""Verdicts, findings and the channel-to-location map (pure)."""
