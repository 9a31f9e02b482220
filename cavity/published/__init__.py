"""Benchmark cases with their sources, published or not: what `cavity verify` runs."""
