"""Pinproof: one design file from switch to repair for a resistor-coded command line."""

__version__ = "0.1.0"
