"""The meter in the hand as fault finding needs it: which part of an error all readings of one range share.

Answers: gain and digits of the range in which a number is shown.
Units:   ohms, volts; gains as ratios.
Touches: nothing.
Beside:  `pinproof.meter.instrument` describes the meter; its "± (percent + digits)" are taken here as half-widths of
         uniform laws, the percentage as one unknown gain of the range (JCGM 100, 4.3.7).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from pinproof.meter import Instrument, MeterRange, starter

ROOT3 = math.sqrt(3.0)
LEADS_OHM = 0.1  # what is left of the leads after they were taken off, either way
BATTERY_V = 20.0  # pin and battery are read in one range, which must show the battery


@dataclass(frozen=True)
class Meter:
    """Ranges for ohms and for volts, from small to large."""

    ohms: tuple[MeterRange, ...]
    volts: tuple[MeterRange, ...]

    def ohm_range(self, ohm: float) -> int:
        """Number of the range that shows these ohms."""
        return next((k for k, each in enumerate(self.ohms) if abs(ohm) <= each.full), len(self.ohms) - 1)

    def volt_range(self, volt: float) -> int:
        """Number of the range that shows these volts."""
        return next((k for k, each in enumerate(self.volts) if abs(volt) <= each.full), len(self.volts) - 1)

    @property
    def most_ohm(self) -> float:
        """Above it the display shows OL. [Ω]"""
        return self.ohms[-1].full


def meter_of(instrument: Instrument) -> Meter:
    """The ranges of a described meter that fault finding uses."""
    ranges = sorted(instrument.ranges, key=lambda each: each.full)
    volts = [each for each in ranges if each.quantity == "voltage"]
    return Meter(
        tuple(each for each in ranges if each.quantity == "resistance"),
        tuple(each for each in volts if each.full >= BATTERY_V) or tuple(volts[-1:]),
    )


USUAL = meter_of(starter())
