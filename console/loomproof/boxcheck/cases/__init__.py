"""The cases, one module for each part of docs/protocol.md."""
