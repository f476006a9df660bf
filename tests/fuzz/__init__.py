"""Hostile input for every reader, guided by coverage: `python3 dev.py fuzz TARGET`; counts in docs/validation.md."""
