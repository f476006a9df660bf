"""How wrong a stated number usually is, by where it comes from.

Answers: beyond the range that is stated, how far off may a number of this basis be?
Units:   shares of the number [1].
Touches: nothing.
Sources: a convention of this program (common practice, no source); it orders what to measure first and decides nothing.
"""

from __future__ import annotations

USUAL_ERROR = {"measured": 0.02, "published": 0.05, "borrowed": 0.20, "assumed": 0.50}
