"""Comparison with what others published: one folder a source; `python -m validation` runs them."""
