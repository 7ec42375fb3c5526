"""Benchmarks: side by side in one run, as ratios. `python -m tests.benchmarks --help`."""
