"""Timings as ratios, each beside its reference in one run. Outside the tests: `poe bench [NAME ...]`."""
