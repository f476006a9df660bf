"""A [drive] section with blanks, added to a design file that has none.

Answers: the same file with the section at its end, every other character as it was.
Touches: the file system in `begin_drive` only.
Why:     each line of the section stands behind a #, so that the file stays usable until the owner has filled it in.
Sources: figures of guard, growth and wear: common practice, no source.
"""

from __future__ import annotations

import os
import tomllib

from pinproof.design.begin_draft import usual_units
from pinproof.design.formats import refuse_older
from pinproof.design.load import BOM, decode, loads, read_bytes, text_hash
from pinproof.design.messages import EditFault
from pinproof.design.model import Truck
from pinproof.design.save import save_atomic

MARK = "#[drive]"
METRIC = '#units = "metric"        # or "us": what is printed first'
US = '#units = "us"            # or "metric": what is printed first'
SECTION = """\
# The driveline, with blanks. Fill in your own numbers, then take away the # at the beginning of each line that you use
# (not of the lines that begin like this one). docs/driveline.md tells what is computed from it.
#[drive]
#units = "metric"        # or "us": what is printed first
#
#[drive.tyre]            # one of three ways; the first is the best
# Mark tyre and ground, roll 10 turns with the truck loaded and at race pressure, measure the way.
#roll_out = ""           # such as { value = "30.10 m", tolerance = "0.3 %", basis = "measured" }
#turns = "10"
#  revolutions = "533 rev/mile"    # or rev/km, from the maker's table
#  size = "37x12.50R17"            # or "315/75R16": good to some 3 % only
#growth = "0 % to 2 %"   # how much it grows at speed (common practice, no source); "none" allowed
#wear = "0 % to 3 %"     # worn and soft (common practice, no source); "none" allowed
#
#[drive.axle]
#ratio = ""              # such as "5.00"; times any reduction in the hubs
#
#[[drive.transfer]]      # one for each range of the transfer case; without one leave it like this
#name = "high"
#ratio = "1"
#
# One [[drive.gear]] for each forward gear, the lowest first.
#[[drive.gear]]
#name = "1"
#ratio = ""
#  climb = "2500 rpm/s"  # how fast the engine's speed rises in it, full throttle, near the limiter: from a log
#[[drive.gear]]
#name = "2"
#ratio = ""
#[[drive.gear]]
#name = "3"
#ratio = ""
#
#[drive.converter]
#slip = "0 % to 8 %"     # turbine slower than the engine by so much, at most; "none" for a clutch (assumed: log it)
#
#[drive.engine]
#most = ""               # such as "6500 rpm": the engine is never turned above this
#limiter = "unknown"     # such as "6400 rpm"
#  least = "2500 rpm"    # an upshift should not land below this
#  upshift_time = "0.2 s to 0.4 s"   # from the command until the engine stops climbing
#  lead = "400 rpm"      # how far below the limiter the controller shifts up; "none" if it does not
#
#[drive.guard]           # for downshifts (common practice, no source)
#margin = "5 %"
#latency = "0.2 s to 0.5 s"    # from the check to the new gear
#acceleration = "2 m/s2"       # what the truck gains meanwhile, downhill
#
#  [[drive.sensor]]
#  id = "output"
#  place = "output"      # turbine, output, propshaft (behind the transfer case), wheel
#  teeth = "40"
#
# The lines at which the controller shifts by itself, up and down, at the same load. One of engine, output, road:
#  [[drive.shift]]
#  from = "2"
#  to = "3"
#  load = "full"
#  engine = "6200 rpm"
#
# A table from another truck:
#  [[drive.borrowed]]
#  id = "friend"
#  file = "friend.csv"
#  keyed_by = "road speed"     # or "output speed"
#  unit = "km/h"
#  holds = "shift speeds"      # or "gears", or "other"
#  tyre = { size = "31x10.50R15" }
#  axle = "3.73"
#  transfer = "1"
#  gears = "same"              # or the donor's ratios in order, ["3.59", "2.19"]
#
#  [drive.settings]
#  enable = "selector switch, own wire to pin B7"
#
#  [drive.log]                 # what the controller was told, for judging a log
#  lever = { park = "1", manual = "5" }    # what it reports in each detent, read live
#  lever_manual = ["5"]
"""


def with_drive_section(text: str, file: str = "<text>", units: str | None = None) -> str:
    """The text of a design file with the section at its end; `units` "us" or "metric", None as `usual_units` has it.

    Raises
    ------
    DesignFault
        The file is faulty.
    EditFault
        It has a driveline, or the section, already.
    """
    truck = loads(text, file)
    if truck.drive is not None:
        raise EditFault(file, "drive", "It has a [drive] table already. Edit that.")
    refuse_older(tomllib.loads(text.removeprefix(BOM)), file, "drive")
    if MARK in text:
        raise EditFault(file, "drive", "The section with blanks is there already. Fill it in and take away the #.")
    eol = "\r\n" if "\r\n" in text else "\n"
    gap = "" if text.endswith(("\n", "\r\n")) else eol
    section = SECTION
    if (units or usual_units(truck)) == "us":
        section = section.replace(METRIC, US)
    return text + gap + eol + section.replace("\n", eol)


def begin_drive(path: str | os.PathLike[str]) -> Truck:
    """Add the section to a file on disk; what is raised is that of `with_drive_section` and `save_atomic`."""
    name = os.fspath(path)
    file = os.path.basename(name)
    data = read_bytes(name)
    text = with_drive_section(decode(data, file), file)
    truck = loads(text, file)
    save_atomic(name, text, text_hash(data))
    return truck
