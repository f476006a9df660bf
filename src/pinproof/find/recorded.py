"""Readings on record as fault finding takes them.

Answers: which looks do the readings of a bench sheet answer?
Touches: nothing: the record is read by whoever calls.
Beside:  `pinproof.meter.stations` names the stations; a situation has the same name here and there.
"""

from __future__ import annotations

from collections.abc import Mapping

from pinproof.find.likelihood import Seen
from pinproof.find.looks import LookFault, id_of_station
from pinproof.find.posterior import Diagnosis
from pinproof.find.session import reading_of

SUPPLY = "truck/supply/plugged"


def recorded(diagnosis: Diagnosis, texts: Mapping[str, str]) -> tuple[Seen, ...]:
    """Readings by their looks.

    Parameters
    ----------
    texts : mapping of station id to the reading as it was typed
        Volts count only where the supply was read too. Stations that are no look are passed over.
    """
    found = []
    offered = {each.id for each in diagnosis.looks}
    for station, text in texts.items():
        line, _, rest = station.partition("/")
        kind, _, name = rest.partition("/")
        if line != diagnosis.view.line.id:
            continue
        look_id = id_of_station(kind, name)
        if look_id not in offered:
            continue
        if kind == "volts":
            if SUPPLY not in texts:
                continue
            text = f"{text} at {texts[SUPPLY]}"
        try:
            found.append(reading_of(diagnosis, diagnosis.look(look_id), text))
        except LookFault:
            continue
    return tuple(found)
