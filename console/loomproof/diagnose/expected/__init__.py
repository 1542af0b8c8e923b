"""What a sound loom should measure, and where that comes from."""
