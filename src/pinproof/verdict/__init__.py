"""Verdict: the one three-way judgement, on plain numbers.

Answers:  does a reading lie inside a window for every possible position of its edges, outside it wherever they may be,
          or is neither shown? And with how much margin?
May touch:    nothing. Plain floats in, frozen results out.
Must not:     know of designs, networks, units or faces; round; read a file.

Readings and edges are in one reading space (ohms, volts or a ratio), chosen by the caller and the same for all.
"""

from pinproof.verdict.judge import Judgement, combine, judge_clear, judge_inside
from pinproof.verdict.scale import Verdict, worst
from pinproof.verdict.window import Edge, Reading, Window

__all__ = ["Edge", "Judgement", "Reading", "Verdict", "Window", "combine", "judge_clear", "judge_inside", "worst"]
