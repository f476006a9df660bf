"""The tables of the driveline drafted for a design file that has none.

Answers: which numbers of tyre, axle, gears, engine and guard would be asked for?
Touches: nothing.
Beside:  `begin_draft` writes the lines. docs/driveline.md tells what each key means.
Sources: figures of guard, growth and wear: common practice, no source, and so it says in the draft.
"""

from __future__ import annotations

from pinproof.design.begin_draft import ASK, Draft, usual_units
from pinproof.design.begin_inhibit import lever_of
from pinproof.design.edit import to_toml

GEARS = ("1", "2", "3")  # enough to show how it goes on; the file never says how many there are


def with_drive_section(text: str, file: str = "<text>", units: str | None = None) -> str:
    """The text of a design file with a draft of its driveline; `units` "us" or "metric", None as `usual_units` has it.

    Raises
    ------
    DesignFault
        The file is faulty.
    EditFault
        It has a [drive], or a draft of one, already.
    """
    draft = Draft(text, file, "drive")
    is_us = (units or usual_units(draft.truck)) == "us"
    draft.say(
        'The driveline, drafted for this file. Replace each "?" by what you measure or read, change what is different '
        "in your truck, and take away the # at the beginning of each line that you use; lines that begin like this one "
        "are words. Then: pinproof gears FILE. docs/driveline.md tells what is computed from it."
    )
    draft.head("drive")
    draft.put("units", "us" if is_us else "metric", 'what is printed first: "metric" or "us"')
    _tyre(draft, is_us)
    draft.head("drive.axle")
    draft.put("ratio", ASK, 'such as "5.00"; times any reduction in the hubs')
    _between(draft)
    _engine(draft)
    _words(draft, is_us)
    return draft.done()


def _tyre(draft: Draft, is_us: bool) -> None:
    draft.head("drive.tyre")
    way = "98 ft 9 in" if is_us else "30.10 m"
    draft.say(
        "Mark tyre and ground, roll 10 turns with the truck loaded and at race pressure, measure the way, such as "
        f'"{way}".'
    )
    draft.put("roll_out", {"value": ASK, "tolerance": "0.3 %", "basis": "measured"})
    draft.put("turns", "10")
    draft.say(
        "In place of these two lines, less good: the maker's table, or the size on its wall, good to some 3 % only.",
        '   revolutions = "533 rev/mile"', '   size = "37x12.50R17"',
    )  # fmt: skip
    draft.put("growth", "0 % to 2 %", 'how much it grows at speed (common practice, no source); "none" allowed')
    draft.put("wear", "0 % to 3 %", 'worn and soft (common practice, no source); "none" allowed')


def _between(draft: Draft) -> None:
    """Transfer case, gears, converter."""
    draft.say("", "One [[drive.transfer]] for each range of the transfer case; without one leave it like this.")
    draft.head_of("drive.transfer")
    draft.put("name", "high")
    draft.put("ratio", "1")
    draft.say(
        "", "One [[drive.gear]] for each forward gear, the lowest first. In each, if a log shows it, how fast the "
        "engine's speed rises at full throttle near the limiter:", '   climb = "2500 rpm/s"',
    )  # fmt: skip
    for name in GEARS:
        draft.head_of("drive.gear")
        draft.put("name", name)
        draft.put("ratio", ASK)
    draft.head("drive.converter")
    draft.put("slip", "0 % to 8 %", 'turbine slower than the engine by so much, at most; "none" for a clutch (assumed)')


def _engine(draft: Draft) -> None:
    """Engine and guard."""
    draft.head("drive.engine")
    draft.put("most", ASK, 'such as "6500 rpm": the engine is never turned above this')
    draft.put("limiter", "unknown", 'such as "6400 rpm": where its limiter holds it')
    draft.say(
        "Where known: an upshift should not land below least; from the command until the engine stops climbing; how "
        'far below the limiter the controller shifts up ("none" if it does not):',
        '   least = "2500 rpm"', '   upshift_time = "0.2 s to 0.4 s"', '   lead = "400 rpm"',
    )  # fmt: skip
    draft.head("drive.guard")
    draft.put("margin", "5 %", "kept free for downshifts (common practice, no source)")
    draft.put("latency", "0.2 s to 0.5 s", "from the check to the new gear (common practice, no source)")
    draft.put("acceleration", "2 m/s2", "what the truck gains meanwhile, downhill (common practice, no source)")


def _words(draft: Draft, is_us: bool) -> None:
    """What may be added, as words: it stays behind its # until somebody wants it."""
    found = lever_of(draft.truck)
    detents = found[1].positions if found is not None else ()
    lever = dict.fromkeys(detents, ASK) or {"park": "1", "manual": "5"}
    draft.say(
        "", "What may be added. A speed sensor, at turbine, output, propshaft (behind the transfer case) or wheel:",
        "   [[drive.sensor]]", '   id = "output"', '   place = "output"', '   teeth = "40"',
        "", "A line at which the controller shifts by itself, up or down, given as one of engine, output, road:",
        "   [[drive.shift]]", '   from = "2"', '   to = "3"', '   load = "full"', '   engine = "6200 rpm"',
        "", 'A table from another truck, keyed by "road speed" or "output speed"; gears may be the donor\'s ratios in '
        'order, ["3.59", "2.19"]:',
        "   [[drive.borrowed]]", '   id = "friend"', '   file = "friend.csv"', '   keyed_by = "road speed"',
        f'   unit = "{"mph" if is_us else "km/h"}"', '   holds = "shift speeds"', '   tyre = { size = "31x10.50R15" }',
        '   axle = "3.73"', '   transfer = "1"', '   gears = "same"',
        "", "What the controller was told, for the settings sheet and for judging a log; lever: what it reports in "
        "each detent, read live:",
        "   [drive.settings]", '   enable = "selector switch, own wire to pin B7"',
        "   [drive.log]", f"   lever = {to_toml(lever)}", '   lever_manual = ["5"]',
    )  # fmt: skip
