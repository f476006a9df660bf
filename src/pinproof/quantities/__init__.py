"""Quantities: text to number and back, preferred values, resistor markings.

Answers:  what does "4k7" or "20 AWG" mean, how is 2880 Ω written, which values can be bought, what do these bands say?
May touch:    the tables (data files beside `pinproof.tables`), and nothing else.
Must not:     know of designs, networks or trucks; import numpy; print; read a clock.

`parse`, `parse_span`, `parse_gauge`, `format_value` and `format_ohm_short` are here at once.
Preferred numbers are in `pinproof.quantities.preferred`, bands and codes in `pinproof.quantities.markings`.
"""

from pinproof.quantities.gauge import Gauge, awg_text, parse_gauge
from pinproof.quantities.read import LONGEST_TEXT, is_plus_minus, parse, parse_span
from pinproof.quantities.units import DIMENSIONS, Dimension
from pinproof.quantities.write import format_ohm_short, format_value, plain_number

__all__ = [
    "DIMENSIONS",
    "LONGEST_TEXT",
    "Dimension",
    "Gauge",
    "awg_text",
    "format_ohm_short",
    "format_value",
    "is_plus_minus",
    "parse",
    "parse_gauge",
    "parse_span",
    "plain_number",
]
