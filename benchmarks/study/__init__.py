"""How often findings are right, on random looms: `python -m benchmarks.study --help`.

The console's own run sheet works on plant and read-back; only wire and controller take no part.
"""
