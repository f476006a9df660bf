"""What may stand in for a resistor that is lost: other values with which the line as it is in the file still holds.

Answers: which values of a common series would do in place of one resistor, all others as they are?
Units:   ohms.
Touches: nothing.
Beside:  `room` evaluates the values; `choose` looks for the best ones.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

from pinproof.choose.build import build, resistors_of, sites_of, with_resistors
from pinproof.choose.parts import HIGH_OHM, LOW_OHM, as_it_stands, from_series, only_settled
from pinproof.choose.room import Room, rooms_of
from pinproof.design.model import Truck
from pinproof.errors import NoSolution
from pinproof.wiring import line_view

USUAL_BOX = "E24"
"""Series of the values that a box of mixed resistors mostly holds. Common practice, no source."""


def stand_ins(truck: Truck, line_id: str, series: str = USUAL_BOX) -> Mapping[str, Room]:
    """Around each resistor of a line: values of a series that hold in its place, with the tolerance it has.

    Parameters
    ----------
    truck : Truck
        All resistors of the line have values.
    line_id : str
    series : str

    Returns
    -------
    mapping of design path to Room
        Resistors that are fixed in the truck are in it too. Empty where the line as it stands does not hold, where a
        value is still to be chosen, or where the controller has yet to be taught. A room always holds the value that
        is fitted; its ends may be that value.

    Raises
    ------
    KeyError
        If there is no such line.
    """
    line = truck.line(line_id)
    parts = resistors_of(truck, line)
    if line.free or not parts or any(each.ohm is None for each in parts):
        return {}
    loose = with_resistors(truck, {each.path: replace(each, fixed=False) for each in parts})
    sites = sites_of(loose, line_view(loose, line_id))
    candidates = {}
    for site in sites:
        own = as_it_stands(site)
        others = from_series(site, series, LOW_OHM, HIGH_OHM, None)
        candidates[site.resistor.path] = only_settled([*own, *(each for each in others if each.ohm != own[0].ohm)])
    try:
        built = build(loose, loose.line(line_id), candidates)
    except NoSolution:  # no windows
        return {}
    fitted = [
        next(at for at, each in enumerate(variable.candidates) if each.ohm == site.resistor.ohm)
        for variable, site in zip(built.problem.variables, built.sites, strict=True)
    ]
    rooms = rooms_of(built.problem, fitted)
    return {site.resistor.path: room for site, room in zip(built.sites, rooms, strict=True) if room is not None}
