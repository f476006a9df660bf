"""Invented trucks for the drawings of a harness: a trunk with branches, plugs and lamps. No number is measured."""

from __future__ import annotations

import random

HEAD = """\
format = 1
id = "pp-made"
name = "A made truck"
[supply]
run = { low = "10.5 V", value = "13.8 V", high = "15 V" }
[temperature]
low = "-10 °C"
high = "60 °C"
[harness]
sizes = "mm2"
insulation = "150 °C"
[[terminal]]
id = "pin"
smallest = "0.3 mm2"
largest = "6 mm2"
strip = "5 mm"
[[place]]
id = "box"
"""


def trunk_truck(wires: int, seed: int = 1) -> str:
    """A design of about so many wires: eight for each group of three lamps with its feed and grounds."""
    rng = random.Random(seed)
    out = [HEAD]
    before = "box"
    for group in range(max(wires // 8, 1)):
        node = f"n{group}"
        if group % 3 == 0:
            hub = f"hub{group // 3}"
            out.append(f'[[place]]\nid = "{hub}"\n[[run]]\nid = "trunk{group // 3}"\nbetween = ["{before}", "{hub}"]\n')
            out.append(f'length = "{rng.randrange(400, 1300)} mm"\n')
            before = hub
            out.append(f'[[stud]]\nid = "earth_{hub}"\nplace = "{hub}"\nrail = "ground"\noffset = "none"\nrings = 24\n')
        if group % 20 == 0:
            plus = f"plus{group}"
            out.append(f'[[stud]]\nid = "{plus}"\nplace = "box"\nrail = "battery"\nrings = 24\n')
        out.append(f'[[place]]\nid = "{node}"\n[[run]]\nid = "to_{node}"\nbetween = ["{before}", "{node}"]\n')
        out.append(f'length = "{rng.randrange(150, 1400)} mm"\n')
        out.append(f'[[feed]]\nid = "f{group}"\nfrom = "{plus}"\nplace = "box"\nfuse = "to choose"\nlive = ["run"]\n')
        for lamp in range(3):
            plug = f'plug = "plug_{node}_{lamp}"\n' if lamp == 0 else ""
            out.append(f'[[load]]\nid = "lamp{group}_{lamp}"\nplace = "{node}"\nfeed = "f{group}"\n{plug}')
            out.append(f'ground = "earth_{before}"\nvolts = "12 V"\nwatts = "4 W"\ndrop = "not critical"\n')
            out.append('drop_allowed = "40 %"\n')
        out.append(f'[[plug]]\nid = "plug_{node}_0"\nplace = "{node}"\nterminal = "pin"\ncolumns = 2\n')
        for k, end in enumerate(("plus", "minus")):
            out.append(f'[[plug.cavity]]\nid = "{k + 1}"\nsignal = "lamp{group}_0.{end}"\n')
        out.append('[[plug.cavity]]\nid = "3"\nsignal = "empty"\n')
    return "".join(out)
