"""Hazard classes, interlocks, cautions and pulse budgets (pure)."""
