"""benchmarks"""
