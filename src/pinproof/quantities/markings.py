"""Markings on resistors: colour bands, letter codes, chip codes, in one place to import from.

Answers: which part gets soldered, and what is this one?
Beside:  `bands` holds the colours, `codes` the printed codes.
"""

from pinproof.quantities.bands import BandReading, bands, read_bands
from pinproof.quantities.codes import CodeReading, chip_code, letter_code, read_chip_code, read_letter_code

__all__ = [
    "BandReading",
    "CodeReading",
    "bands",
    "chip_code",
    "letter_code",
    "read_bands",
    "read_chip_code",
    "read_letter_code",
]
