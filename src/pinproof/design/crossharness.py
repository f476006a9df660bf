"""What the wiring tables of a design file must be together: names that exist, entries that their kind needs.

Answers: which studs, feeds, loads, joints and stock contradict each other or name what is not there.
Touches: nothing.
Beside:  what only the laid-out harness shows (a net without an end, a cavity used twice) `pinproof.harness` refuses.
"""

from __future__ import annotations

from collections.abc import Sequence
from math import pi

from pinproof.design.crossnames import Names
from pinproof.design.key import MOST_ENTRIES
from pinproof.design.messages import listed, nearest
from pinproof.design.model import Value
from pinproof.design.model_harness import PAIR_JOINTS
from pinproof.design.rows import Row

MOST_SPLICE_WIRES = 8
MOST_SUPPORT_M = 0.610  # AC 43.13-1B CHG 1, paragraph 11-158 (open copy): supports not further apart than 24 in
LARGEST_TABLED_M2 = 8.3656e-6  # 8 AWG, the last row of the aircraft current table


def check_harness(names: Names) -> None:
    """Look at all wiring tables together; faults go to the reader behind `names`."""
    _Wiring(names).run()


class _Wiring:
    def __init__(self, names: Names) -> None:
        self.names = names
        self.reader = names.reader
        self.truck = names.truck

    def run(self) -> None:
        self._rules(self.truck.get("harness"))
        for row in self.truck.rows("joint"):
            self._joint(row)
        for row in self.truck.rows("stud"):
            self.names.ref(row, "place", "place")
            if row.get("rail") == "ground":
                self.names.need(row, "offset", "it is a ground stud", '{ low = "-0.1 V", high = "0.1 V" } or "none"')
        for kind in ("terminal", "seal"):
            for row in self.truck.rows(kind):
                self._order(row, "smallest", "largest")
                if kind == "terminal":
                    self._order(row, "insulation_smallest", "insulation_largest")
        for row in self.truck.rows("cable"):
            self._cable(row)
        for row in self.truck.rows("feed"):
            self._feed(row)
        for row in self.truck.rows("switch"):
            device = self.names.ref(row, "device", "device")
            self._positions(row, device)
        for row in self.truck.rows("load"):
            self._chained(row)
            if not (row.has("watts") or row.has("amps")) or (row.has("watts") and row.has("amps")):
                self.reader.row_fault(row, "watts", 'State what it draws once: "watts" or "amps".')
        for row in self.truck.rows("relay"):
            self._chained(row)
        for row in self.truck.rows("driver"):
            self._driver(row)
        self._entries_of_old_tables()
        for row in self.truck.rows("wire"):
            self.names.ref(row, "cable", "cable")
        self._joints_apart()
        self._ambiguous()
        self._resistor_places()

    # one table at a time

    def _rules(self, row: Row | None) -> None:
        if row is None:
            return
        wires = row.get("splice_wires", 4)
        if wires > MOST_SPLICE_WIRES:
            self.reader.row_fault(row, "splice_wires", f"{wires} is too many; {MOST_SPLICE_WIRES} is the most.", wires)
        support = row.get("support")
        if isinstance(support, Value) and support.value > MOST_SUPPORT_M:
            self.reader.row_fault(
                row, "support", f'"{support.text}" is too far; 610 mm is the most (AC 43.13-1B, 11-158).', support.text
            )

    def _joint(self, row: Row) -> None:
        run = self.names.ref(row, "run", "run")
        kind = row.get("kind", "")
        if kind in PAIR_JOINTS:
            for key, example in (
                ("ways", "6"),
                ("way_ohm", '{ low = "0 ohm", high = "50 mohm" }'),
                ("leak", '"1 Mohm"'),
            ):
                self.names.need(row, key, f"it is a {kind}", example)
        if kind == "coiled cord":
            self.names.need(row, "cord_length", "it is a coiled cord", '"1.2 m"')
        ends = run.get("between", ()) if run is not None else ()
        for name in row.get("plugs", ()):
            if self.names.known(row, "plugs", "plug", name):
                place = self.names.by_id["plug"][name].get("place")
                if ends and place not in ends:
                    said = f'The plug "{name}" is at "{place}", not at an end of the run "{row.get("run")}".'
                    self.reader.row_fault(row, "plugs", said, name)

    def _joints_apart(self) -> None:
        first: dict[str, Row] = {}
        for row in self.truck.rows("joint"):
            run = row.get("run", "")
            if run and run in first:
                said = f'The run "{run}" has the joint "{first[run].id}" already. One joint in a run; divide the run.'
                self.reader.row_fault(row, "run", said, run)
            first.setdefault(run, row)

    def _order(self, row: Row, low: str, high: str) -> None:
        ends = (row.get(low), row.get(high))
        if all(isinstance(end, Value) for end in ends) and ends[0].value > ends[1].value:
            self.reader.row_fault(row, high, f'"{high}" must not be below "{low}" ({ends[0].text}).', ends[1].text)

    def _cable(self, row: Row) -> None:
        if row.get("salvaged"):
            for key, example in (("strand", '"0.18 mm"'), ("age", "8"), ("condition", '"good"')):
                self.names.need(row, key, "it is salvaged", example)
            if row.has("size"):
                self.reader.row_fault(
                    row, "size", "Salvaged cable is judged by its strands. Leave out the size; count and measure them."
                )
            return
        self.names.need(row, "size", "it is not salvaged", '"0.5 mm2"')
        for key in ("strand", "age", "condition"):
            if row.has(key):
                self.reader.row_fault(
                    row, key, f'"{key}" is for salvaged cable. Write salvaged = true, or leave it out.'
                )
        size, outside = row.get("size"), row.get("outside")
        if isinstance(size, Value):
            if size.value > LARGEST_TABLED_M2 * 1.001:
                self.names.need(row, "carries", "it is larger than 8 AWG", '"60 A"')
            if isinstance(outside, Value) and pi / 4 * outside.value**2 <= size.value:
                said = f"{outside.text} outside cannot hold {size.text} of copper. Measure over the insulation."
                self.reader.row_fault(row, "outside", said, outside.text)

    def _feed(self, row: Row) -> None:
        self.names.ref(row, "place", "place")
        self.names.ref(row, "plug", "plug")
        source = row.get("from")
        if source is not None:
            studs = self.names.by_id["stud"]
            bus = [one for one, plug in self.names.by_id["plug"].items() if plug.get("bus")]
            known = [one for one in studs if studs[one].get("rail") == "battery"] + bus
            known += [one for one in self.names.by_id["feed"] if one != row.id]
            if source not in known:
                near = nearest(source, known)
                cure = f'Did you mean "{near}"?' if near else f"There are {listed(known, 'and')}." if known else ""
                said = f'"{source}" is no battery stud, bus plug or other feed. {cure}'.strip()
                self.reader.row_fault(row, "from", said, source, near)
            elif self._ring(row):
                self.reader.row_fault(row, "from", "These feeds go round in a ring. One must begin at a battery stud.")
        self._elements(row, "through", [(name,) for name in row.get("through", ())], drivers=False)
        supply = self.truck.get("supply")
        states = [name for name in ("run", "crank", "after_run") if isinstance(supply, Row) and supply.has(name)]
        for name in row.get("live", ()):
            if name not in states:
                are = "is" if len(states) == 1 else "are"
                is_state = name in ("crank", "after_run")
                cure = (
                    f'Write {name} = {{ low = "… V", high = "… V" }} under [supply], or take it out.'
                    if is_state
                    else ""
                )
                said = f'"{name}" is no key state of [supply]. There {are} {listed(states, "and")}. {cure}'
                self.reader.row_fault(row, "live", said.strip(), name)
        fuse = row.get("fuse")
        if isinstance(fuse, Value):
            from pinproof.tables import fuse_ratings_a

            ratings = fuse_ratings_a(row.get("family", "medium"))
            if fuse.value not in ratings:
                have = ", ".join(f"{each:g}" for each in ratings)
                said = f"No {row.get('family', 'medium')} fuse has {fuse.text}. There are {have} A."
                self.reader.row_fault(row, "fuse", said, fuse.text)

    def _ring(self, row: Row) -> bool:
        at, seen = row, {row.id}
        while (source := at.get("from", "")) in self.names.by_id["feed"]:
            if source in seen:
                return source == row.id
            seen.add(source)
            at = self.names.by_id["feed"][source]
        return False

    def _chained(self, row: Row) -> None:
        for key, kind in (("place", "place"), ("plug", "plug"), ("feed", "feed")):
            self.names.ref(row, key, kind)
        ground = self.names.ref(row, "ground", "stud")
        if ground is not None and ground.get("rail") == "battery":
            self.reader.row_fault(row, "ground", f'"{ground.id}" is a battery stud. Name a ground stud.', ground.id)
        seen: list[str] = []
        for key in ("high_side", "low_side"):
            self._elements(row, key, row.get(key, ()), drivers=True, seen=seen)
        if row.get("inrush", 1.0) > 1.0:
            self.names.need(row, "inrush_time", "inrush is above 1", '"100 ms"')
        if row.get("behaves") == "current" and not row.has("amps"):
            self.names.need(row, "amps", 'it behaves as "current"', '"1.5 A"')

    def _elements(self, row: Row, key: str, groups: object, *, drivers: bool, seen: list[str] | None = None) -> None:
        seen = [] if seen is None else seen
        contacts = [f"{relay.id}.{one.id}" for relay in self.truck.rows("relay") for one in relay.rows("contact")]
        known = [*self.names.by_id["switch"], *contacts, *(self.names.by_id["driver"] if drivers else ())]
        for group in groups if isinstance(groups, list | tuple) else ():
            for name in group:
                if name not in known:
                    near = nearest(name, known)
                    what = "switch, relay contact (RELAY.CONTACT) or driver" if drivers else "switch or relay contact"
                    cure = (
                        f' Did you mean "{near}"?' if near else f" There are {listed(known, 'and')}." if known else ""
                    )
                    self.reader.row_fault(row, key, f'"{name}" is no {what}.{cure}', name, near)
                    continue
                if name in seen:
                    said = f'"{name}" stands twice in one chain. One contact is in one place: keep one.'
                    self.reader.row_fault(row, key, said, name)
                seen.append(name)
                side = self.names.by_id["driver"][name].get("side") if name in self.names.by_id["driver"] else None
                if side is not None and f"{side}_side" != key:
                    said = f'The driver "{name}" is a {side}-side one; it belongs in "{side}_side".'
                    self.reader.row_fault(row, key, said, name)
                elif side == "low" and group != groups[-1]:  # type: ignore[index]
                    said = f'The driver "{name}" ends at controller ground, so it comes last in "low_side".'
                    self.reader.row_fault(row, key, said, name)

    def _driver(self, row: Row) -> None:
        controllers = {one.get("controller", "") or one.id for one in self.truck.rows("input")}
        name = row.get("controller")
        if name is not None and name not in controllers:
            near = nearest(name, controllers)
            cure = f'Did you mean "{near}"?' if near else f"There are {listed(sorted(controllers), 'and')}."
            self.reader.row_fault(row, "controller", f'No input belongs to "{name}". {cure}', name, near)
        plug = self.names.ref(row, "plug", "plug")
        cavity = row.get("cavity")
        if plug is not None and cavity is not None and cavity not in [one.id for one in plug.rows("cavity")]:
            known = listed([one.id for one in plug.rows("cavity")], "and")
            self.reader.row_fault(row, "cavity", f'The plug "{plug.id}" has no cavity "{cavity}". There are {known}.')
        self.names.ref(row, "reads", "line")

    def _positions(self, row: Row, device: Row | None) -> None:
        known = device.get("positions", ()) if device is not None else ()
        for name in row.get("positions", ()):
            if device is not None and name not in known:
                have = f"There are {listed(known, 'and')}." if known else "It has none; write its positions."
                said = f'"{name}" is no position of the device "{device.id}". {have}'
                self.reader.row_fault(row, "positions", said, name, nearest(name, known))

    # keys that older tables have for a harness

    def _entries_of_old_tables(self) -> None:
        for row in self.truck.rows("device"):
            self.names.ref(row, "plug", "plug")
        for row in self.truck.rows("contact"):
            if row.has("positions"):
                self._positions(row, self.names.by_id["device"].get(row.get("device", "")))
        for row in self.truck.rows("plug"):
            for key in ("terminal", "seal"):
                self.names.ref(row, key, key)
                for cavity in row.rows("cavity"):
                    self.names.ref(cavity, key, key)
        for row in self.truck.rows("line"):
            self.names.ref(row, "feed", "feed")
            studs = [one for one, stud in self.names.by_id["stud"].items() if stud.get("rail") == "ground"]
            self._goes_to(row, "returns_to", studs)
            self._goes_to(row, "feed_cavity", ())
            if row.get("feed_cavity") is not None and row.get("feed_from") != "reference":
                said = 'Only a line with feed_from = "reference" is fed out of a cavity of the controller.'
                self.reader.row_fault(row, "feed_cavity", f"{said} Write `feed`, the [[feed]] that it comes from.")

    def _goes_to(self, row: Row, key: str, studs: Sequence[str]) -> None:
        """A ground stud, where these may be named, or a cavity of the file."""
        name = row.get(key)
        if name is None:
            return
        cavities = [f"{plug.id}.{one.id}" for plug in self.truck.rows("plug") for one in plug.rows("cavity")]
        if name not in studs and name not in cavities:
            near = nearest(name, [*studs, *cavities])
            plug, dot, cavity = str(name).partition(".")
            cure = f' Did you mean "{near}"?' if near else ""
            if dot and cavity and any(each.id == plug for each in self.truck.rows("plug")):
                cure += f' Below [[plug]] {plug} write: [[plug.cavity]] with id = "{cavity}".'
            elif not near:
                cure = f" Write {'[[stud]], or ' if studs else ''}[[plug]] with its [[plug.cavity]]."
            said = (
                f'"{name}" is {"no ground stud and " if key == "returns_to" else ""}no PLUG.CAVITY of the file.{cure}'
            )
            self.reader.row_fault(row, key, said, name, near)

    def _ambiguous(self) -> None:
        """Ids that stand alone in nets and cavities must mean one thing."""
        first: dict[str, Row] = {}
        tables = [
            kind for kind in ("feed", "stud", "line", "load", "relay", "switch", "driver") if self.truck.rows(kind)
        ]
        if tables in ([], ["line"]):
            return
        for kind in tables:
            for row in self.truck.rows(kind):
                if row.id and row.id in first:
                    other = first[row.id].table.name
                    said = f'A {other} has the id "{row.id}" too. Nets go by these ids: give each its own.'
                    self.reader.row_fault(row, "id", said, row.id)
                first.setdefault(row.id, row)

    def _resistor_places(self) -> None:
        owners = [(row, "resistor") for row in self.truck.rows("contact")]
        for line in self.truck.rows("line"):
            owners += [(line, key) for key in ("idle_resistor", "top_resistor", "end_resistor")]
            owners += [(element, "value") for element in line.rows("element")]
        known = ["device", *self.names.by_id["device"], *self.names.by_id["plug"]]
        for owner, key in owners[: 64 * MOST_ENTRIES]:
            found = owner.get(key)
            at = found.get("at") if isinstance(found, Row) else None
            if at is None or at in known[1:] or (at == "device" and key == "resistor"):
                continue
            near = nearest(at, known)
            said = (
                f'"{at}" is neither device nor plug. A resistor loose in a run breaks its leads. '
                "Put it in the device or a potted plug."
            )
            self.reader.row_fault(found, "at", said + (f' Did you mean "{near}"?' if near else ""), at, near)
