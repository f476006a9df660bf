"""What each command reads and writes, for the reference.

Answers: which files does a command open, and which does it leave behind?
Touches: nothing.
Beside:  `COMMANDS` in `pinproof.cli` says what each does; docs/reference/commands.md is made from both and from the
         options themselves. A test runs the commands that write nothing by themselves, and looks.
"""

from __future__ import annotations

from typing import NamedTuple


class Files(NamedTuple):
    """Two sentences. `always` is "" where a command writes only what an option asks for."""

    reads: str
    always: str  # what it writes whenever it is called
    asked: str  # what it writes when an option or a question asks for it

    @property
    def writes(self) -> str:
        """Both in one sentence."""
        return " ".join(part for part in (self.always, self.asked) if part) or "Nothing."


_DESIGN = "The design file."
_RECORD = "the record beside the design, `NAME.readings.sqlite`"
_KEPT = "the version before stays beside it as `NAME.toml.bak`"

FILES: dict[str, Files] = {
    "new": Files("Nothing; with `--parts` the drawer file named there.", "A design file, never over an old one.", ""),
    "next": Files(f"The design file, the drawer file, {_RECORD}.", "", ""),
    "check": Files(_DESIGN, "", ""),
    "prove": Files(_DESIGN, "", "With `--report` one HTML page."),
    "faults": Files(_DESIGN, "", ""),
    "find": Files(f"The design file, the meter's file, your weights, with `--recorded` {_RECORD}.", "",
                  "With `--write-causes` the table of weights."),
    "meter": Files(f"The design file, the meter's file, {_RECORD}, with `--csv` a list of readings.", "",
                   f"With `--read`, `--enter` or `--csv` {_RECORD}; with `--begin-meter` the meter's file; with `-o` "
                   "the sheet as CSV."),
    "record": Files(f"The design file and {_RECORD}.", "", "With `--plot` an SVG drawing, with `--csv` the readings; "
                    "`--strike` marks an entry of the record, which stays."),
    "choose": Files("The design file, with `--drawer` or `[parts]` the drawer file.", "",
                    f"With `--write` the chosen values into the design file; {_KEPT}."),
    "learn": Files("The design file, the session beside it, with `--drawer` the drawer file.",
                   "The session beside the design file, as soon as something was read.",
                   f"With `--write` what was learned into the design file; {_KEPT}."),
    "harness": Files(_DESIGN, "", f"With `--begin` a draft into the design file, {_KEPT}; with `-o` lists, drawings "
                     "and PDF into that folder."),
    "inhibit": Files(_DESIGN, "", f"With `--begin` a draft into the design file, {_KEPT}."),
    "gears": Files("The design file and the borrowed tables that it names.", "",
                   f"With `--begin` a draft into the design file, {_KEPT}; with `--chart` an SVG drawing; "
                   "with `-o` a table as CSV."),
    "log": Files("The design file, the logs, the logger map, the script, with `--dbc` a DBC file.",
                 f"What the logs proved into {_RECORD}, unless `--no-keep`.",
                 "With `-o` the report, the plan or the proposed map; with `--work` a folder of its own."),
    "adopt": Files("A design file.", "A new design file, never over an old one.", ""),
    "upgrade": Files("The design file, with `--driveline` a driveline file of the old kind.", "",
                     "The design file, if it is of an older format; as it was it stays as `NAME.toml.before-upgrade`."),
    "drawer": Files("The drawer file, with a CSV file its rows.",
                    "The drawer file, for `add` and a CSV file; the version before stays beside it as `.bak`.", ""),
    "serve": Files("Every design of the folder, and what lies beside it.", "",
                   f"What is changed on the pages, into the same files; {_KEPT}."),
    "pack": Files("The design file and the borrowed tables that it names.",
                  "Books, card, lists, drawings into the folder of `-o`; only files of these names are replaced.", ""),
    "demo": Files("An example of the package.", "A copy of the example, unless it is there, and its report.", ""),
    "completion": Files("Nothing.", "", ""),
}  # fmt: skip
