"""Hazard classes, interlocks and pulse budgets (pure)."""
