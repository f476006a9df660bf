"""Pack: what goes on the bench and in the cab.

Answers:  how does a proof read on one page, in one file, in a book on paper, on a card in the cab, in a spreadsheet?
May touch:    every room below, and in `folder` the folder it is given: only files of the pack's own names.
Must not:     calculate results, judge, read a clock: a date is given by the caller, so the same input gives the same
              bytes.
"""

from pinproof.pack.report import report_html

__all__ = ["report_html"]
