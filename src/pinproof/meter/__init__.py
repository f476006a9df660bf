"""Proving on the bench and in the truck with an ordinary meter.

Answers:  which readings to take, in which order, between which two points, with what in which position; between which
          values each must lie; how far the meter itself may be off; what a reading that was taken says.
May touch:    the meter's own file, only in `instrument.load_instrument` and `save_starter`. No printing, no clock.
Must not: know a command line or a database, and never fill in a reading that nobody took.
Beside:   `wiring` gives the netlist, `network` the bounds, `proof.situations` what each situation should mean;
          `record` keeps the readings.

Modules
-------
instrument  a meter described once: counts, ranges, accuracy, leads, temperature
typed       a reading as a person types it, "OL" and the last digit included
contract    the part of the netlist that lies between two probes, and its fingerprint
stations    the ordered list of what to measure
expect      between which values a station should read: as built, and so that it works
judge       as built, works but not as built, wrong, or cannot tell; and questions about odd readings
sheet       all of it joined: one row for each station, as text, CSV and JSON
"""

from pinproof.meter.expect import Band, Expectation, expected
from pinproof.meter.instrument import Instrument, MeterFault, MeterRange, load_instrument, starter, uncertainty
from pinproof.meter.judge import Doubt, Judgement, Outcome, judge
from pinproof.meter.sheet import BenchSheet, SheetRow, Taken, bench_sheet, sheet_csv
from pinproof.meter.stations import Station, controller_ground_words, return_words, stations
from pinproof.meter.typed import Typed, read_typed

__all__ = [
    "Band",
    "BenchSheet",
    "Doubt",
    "Expectation",
    "Instrument",
    "Judgement",
    "MeterFault",
    "MeterRange",
    "Outcome",
    "SheetRow",
    "Station",
    "Taken",
    "Typed",
    "bench_sheet",
    "controller_ground_words",
    "expected",
    "judge",
    "load_instrument",
    "read_typed",
    "return_words",
    "sheet_csv",
    "starter",
    "stations",
    "uncertainty",
]
