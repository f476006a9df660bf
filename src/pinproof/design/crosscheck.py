"""What several entries of a design file must be together: names that exist, parts that can be.

Answers: what is contradictory, impossible or missing although each entry alone is right.
Touches: nothing.
Beside:  `crosslines` looks at each line, `crosswindows` at its windows and targets.
"""

from __future__ import annotations

from pinproof.design.crossdrive import check_drive
from pinproof.design.crossharness import check_harness
from pinproof.design.crossinhibit import check_inhibit
from pinproof.design.crosslines import MOST_CONTACTS, check_line
from pinproof.design.crossnames import Names
from pinproof.design.keys import FORMAT
from pinproof.design.messages import listed, nearest
from pinproof.design.model import Value
from pinproof.design.read import Reader
from pinproof.design.rows import Row, as_resistor

DATA_TEMP_C = 20.0  # resistor data are at this temperature


def cross_check(reader: Reader, truck: Row) -> None:
    """Look at all entries together; faults and warnings go to `reader`."""
    _Cross(reader, truck).run()


class _Cross:
    def __init__(self, reader: Reader, truck: Row) -> None:
        self.reader = reader
        self.truck = truck
        self.names = Names(reader, truck)
        coders = [owner.get(key) for owner, key in self._coders()]
        self.seats = {found.get("at") for found in coders if isinstance(found, Row)}

    def run(self) -> None:
        if self.truck.get("format", FORMAT) != FORMAT:  # older ones were brought up, newer ones refused
            said = f"There never was such a format. Write format = {FORMAT}."
            self.reader.row_fault(self.truck, "format", said, self.truck.get("format"))
        self._parts(self.truck.get("parts"))
        for row in self.truck.rows("input"):
            self._input(row)
        self._shared_cavities()
        for row in self.truck.rows("line"):
            check_line(self.names, row)
        for row in self.truck.rows("device"):
            self._device(row)
        for row in self.truck.rows("contact"):
            self._contact(row)
        for row in self.truck.rows("plug"):
            self.names.ref(row, "place", "place")
        for row in self.truck.rows("run"):
            for name in row.get("between", ()):
                self.names.known(row, "between", "place", name)
        self._resistors()
        check_harness(self.names)
        check_inhibit(self.names)
        check_drive(self.reader, self.truck)

    def _parts(self, row: Row | None) -> None:
        if row is None:
            return
        if row.get("at_hand") and not row.has("series"):
            self.reader.row_fault(
                row, "at_hand", 'Which series lies at hand? Write series = "E24" too, or the name of your drawer file '
                'as drawer = "drawer.toml".',
            )  # fmt: skip
        drawer = row.get("drawer", "")
        if row.has("drawer") and not row.bad("drawer") and not drawer.lower().endswith(".toml"):
            self.reader.row_fault(
                row, "drawer", f'"{drawer}" is not a drawer file; its name ends in .toml. `pinproof drawer` makes one.',
                drawer,
            )  # fmt: skip

    # inputs

    def _input(self, row: Row) -> None:
        plug = self.names.ref(row, "plug", "plug")
        cavity = row.get("cavity")
        if cavity is not None and not row.has("plug"):
            self.reader.row_fault(row, "cavity", 'A cavity is in a plug. Write "plug" too.', cavity)
        elif plug is not None and cavity is not None and plug.rows("cavity"):
            known = [one.id for one in plug.rows("cavity")]
            if cavity not in known:
                said = f'The plug "{plug.id}" has no cavity "{cavity}". There are {listed(known, "and")}.'
                self.reader.row_fault(row, "cavity", said, cavity, nearest(cavity, known))
        if row.has("filter") and row.has("filter_capacitance"):
            self.reader.row_fault(
                row, "filter_capacitance", 'State the filter once: "filter" or "filter_capacitance", not both.'
            )
        compares = row.get("compares")
        if compares in ("volts", "unknown"):
            self.names.need(row, "full_scale", f'compares is "{compares}"', '"5 V"')
        used = self._reference_used(row)
        if used:
            self.names.need(row, "reference", used, '{ value = "5 V", tolerance = "1 %" }')
        for key in ("pull_up", "pull_down"):
            pull = row.get(key)
            if isinstance(pull, Row):
                _, lacking = as_resistor(pull, {}, fallback_zero=True)
                if lacking:
                    self.reader.row_fault(
                        row,
                        key,
                        "The pull's tolerance is required: "
                        f'{{ value = "{pull.raw.get("value", "1 kohm")}", tolerance = "5 %" }}.',
                    )

    def _reference_used(self, row: Row) -> str:
        """Why the input needs a reference, or ""."""
        if row.get("compares") == "reference":
            return 'compares is "reference"'
        if row.get("pull_up_to", "reference") == "reference" and row.has("pull_up") and row.get("pull_up") is not None:
            return "the pull-up goes to it"
        for line in self.truck.rows("line"):
            if line.get("input") != row.id:
                continue
            if line.get("feed_from") == "reference":
                return f'the line "{line.id}" is fed from it'
            if any("reference" in element.get("between", ()) for element in line.rows("element")):
                return f'an element of the line "{line.id}" uses it'
        return ""

    def _shared_cavities(self) -> None:
        first: dict[tuple[str, str], Row] = {}
        for row in self.truck.rows("input"):
            where = (row.get("plug", ""), row.get("cavity", ""))
            if not all(where):
                continue
            if where in first:
                self.reader.row_fault(
                    row, "cavity", f'The input "{first[where].id}" is in this cavity already.', where[1]
                )
            first.setdefault(where, row)

    # devices and contacts

    def _device(self, row: Row) -> None:
        self.names.ref(row, "place", "place")
        mine = [contact.id for contact in self.truck.rows("contact") if contact.get("device") == row.id]
        switched = any(one.get("device") == row.id for one in self.truck.rows("switch"))
        if row.id and not mine and not switched and row.id not in self.seats:
            self.reader.warn(row, "id", "No contact names this device.")
        for group in row.get("exclusive", ()):
            for name in group:
                if name in mine:
                    continue
                other = self.names.by_id["contact"].get(name)
                if other is None:
                    self.names.known(row, "exclusive", "contact", name)
                elif other.has("device"):
                    owner = other.get("device", "")
                    self.reader.row_fault(
                        row, "exclusive", f'"{name}" is carried by the device "{owner}", not by "{row.id}".', name
                    )

    def _contact(self, row: Row) -> None:
        line = self.names.ref(row, "line", "line")
        self.names.ref(row, "device", "device")
        form = line.get("form") if line is not None else None
        if form == "elements":
            if row.get("resistor") is not None:
                self.reader.row_fault(
                    row,
                    "resistor",
                    'On a line of form "elements" resistors are elements. Write [[line.element]], and here "none".',
                )
        elif not row.has("resistor"):
            self.reader.row_fault(
                row,
                "resistor",
                '"resistor" is required and missing. Write its value, "none" where there is none, or "to choose".',
            )
        for key in ("closed", "open"):
            if not row.has(key) and key not in self.names.stated_defaults:
                self.reader.row_fault(
                    row, key, f'"{key}" is required and missing. State it here, or once for all in [defaults].'
                )
        if line is not None and len(self.names.contacts_on.get(line.id, ())) > MOST_CONTACTS:
            return  # said at the line; following the names of thousands of contacts would take minutes
        names = [(key, name) for key in ("with", "only_when") for name in row.get(key, ())]
        for key, name in names:
            if name == row.id:
                self.reader.row_fault(row, key, "A contact cannot depend on itself. Take it out of the list.", name)
            elif line is not None:
                self.names.on_line(row, key, line.id, [name])
        if line is not None:
            self._together(row)
        for key in ("with", "only_when"):
            ring = self._ring(row, key)
            if ring and min(ring) == row.id:
                self.reader.row_fault(row, key, f"{' → '.join([*ring, ring[0]])} go round in a ring. Break it.")

    def _together(self, row: Row) -> None:
        """A command that can never be given proves nothing."""
        if not row.id:
            return
        needed = frozenset((row.id, *row.get("only_when", ())))
        command = frozenset((row.id, *row.get("with", ())))
        for key, names in (("only_when", needed), ("with", command)):
            why = self.names.excluded(names)
            if why:
                self.reader.row_fault(row, key, f"These can never be operated together: {why}.")
                return
        members = [self.names.by_id["contact"][name] for name in command if name in self.names.by_id["contact"]]
        lacking = {name for member in members for name in member.get("only_when", ())} - command
        if lacking:
            wanted = ", ".join(f'"{name}"' for name in (*row.get("with", ()), *sorted(lacking)))
            self.reader.warn(
                row,
                "with",
                f'"{row.id}" needs {listed(sorted(lacking), "and")} operated, but "with" leaves that out, so its '
                f"command alone is never judged. Write with = [{wanted}].",
            )

    def _ring(self, row: Row, key: str) -> list[str]:
        """The shortest ring of `key` references through this contact, or an empty list."""
        start = row.id
        trails = [[start]] if start else []
        seen = {start}
        while trails:
            trail = trails.pop(0)
            contact = self.names.by_id["contact"].get(trail[-1])
            for name in contact.get(key, ()) if contact is not None else ():
                if name == start and len(trail) > 1:
                    return trail
                if name not in seen:
                    seen.add(name)
                    trails.append([*trail, name])
        return []

    # resistors

    def _coders(self) -> list[tuple[Row, str]]:
        """Every entry that may hold a coder resistor, and the key it stands under."""
        owners = [
            (row, key) for row in self.truck.rows("line") for key in ("idle_resistor", "top_resistor", "end_resistor")
        ]
        owners += [(element, "value") for row in self.truck.rows("line") for element in row.rows("element")]
        return owners + [(row, "resistor") for row in self.truck.rows("contact")]

    def _resistors(self) -> None:
        """Spread that is stated nowhere, and spread so wide that the resistance could reach zero."""
        temperature = self.truck.get("temperature")
        furthest_k = 0.0
        if isinstance(temperature, Value):
            furthest_k = max(abs(temperature.low - DATA_TEMP_C), abs(temperature.high - DATA_TEMP_C))
        owners = self._coders()
        pulls = [(row, key) for row in self.truck.rows("input") for key in ("pull_up", "pull_down")]
        for owner, key in owners + pulls:
            resistor = owner.get(key)
            if not isinstance(resistor, Row):
                continue
            is_pull = key in ("pull_up", "pull_down")
            made, lacking = as_resistor(resistor, {} if is_pull else self.names.defaults, fallback_zero=is_pull)
            lacking = [name for name in lacking if name not in self.names.stated_defaults]
            if lacking and not is_pull:
                self.reader.row_fault(
                    owner,
                    key,
                    f"{listed(lacking, 'and')} of this resistor {'is' if len(lacking) == 1 else 'are'} stated nowhere. "
                    "State it here, or once for all in [defaults].",
                )
            if made is None:
                continue
            if made.tempco_per_k < 0 and not made.tempco_known:
                self.reader.row_fault(
                    owner, key, 'A negative tempco has a known sign. Write tempco_sign = "known", or its size alone.'
                )
            if abs(made.tempco_per_k) * furthest_k >= 1.0:
                self.reader.row_fault(
                    owner,
                    key,
                    f"The tempco takes this resistor to zero or below within the temperature range "
                    f"({furthest_k:g} K from 20 °C).",
                )
