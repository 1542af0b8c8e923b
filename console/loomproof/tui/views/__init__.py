"""Frozen snapshots that several pages show. Widgets know these and nothing of sessions, boxes or jobs."""
