"""Short breaks found in the samples of a watch. Boxes send no such samples yet, so benchmarks alone use it."""
