"""A time in a log as a reader sees it: one way in every face.

Answers: how is 723.4 s from the log's begin written?
Units:   seconds from the log's begin.
Touches: nothing.
"""

from __future__ import annotations

TIMES_TOLD = "Times are hours:minutes:seconds from the begin of each log."
"""Said once wherever such times stand."""


def clock(seconds: float) -> str:
    """A time from the log's begin, for a reader.

    >>> clock(723.4), clock(3723.44), clock(-0.3)
    ('0:12:03.4', '1:02:03.4', '-0:00:00.3')
    """
    tenths = round(seconds * 10.0)
    minutes, rest = divmod(abs(tenths), 600)
    hours, minutes = divmod(minutes, 60)
    return f"{'-' if tenths < 0 else ''}{hours}:{minutes:02d}:{rest / 10.0:04.1f}"
