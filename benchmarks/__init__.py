"""Benchmarks: what the program reaches, in figures, beside named references. Run with `python -m benchmarks [NAME...]`."""
