"""Figures of speed and accuracy; ``python -m tests.benchmarks`` prints each beside its yardstick."""
