"""How often findings are right, on random looms: `python -m benchmarks.study --help`.

Nothing of the console's run sheet or of the wire takes part: plant and read-back are asked directly, then `measure` and
`diagnose` work as they do in the console.
"""
