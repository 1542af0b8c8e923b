"""What rooms hand each other: frozen, typed data that imports the standard library, numpy and itself."""
