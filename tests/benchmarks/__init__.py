"""Benchmarks, `python -m tests.benchmarks.sweep` and `… .check`: they print ratios and decide nothing."""
