"""In which units a design wants its harness told.

Answers: do lists and papers show millimetres or inches?
Touches: nothing. Sums are in whole millimetres either way.
"""

from __future__ import annotations

from typing import Literal

from pinproof.design.model import Truck


def units_of(truck: Truck) -> Literal["metric", "us"]:
    """What [harness] says, else what [drive] says, else metric."""
    if truck.harness is not None and truck.harness.units:
        return truck.harness.units
    return truck.drive.units if truck.drive is not None else "metric"
