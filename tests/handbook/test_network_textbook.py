"""Worked examples of two open textbooks, and two facts of the trade.

University Physics vol. 2 (open textbook, OpenStax), section "Resistors in Series and Parallel" (module m58454), and
College Physics 2e (open textbook, OpenStax), section on null measurements (module m42362). Seen: open copy.
"""

from __future__ import annotations

import numpy as np
import pytest

from pinproof.network.netlist import Netlist
from pinproof.network.solve import edge_currents, edge_powers, node_voltages, resistance_between


def siemens(*ohm: float) -> list[float]:
    return [1.0 / r for r in ohm]


def test_series_of_five() -> None:
    """Example "Equivalent Resistance, Current, and Power in a Series Circuit": exact numbers are printed."""
    nodes = ["plus", "a", "b", "c", "d", "minus"]
    net = Netlist(nodes, ["plus", "minus"], [(f"R{i + 1}", nodes[i], nodes[i + 1]) for i in range(5)])
    g = siemens(20.0, 20.0, 20.0, 20.0, 10.0)
    assert resistance_between(net, g, "plus", "minus")[0] == pytest.approx(90.0, rel=1e-12)
    assert edge_currents(net, g, [9.0, 0.0])[0] == pytest.approx([0.1] * 5, rel=1e-12)
    assert edge_powers(net, g, [9.0, 0.0]).sum() == pytest.approx(0.9, rel=1e-12)


def test_three_in_parallel() -> None:
    """Example "Analysis of a Parallel Circuit": exact numbers are printed."""
    net = Netlist(["plus", "minus"], ["plus", "minus"], [(f"R{i}", "plus", "minus") for i in (1, 2, 3)])
    g = siemens(1.0, 2.0, 2.0)
    assert resistance_between(net, g, "plus", "minus")[0] == pytest.approx(0.50, rel=1e-12)
    assert edge_currents(net, g, [3.0, 0.0])[0] == pytest.approx([3.0, 1.5, 1.5], rel=1e-12)


def test_loaded_divider() -> None:
    """Example "Combining Series and Parallel Circuits": three digits are printed; half a unit in the last each."""
    net = Netlist.from_edges(["plus", "minus"], [("R1", "plus", "x"), ("R2", "x", "minus"), ("R3", "x", "minus")])
    g = siemens(1.00, 6.00, 13.0)
    assert resistance_between(net, g, "plus", "minus")[0] == pytest.approx(5.10, abs=0.0055)
    assert edge_currents(net, g, [12.0, 0.0])[0] == pytest.approx([2.35, 1.61, 0.742], abs=0.005)
    assert edge_currents(net, g, [12.0, 0.0])[0, 2] == pytest.approx(0.742, abs=0.0005)
    assert node_voltages(net, g, [12.0, 0.0])[0, 0] == pytest.approx(9.65, abs=0.005)
    assert edge_powers(net, g, [12.0, 0.0])[0, 1] == pytest.approx(15.5, abs=0.05)


def test_series_parallel_four() -> None:
    """Second example of that name: R1, R2 in series with R3 beside R4, all 10.00 ohm, 2.00 A; exact numbers."""
    net = Netlist.from_edges(
        ["plus", "minus"], [("R1", "plus", "x"), ("R2", "x", "y"), ("R3", "y", "minus"), ("R4", "y", "minus")]
    )
    g = siemens(10.0, 10.0, 10.0, 10.0)
    assert resistance_between(net, g, "y", "minus")[0] == pytest.approx(5.00, rel=1e-12)
    assert resistance_between(net, g, "plus", "minus")[0] == pytest.approx(25.00, rel=1e-12)
    assert edge_currents(net, g, [50.0, 0.0])[0, 0] == pytest.approx(2.00, rel=1e-12)
    assert edge_powers(net, g, [50.0, 0.0]).sum() == pytest.approx(100.0, rel=1e-12)


def test_wheatstone_bridge_balances() -> None:
    """Null measurement: Rx = R3 R2 / R1 with R3 = 2500 and R2/R1 = 0.625; printed 1.56 kohm, exactly 1562.5."""
    net = Netlist.from_edges(
        ["plus", "minus"],
        [("R1", "plus", "l"), ("R2", "l", "minus"), ("R3", "plus", "r"), ("Rx", "r", "minus"), ("meter", "l", "r")],
    )
    v = node_voltages(net, siemens(1000.0, 625.0, 2500.0, 1562.5, 50.0), [10.0, 0.0])[0]
    assert v[0] - v[1] == pytest.approx(0.0, abs=1e-14)
    off = edge_currents(net, siemens(1000.0, 625.0, 2500.0, 1560.0, 50.0), [10.0, 0.0])[0, 4]
    assert off > 1e-7  # the printed, rounded value is visibly off balance


def test_bridge_that_is_not_series_parallel() -> None:
    """Cube of twelve 1-ohm edges, corner to corner: 5/6 ohm, by symmetry (1/3 + 1/6 + 1/3)."""
    corners = [f"{i:03b}" for i in range(8)]
    pairs = [(a, b) for a in corners for b in corners if a < b]
    edges = [(a + b, a, b) for a, b in pairs if sum(x != y for x, y in zip(a, b, strict=True)) == 1]
    net = Netlist(corners, [], edges)
    assert resistance_between(net, np.ones(12), "000", "111")[0] == pytest.approx(5.0 / 6.0, rel=1e-14)


def test_trade_two_resistors_beside_each_other() -> None:
    """Common practice, no source: 8.25 kohm beside 4.42 kohm is 2.88 kohm (three digits)."""
    net = Netlist(["pin", "gnd"], ["gnd"], [("idle", "pin", "gnd"), ("tap", "pin", "gnd")])
    assert resistance_between(net, siemens(8250.0, 4420.0), "pin", "gnd")[0] == pytest.approx(2880.0, abs=5.0)


def test_trade_total_beside_an_idle_resistor() -> None:
    """Common practice, no source: 1.27 kohm in total beside 8.25 kohm needs 1.50 kohm, not 1.25 kohm."""
    net = Netlist(["pin", "gnd"], ["gnd"], [("idle", "pin", "gnd"), ("tap", "pin", "gnd")])
    right, wrong = resistance_between(net, [siemens(8250.0, 1500.0), siemens(8250.0, 1250.0)], "pin", "gnd")
    assert right == pytest.approx(1270.0, abs=5.0)
    assert abs(wrong - 1270.0) > 150.0
