"""What the tests and the benchmarks share: looms, boxes and traces made without a wire or by an independent way."""
