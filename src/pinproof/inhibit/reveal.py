"""The test that reveals a defeat, what removes it, and the cautions that always stand.

Answers: what to measure or try, within which limits of this truck, and what to prepare before; what else helps.
Units:   ohms, volts.
Touches: nothing.
Beside:  the tests are common practice, no source; their limits are computed. Nothing here proposes a way around an
         inhibit.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from math import inf

from pinproof.inhibit.circuit import Circuit
from pinproof.inhibit.results import Row, StartFault
from pinproof.quantities import format_value

BEFORE = (
    "Before any test: chocks, brake held, drive wheels off the ground, fuel or ignition dead, nobody under or before "
    "the truck, battery lead within reach. Meter tests come first; they crank nothing."
)
CRANK_TEST = (
    "Last: with all of that prepared, a crank attempt in each detent that is not permitted, and with the lever held "
    "between detents. Nothing may turn."
)
CAUTIONS = (
    "A welded relay contact or solenoid keeps cranking in every position: know where the battery switch is, and test "
    "it before the event.",
    "The inhibit follows the lever, not the gearbox: a cable out of adjustment makes the two differ. Check both.",
    "No second start button, push-start lead or remote start may meet the circuit after the inhibit element.",
    "Supply sag while cranking can drop a relay and close it again. A freewheel diode on the coil delays release.",
    "After any work on lever, plug or relay: repeat the tests.",
    "A design aid, not approval: the event's rule book and the law of the road decide.",
)
NOT_LOOKED_AT = (
    "faults inside the starter, and how many ohms across its own contact turn the engine",
    "the controller's program",
    "two faults at once",
    "the battery itself",
)
# A meter alone would show the harmless leak of an open switch as full volts: a load of the coil's own size stands in.
SHARE = 10.0  # a volt test passes below a tenth of the drop-out, an ohm test above ten times the harm


def most_volts(circuit: Circuit, table: Sequence[Row]) -> float:
    """The most that the coil gets by the table, ground offsets included; not below the battery's most. [V]"""
    cells = [cell.high_v for row in table for cell in row.cells]
    return max(*(each.high_v for each in circuit.supplies), *cells, 0.0)


def with_test(circuit: Circuit, fault: StartFault, most_v: float) -> StartFault:
    """The fault with its test and its cure; only a defeat needs them. `most_v` is what a load in place of the coil may
    get. [V]"""
    if not fault.sets:
        return fault
    return replace(fault, test=_test(circuit, fault, most_v), cure=_cure(circuit, fault))


def _test(circuit: Circuit, fault: StartFault, most_v: float) -> tuple[str, ...]:
    relay = circuit.relay(circuit.coil)
    low_v = format_value(relay.drop_out_low_v / SHARE, "voltage", digits=2)
    coil_ohm = circuit.branch(relay.coil).high_ohm
    ohms, watts = (
        format_value(coil_ohm, "resistance", digits=3),
        format_value(most_v**2 / coil_ohm, "power", digits=3),
    )
    load = f"A resistor of {ohms} (it gets up to {watts}) in place of the coil"
    permitted = " and ".join(each for each in circuit.positions if each in circuit.permitted)
    others = _listed([each for each in circuit.positions if each not in circuit.permitted])
    branch = next((each for each in circuit.branches if each.id == fault.site), None)
    by, kind = (branch.by, branch.kind) if branch is not None else ("", "")
    limit = _limit(fault)
    if by == "lever" and kind == "switch":
        leak = branch.open_ohm if branch is not None else inf
        at_least = format_value(leak, "resistance", digits=3) if leak < inf else "open"
        floor = limit if limit else at_least
        first = (
            f"Unplug {fault.site}; ohms across it in each detent and slowly between: closed only in {permitted}, "
            f"{floor if floor == 'open' else f'at least {floor}'} elsewhere."
        )
    elif by == "start":
        first = f"{load}, start off, lever in {permitted} in turn: volts across it below {low_v}."
    elif by == "relay":
        first = f"Battery off, coil of {branch.relay if branch else ''} unplugged: ohms across {fault.site}: open."
    elif by == "lever" or fault.kind in ("wrong-code", "line-fault", "press"):
        pressed = ", with every button of its line in turn" if fault.by_command else ""
        first = (
            f"In each detent{pressed}: the position that the controller reports equals the lever, and its output "
            f"{fault.site} is on only in {permitted}."
        )
    elif fault.kind == "chafed-to-ground":
        first = f"Battery off, coil unplugged, lever in {others} in turn: ohms from {fault.site} to chassis"
        first += f" at least {limit}." if limit else ": open."
    elif fault.kind == "bridged" and fault.by_command:
        first = (
            f"{load}, feeds live, lever in {others} in turn, start off, then held: every button in turn and in pairs, "
            f"volts across it below {low_v}."
        )
    elif fault.kind == "swapped":
        first = f"{load}, lever in {others} in turn, start held: volts across it below {low_v}."
    else:
        first = f"{load}, feeds live, lever in {others} in turn, start off, then held: volts across it below {low_v}."
    return (BEFORE, first, CRANK_TEST)


def _limit(fault: StartFault) -> str:
    """Ten times the largest harmful severity in words, so that every harmful fault shows; "" if it has none."""
    most = max((each.high_ohm for each in fault.harmful()), default=0.0)
    if not fault.severity or most in (0.0, inf):
        return ""
    return format_value(SHARE * most, "resistance", digits=2)


def _cure(circuit: Circuit, fault: StartFault) -> str:
    if fault.inherent:
        return "No form of this circuit removes it: keep the parts apart and sleeved, and repeat the test."
    if fault.kind == "chafed-to-ground" and circuit.form.startswith("L"):
        return (
            "Put the position switch on the feed side (form H): the same chafe then blows the fuse or stops the crank."
        )
    if fault.kind in ("early", "late"):
        return "Adjust the position switch, then do the slow sweep again."
    if fault.kind in ("press", "line-fault") and fault.by_command:
        return "The position line carries no commands: put the buttons on another input."
    if fault.kind in ("wrong-code", "line-fault"):
        return "Put a position switch in series (form H+K): then both must fail."
    if fault.kind == "bridged" and _only_by_press(fault):
        return "Route the command wires apart from the start circuit, not through the same plug."
    if fault.kind in ("stuck-closed", "bridged", "chafed-to-supply", "chafed-to-ground") and "+" not in circuit.form:
        return "A second inhibit in series that fails on its own (form H+K) stops it."
    return "Keep the wires apart and sleeved; repeat the test after any work there."


def _only_by_press(fault: StartFault) -> bool:
    """True if it cranks somewhere with a command pressed where it does not with none."""
    at_rest = {(each.position, each.request) for each in fault.sets if not each.operated}
    return any(each.operated and (each.position, each.request) not in at_rest for each in fault.sets)


def _listed(names: list[str]) -> str:
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"
