"""Pack: what goes on the bench and in the cab.

Answers:  how does a proof read on one page, in one file, with no network and no script?
May touch:    every room below. Files are written by whoever calls; functions here return text or bytes.
Must not:     calculate results, judge, read a clock: a date is given by the caller, so the same input gives the same
              bytes.
"""

from pinproof.pack.report import report_html

__all__ = ["report_html"]
