"""How far wires go on without a fuse: whole ways from the battery, through switches and unfused feeds.

Oracle: `networkx` on the wire list, with what each unit joins written down here by hand. The truck is the invented
example dunlin.
"""

from __future__ import annotations

import networkx as nx
import pytest

from pinproof.design import loads
from pinproof.examples import example_path
from pinproof.harness import Harness, lay_out

JOINED = (  # closed by hand or by the key; a feed without a fuse; the busbar
    ("battery_feed.in", "battery_feed"), ("master_switch master.a", "master_switch master.b"), ("main.in", "main"),
    ("key key_run.a", "key key_run.b"), ("key key_start.a", "key key_start.b"),
    *(("main_bus.1", f"main_bus.{way}") for way in range(2, 9)),
)  # fmt: skip


def dunlin(*changes: tuple[str, str]) -> Harness:
    text = example_path("dunlin").read_text(encoding="utf-8")
    for old, new in changes:
        assert old in text, old
        text = text.replace(old, new, 1)
    return lay_out(loads(text))


def ways_mm(harness: Harness, fused: set[str]) -> dict[str, int]:
    """Way from the stud to the far end of each wire that is reached without passing a fuse."""
    graph = nx.Graph()
    for wire in harness.wires:
        a, b = (end.label for end in (wire.a, wire.b))
        graph.add_edge(a, b, weight=wire.distance_mm)
    for a, b in JOINED:
        if a.removesuffix(".in") not in fused and a in graph and b in graph:
            graph.add_edge(a, b, weight=0)
    near = nx.single_source_dijkstra_path_length(graph, "battery_plus")
    return {
        wire.id: min(near[end.label] for end in (wire.a, wire.b)) + wire.distance_mm
        for wire in harness.wires
        if wire.a.label in near
    }


def test_a_fuse_left_out_at_the_battery_leaves_all_before_the_next_fuses_bare() -> None:
    harness = dunlin(('fuse = "15 A"', 'fuse = "none"'))
    expected = {name: way for name, way in ways_mm(harness, set()).items() if way > 177.8}
    assert len(expected) >= 6
    (told,) = [each for each in harness.findings if each.code == "unfused"]
    assert told.verdict == "fail" and told.path == "stud.battery_plus"
    assert f"run on to {max(expected.values())} mm" in told.text
    assert f"({', '.join(sorted(expected)[:6])} and {len(expected) - 6} more)" in told.text


def test_with_its_fuse_nothing_is_told() -> None:
    harness = dunlin()
    assert max(ways_mm(harness, {"battery_feed"}).values()) <= 177.8
    assert not [each for each in harness.findings if each.code == "unfused"]


@pytest.mark.parametrize("fuse", ["none", "15 A"])
def test_a_fuse_behind_the_master_switch_comes_too_late(fuse: str) -> None:
    """The way up to that fuse is bare; with it, nothing behind it is."""
    harness = dunlin(
        ('fuse = "15 A"', 'fuse = "none"'),
        ('place = "fuse_box"\nfuse = "none"', f'place = "fuse_box"\nfuse = "{fuse}"'),
    )
    expected = ways_mm(harness, set() if fuse == "none" else {"main"})
    (told,) = [each for each in harness.findings if each.code == "unfused"]
    assert told.verdict == "fail" and f"run on to {max(expected.values())} mm" in told.text
