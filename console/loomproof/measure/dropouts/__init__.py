"""Short breaks while a loom is flexed."""
