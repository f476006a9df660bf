"""Drawings: results in, SVG text out.

Answers:  how does a proof look on one reading scale; how does a coded line look as a circuit, how far may its parts
          drift, what does a moving reading pass, which colours has a part; in words, for whoever cannot see it?
May touch:    the shipped typefaces (read once, to measure text), and every room below.
Must not:     calculate results, judge, read a design file, write a file, read a clock. Converting a reading into the
              unit it is shown in is the only sum here.

Every drawing is one SVG that serves a light page, a dark page, grey paper and a PDF: lines and text are in the
colour of the text around it, meaning is told by pattern, shape and word. A page may add colour through classes.
"""

from pinproof.drawings.circuit import circuit
from pinproof.drawings.drift_picture import drift_picture, drifts_of
from pinproof.drawings.place import Drawing, LabelBox
from pinproof.drawings.reading_chart import reading_chart
from pinproof.drawings.swatches import swatch
from pinproof.drawings.transit_picture import transit_picture

__all__ = [
    "Drawing",
    "LabelBox",
    "circuit",
    "drift_picture",
    "drifts_of",
    "reading_chart",
    "swatch",
    "transit_picture",
]
