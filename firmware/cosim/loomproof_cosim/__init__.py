# SPDX-License-Identifier: GPL-3.0-or-later
"""Runs the unmodified firmware in an instruction-level simulator, the simulated loom behind its pins."""
