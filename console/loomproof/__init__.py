"""Loomproof: prove every output of a wiring loom before the first start."""

__version__ = "0.1.0"
