"""Writes recordings of pairs from a small typed description, for the demo's fixtures, the tests and the benchmarks."""
