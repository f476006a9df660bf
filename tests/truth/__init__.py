"""An independent checker of the coded-line proof: slow, plain, written from the textbook.

It answers: what must any engine find for a given truck (spans, verdicts, margins, drift limits).
It may touch: the standard library and numpy; scipy in one place, to pack circles. It must not import anything of the
product, nor copy a formula from it.
"""
