"""The design file of a simulated truck, as its owner would have written it: true, or with one number wrong."""

from __future__ import annotations

import math

from tests.truth.log_defects import Planted
from tests.truth.log_sim_truck import BOX, DOWN, IDLE, MANUAL, UP, Truck

LINE = "taps"


def number(value: float) -> str:
    return f"{value:.6g}"


def contact_text(truck: Truck, name: str) -> str:
    ohm = truck.coder.marked_ohm[name]
    asks = {"manual": MANUAL, "up": UP, "down": DOWN}[name.split("_")[1]]
    enable = truck.enable == "coded" and asks != MANUAL
    lines = [
        "[[contact]]",
        f'id = "{name}"',
        f'line = "{LINE}"',
        'device = "hands"',
        'kind = "normally open"',
        f'action = "{"maintained" if asks == MANUAL else "momentary"}"',
        f'asks = "{asks}"',
        f'resistor = "{number(ohm)} ohm"',
        'material = "gold"',
        'bounce = "5 ms"',
    ]
    if enable:
        lines.append('with = ["lever_manual"]')
        if name.startswith("lever"):
            lines.append('only_when = ["lever_manual"]')
    if name.startswith("wheel"):
        lines.append('station = "wheel"')
    return "\n".join(lines)


def line_text(truck: Truck) -> str:
    coder, box = truck.coder, BOX
    up = coder.form == "pull-up"
    pull = (
        f'{{ value = "{number(coder.marked_pull_ohm)} ohm", tolerance = "{box.pull_tolerance * 100:g} %", '
        'basis = "measured" }'
    )
    reference = f'{{ value = "5 V", tolerance = "{box.reference_tolerance * 100:g} %", basis = "published" }}'
    out = [
        "[[input]]",
        'id = "tap_pin"',
        'controller = "gearbox controller"',
        f"pull_up = {pull if up else chr(34) + 'none' + chr(34)}",
        f"pull_down = {pull if not up else chr(34) + 'none' + chr(34)}",
        *([f"reference = {reference}"] if up else []),
        f'compares = "{"reference" if up else "battery"}"',
        *(['full_scale = "5 V"', "full_counts = 1023"] if up else []),
        f'error = "{box.error * 100:g} %"',
        f'debounce = "{truck.debounce_s * 1000:g} ms"',
        "",
        "[[line]]",
        f'id = "{LINE}"',
        'input = "tap_pin"',
        f'form = "{coder.form}"',
        f'idle = "{IDLE}"',
        *(['enable = "lever_manual"', 'taps_fed = "through enable"'] if truck.enable == "coded" else []),
        f'idle_resistor = "{"none" if math.isinf(coder.marked_idle_ohm) else number(coder.marked_idle_ohm) + " ohm"}"',
        'wire = { low = "0 ohm", high = "1 ohm" }',
        'source_wire = { low = "0 ohm", high = "1 ohm" }',
        f'return_offset = {{ low = "{box.offset_low_v:g} V", high = "{box.offset_high_v:g} V", basis = "measured" }}',
        f'leak_to_ground = "{number(box.leak_ground_ohm)} ohm"',
        f'leak_to_supply = "{number(box.leak_supply_ohm)} ohm"',
    ]
    if not up:
        out += [
            'feed_from = "battery"',
            f'feed_drop = {{ low = "{box.drop_low_v:g} V", high = "{box.drop_high_v:g} V", basis = "measured" }}',
        ]
    for meaning, (low, high) in coder.windows.items():
        out += ["", "[[line.window]]", f'meaning = "{meaning}"']
        if low > 0.0:
            out.append(f'low = "{number(100.0 * low)} %"')
        out += [f'high = "{number(100.0 * high)} %"', 'basis = "published"']
    return "\n".join(out)


def drive_text(truck: Truck, planted: Planted) -> str:
    roll = truck.roll_m * planted.design_roll
    transfers = [(truck.transfer_name, truck.transfer)]
    other = ("high", 1.0) if truck.transfer_name == "low" else ("low", truck.low_ratio)
    code = truck.lever_codes["M"] if planted.design_lever_code < 0 else planted.design_lever_code
    out = [
        "[drive]",
        'units = "metric"',
        "[drive.tyre]",
        f'roll_out = {{ value = "{10 * roll:.3f} m", tolerance = "0.3 %", basis = "measured" }}',
        'turns = "10"',
        'growth = "0 % to 1 %"',
        'wear = "0 % to 1.2 %"',
        "[drive.axle]",
        f'ratio = {{ value = "{number(truck.axle * planted.design_axle)}", basis = "measured" }}',
    ]
    for name, ratio in sorted([*transfers, other], key=lambda each: each[1]):
        out += [
            "[[drive.transfer]]",
            f'name = "{name}"',
            f'ratio = {{ value = "{number(ratio)}", basis = "published" }}',
        ]
    for i, ratio in enumerate(truck.ratios, 1):
        out += [
            "[[drive.gear]]",
            f'name = "{i}"',
            f'ratio = {{ value = "{number(ratio)}", basis = "published" }}',
        ]
    out += [
        "[drive.converter]",
        f'slip = "0 % to {100 * truck.slip_stated:g} %"',
        "[drive.engine]",
        f'most = "{truck.most_rpm:g} rpm"',
        f'limiter = "{planted.limiter_rpm or truck.limiter_rpm:.0f} rpm"',
        f'least = "{truck.least_rpm:g} rpm"',
        "[drive.guard]",
        f'margin = "{100 * truck.guard_margin:g} %"',
        'latency = "0.1 s to 0.3 s"',
        'acceleration = "2 m/s2"',
        "[[drive.sensor]]",
        'id = "output"',
        'place = "output"',
        f'teeth = "{truck.output_teeth}"',
        "[drive.log]",
        f'lever_manual = ["{code}"]',
        f'held_request = "{f"{truck.hold_s:g} s" if truck.hold_s else "none"}"',
        f'at_limiter = "{"shift up" if truck.at_limiter == "upshift" else "hold"}"',
        f'forced_down_below = "{truck.low_turbine_rpm + 50:g} rpm"',
        'cold_below = "none"',
        'auto_repeat = "off"',
    ]
    return "\n".join(out)


def design_text(truck: Truck, planted: Planted, *, drive: bool = True) -> str:
    """The whole file."""
    coder = truck.coder
    taps = ", ".join(f'"{name}"' for name in sorted(coder.marked_ohm) if name != "lever_manual")
    devices = [f'[[device]]\nid = "hands"  # one hand: never two taps at once\nexclusive = [[{taps}]]']
    head = f"""# An invented truck, made by a simulator.
format = 1
id = "pp-sim-{truck.seed}"
name = "Simulated {truck.seed}"
[supply]
run = {{ low = "{BOX.supply_low_v:g} V", value = "13.8 V", high = "{BOX.supply_high_v:g} V", basis = "measured" }}
[temperature]
low = "{BOX.low_c:g} °C"
high = "{BOX.high_c:g} °C"
[defaults]
tolerance = {{ value = "{BOX.tolerance * 100:g} %", basis = "published" }}
tempco = {{ value = "{BOX.tempco_per_k * 1e6:g} ppm/K", basis = "published" }}
ageing = {{ value = "{BOX.ageing * 100:g} %", basis = "published" }}
closed = {{ low = "0 ohm", high = "{BOX.closed_ohm:g} ohm", basis = "measured" }}
open = "1 Mohm"
"""
    parts = [head, line_text(truck), *devices, *(contact_text(truck, c) for c in sorted(coder.marked_ohm))]
    if drive:
        parts.append(drive_text(truck, planted))
    return "\n\n".join(parts) + "\n"
