"""Facts of the trade, end to end through a design file. Common practice, no source; the sums follow from Ohm's law.

8.25 kΩ in parallel with 4.42 kΩ is 2.88 kΩ. A total of 1.27 kΩ beside 8.25 kΩ needs 1.50 kΩ, not 1.25 kΩ.
"""

from __future__ import annotations

import dataclasses

import pytest

from pinproof.design import Truck, load
from pinproof.examples import example_path
from pinproof.proof.unknown import coder_ohms
from pinproof.wiring import line_view


def _with(truck: Truck, **ohms: float) -> Truck:
    """The same truck with other tap resistors and nothing else in the way."""
    contacts = []
    for contact in truck.contacts:
        closed = dataclasses.replace(contact.closed, low=0.0, value=0.0, high=0.0)
        resistor = contact.resistor
        if resistor is not None and contact.id in ohms:
            resistor = dataclasses.replace(resistor, ohm=ohms[contact.id])
        contacts.append(dataclasses.replace(contact, closed=closed, resistor=resistor))
    line = truck.lines[0]
    assert line.wire is not None and line.source_wire is not None
    wires = [dataclasses.replace(each, low=0.0, value=0.0, high=0.0) for each in (line.wire, line.source_wire)]
    line = dataclasses.replace(line, wire=wires[0], source_wire=wires[1])
    return dataclasses.replace(truck, contacts=tuple(contacts), lines=(line,))


@pytest.mark.parametrize(
    ("tap_ohm", "printed_ohm", "digits"), [(4420.0, 2880.0, 5.0), (1500.0, 1270.0, 5.0), (1250.0, 1085.0, 1.0)]
)
def test_parallel_total_as_an_ohmmeter_shows_it(tap_ohm: float, printed_ohm: float, digits: float) -> None:
    """The first two are the trade's; the third shows why 1.25 kΩ is wrong: it gives 1.09 kΩ, not 1.27 kΩ."""
    truck = _with(load(example_path("sandpiper")), lever_manual=8250.0, lever_up=tap_ohm)
    view = line_view(truck, "taps")
    _, nominal_ohm, _ = coder_ohms(view, frozenset(("lever_manual", "lever_up")))
    assert nominal_ohm == pytest.approx(printed_ohm, abs=digits)
