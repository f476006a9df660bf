"""The driveline: road speed and engine speed, safe downshifts, shift lines, borrowed tables, the settings sheet.

Answers: how quickly does everything turn, what does a shift do, up to where is it safe, can the controller's lines
         work, what of a stranger's table may stay, and what must the controller be told?
Touches: nothing. No file, no printing, no clock.
Must not: know a command line, draw, or guess a unit.
Beside:  docs/driveline.md has every formula with its source.

Modules
-------
span      a positive number with its range, and reckoning with it
speeds    the formulas on plain numbers
tyre      rolling circumference from a roll-out, revolutions or a size
stated    what the design file states, ready to be reckoned with
lines     where the controller shifts by itself, judged
leads     how early an upshift must be commanded
sums      all of it joined
borrowed  a table from another truck, converted and marked
sheet     the settings sheet
weakest   which number to measure first
results   what comes out, and its JSON
"""

from pinproof.driveline.borrowed import convert, converted_csv, table_check
from pinproof.driveline.results import Cell, Check, Converted, Downshift, DriveSums, Lead, Setting, as_json, worst_first
from pinproof.driveline.sheet import blanks, settings_sheet
from pinproof.driveline.span import Span, remains
from pinproof.driveline.speeds import (
    after_shift,
    downshift_limit,
    engine_rpm,
    gained_rpm,
    output_rpm,
    pulses_per_m,
    road_speed,
    separation,
)
from pinproof.driveline.stated import DriveFault, drive_of
from pinproof.driveline.sums import drive_sums
from pinproof.driveline.tyre import circumference_of_size
from pinproof.driveline.weakest import MeasureFirst, measure_first

__all__ = [
    "Cell",
    "Check",
    "Converted",
    "Downshift",
    "DriveFault",
    "DriveSums",
    "Lead",
    "MeasureFirst",
    "Setting",
    "Span",
    "after_shift",
    "as_json",
    "blanks",
    "circumference_of_size",
    "convert",
    "converted_csv",
    "downshift_limit",
    "drive_of",
    "drive_sums",
    "engine_rpm",
    "gained_rpm",
    "measure_first",
    "output_rpm",
    "pulses_per_m",
    "remains",
    "road_speed",
    "separation",
    "settings_sheet",
    "table_check",
    "worst_first",
]
