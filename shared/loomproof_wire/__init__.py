"""The wire protocol: what both ends must agree on, generated from wire.toml."""
