"""Benchmarks: what the program reaches, beside named references. Run with `python -m benchmarks [NAME...]`."""
