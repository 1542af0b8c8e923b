"""Whether the armature moved."""
