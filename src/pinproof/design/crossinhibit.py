"""What the entries of a start inhibit must be together: names that exist, limits that a relay can have.

Answers: which of [inhibit], `mid`, `permits` and the relays' limits contradict each other or name what is not there.
Touches: nothing.
Beside:  what only the circuit shows (a form that differs, a bypass, a start switch outside the chain)
         `pinproof.inhibit` refuses. docs/inhibit.md lists the refusals.
"""

from __future__ import annotations

from itertools import pairwise

from pinproof.design.crossnames import Names
from pinproof.design.messages import listed, nearest
from pinproof.design.model import Value
from pinproof.design.rows import Row


def check_inhibit(names: Names) -> None:
    """Look at the start inhibit's entries; faults go to the reader behind `names`."""
    for switch in names.truck.rows("switch"):
        _mid(names, switch)
    for driver in names.truck.rows("driver"):
        _permits(names, driver)
    row = names.truck.get("inhibit")
    if isinstance(row, Row):
        _inhibit(names, row)


def _near(word: str, known: list[str]) -> str:
    near = nearest(word, known)
    return f' Nearest: "{near}".' if near else f" There are {listed(known, 'and')}." if known else ""


def _inhibit(names: Names, row: Row) -> None:
    reader = names.reader
    relays = names.by_id["relay"]
    coil = row.get("coil")
    if coil is not None and coil not in relays:
        said = f'"{coil}" is no relay.{_near(coil, list(relays)) or " Begin one with [[relay]]."}'
        reader.row_fault(row, "coil", said, coil, nearest(coil, relays))
    for relay in relays.values():
        _limits(names, relay)
    lever = names.ref(row, "lever", "device")
    positions = lever.get("positions", ()) if lever is not None else ()
    if lever is not None and not positions:
        said = 'no `positions`. List the detents in order of travel: positions = ["P", "R", "N", "D"].'
        reader.row_fault(lever, "positions", said)
    permitted = row.get("permitted", ())
    for name in permitted if positions else ():
        if name not in positions:
            said = f'"{name}" is no position of {lever.id if lever else ""}. It has {listed(list(positions), "and")}.'
            reader.row_fault(row, "permitted", said, name, nearest(name, positions))
    if positions and set(positions) <= set(permitted):
        reader.row_fault(
            row, "permitted", "permitted holds all positions: that is no inhibit. Leave out those in which the truck "
            "can drive off."
        )  # fmt: skip
    if row.has("permitted") and not row.bad("permitted") and not permitted:
        reader.row_fault(row, "permitted", 'permitted is empty: then it never cranks. Example: permitted = ["P", "N"].')
    switches = list(names.by_id["switch"])
    for name in row.get("start", ()):
        if name not in switches:
            said = f'"{name}" is no switch.{_near(name, switches)}'
            reader.row_fault(row, "start", said, name, nearest(name, switches))
    if row.has("start") and not row.bad("start") and not row.get("start"):
        reader.row_fault(row, "start", 'Which switch asks for a start? Example: start = ["key_start"].')
    turns = row.get("turns")
    if turns is not None and coil in relays:
        known = [f"{coil}.{one.id}" for one in relays[coil].rows("contact")]
        if turns not in known:
            said = f'"{turns}" is no contact of {coil}.{_near(turns, known)}'
            reader.row_fault(row, "turns", said, turns, nearest(turns, known))


def _limits(names: Names, relay: Row) -> None:
    pull, drop = relay.get("pull_in"), relay.get("drop_out")
    if isinstance(pull, Value) and isinstance(drop, Value) and drop.high >= pull.low:
        said = (
            f"drop_out reaches {drop.high:g} V, not below pull_in {pull.low:g} V. A relay lets go below the volts at "
            "which it pulls in. Correct the two ranges."
        )
        names.reader.row_fault(relay, "drop_out", said, drop.text)


def _mid(names: Names, row: Row) -> None:
    named = row.get("mid", ())
    if not named:
        return
    device = names.by_id["device"].get(row.get("device", ""))
    positions = device.get("positions", ()) if device is not None else ()
    if not row.get("positions"):
        names.reader.row_fault(row, "mid", "`mid` is for a switch with `positions`. Write in which it conducts.")
        return
    known = [f"{one}|{other}" for one, other in pairwise(positions)]
    for point, _ in named:
        if point not in known:
            right = f"Right: {listed(known, 'and')}." if known else "Its device has no `positions`."
            said = f'"{point}" is not two neighbouring positions. {right}'
            names.reader.row_fault(row, "mid", said, point, nearest(point, known))


def _permits(names: Names, row: Row) -> None:
    permits = row.get("permits", ())
    line = names.by_id["line"].get(row.get("reads", ""))
    if row.has("reads") and not row.bad("reads") and not permits:
        names.reader.row_fault(row, "permits", 'Which meanings let it be on? Example: permits = ["neutral"].')
    if not permits:
        return
    if not row.has("reads"):
        names.need(row, "reads", "it permits", '"lever_line"')
        return
    if line is None:
        return
    if line.has("windows") or line.rows("target"):
        said = (
            f"The line has free or target windows ({line.id}); a driver that permits needs real ones. Measure them, or "
            "ask the controller's maker, and write [[line.window]]."
        )
        names.reader.row_fault(row, "reads", said, line.id)
        return
    meanings = list(dict.fromkeys(one.get("meaning", "") for one in line.rows("window")))
    for name in permits:
        if name not in meanings:
            said = f'permits "{name}", which {line.id} has no window for.{_near(name, meanings)}'
            names.reader.row_fault(row, "permits", said, name, nearest(name, meanings))
