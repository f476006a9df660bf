"""The instruments: what the controller (later also the meter) makes of a circuit.

Answers: in which space does an input read, where do the edges of its windows lie there, and between which bounds does
         the reading lie for a set of operated contacts.
Touches: nothing. No file, no printing.
Must not: decide a verdict (that is `pinproof.verdict`) or say what a situation should read (that is `pinproof.proof`).
"""

from pinproof.observe.pin import PinSpans, nominal_readings, pin_spans
from pinproof.observe.space import ReadingSpace, spaces_of
from pinproof.observe.windows import shared_parameters, windows_in

__all__ = ["PinSpans", "ReadingSpace", "nominal_readings", "pin_spans", "shared_parameters", "spaces_of", "windows_in"]
