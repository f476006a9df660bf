"""The text of a first design file, for an owner who does not know every number yet.

Answers: what a design file says when some answers are known and the rest is assumed; one commented file per form.
Touches: nothing. Text out; the caller writes it.
Rule:    every number that nobody stated is written out with basis "assumed" and one line on how to find it.
Sources: 9 to 16 V, a closed contact of 0 to 50 Ω, a leak of some kΩ across an open one and up to ±1 V of ground shift
         stand in the design examples of component makers' data sheets for automotive switch inputs (2017 to 2022; seen:
         secondary). Everything else assumed here is common practice without a source, and says "assumed" in the file.
"""

from __future__ import annotations

import re
import textwrap
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from typing import Literal

from pinproof.design.comments import PULL_NOT_KNOWN, TO_CHOOSE, WINDOWS_NOT_KNOWN
from pinproof.design.edit import to_toml
from pinproof.design.model import Basis, Form
from pinproof.design.pull_words import Side, is_key, pull_measurement

Switched = Literal["fuse", "chassis", "sensor ground", "5 V"]
FORMS: tuple[Form, ...] = ("pull-up", "pull-down", "ladder", "divider", "elements")
INPUT_ID, LINE_ID, IDLE, ENABLE = "tap_pin", "taps", "automatic", "lever_manual"
CONTROLLER = "gearbox controller"
CONTROLLER_WORDS = "the box this pin belongs to; the same name at each of its pins"
COMMENT_WIDTH = 112


@dataclass(frozen=True)
class Stated:
    """One answer: how it is written in the file, and where it comes from. For a range `text` holds "low to high"."""

    text: str
    basis: Basis = "assumed"


@dataclass(frozen=True)
class Wanted:
    """What the pin wants for one meaning: one reading, or a window from `low` to `high`; as written in the file."""

    meaning: str
    reading: str = ""
    low: str = ""
    high: str = ""
    is_ohm: bool = False
    listed: bool = True  # False: nobody said it, it was added


@dataclass(frozen=True)
class Button:
    """One contact: what it asks for and where it sits. `with_enable`: a command only together with the enable."""

    id: str
    device: str
    asks: str
    maintained: bool = False
    with_enable: bool = False
    only_in_slot: bool = False


@dataclass(frozen=True)
class Sheet:
    """Everything a first design file is made from. None always stands for "don't know"."""

    id: str
    name: str = ""
    form: Form = "pull-up"
    switched: Switched | None = None
    enable: str | None = None
    taps_fed: Literal["through enable", "directly"] | None = None
    taps_fed_known: bool = False
    buttons: tuple[Button, ...] = ()
    buttons_known: bool = False
    wanted: tuple[Wanted, ...] = ()
    list_basis: Basis | None = None
    list_pull: str | None = None  # the pull that a list in ohms assumes
    by_substitution: bool = False
    pull: Stated | None = None
    pull_tolerance: str | None = None
    compares: Literal["reference", "battery", "volts"] | None = None
    supply: Stated | None = None
    temperature: Stated | None = None
    tolerance: Stated | None = None
    series: str = ""  # of the resistors that can be bought; "" is not known
    series_note: str = ""  # why this series, where nobody named it
    at_hand: bool = False
    drawer: str = ""  # as it is written in the file
    resistors: Mapping[str, str] = field(default_factory=dict)  # contact id to ohms; the others stand "to choose"
    resistor_note: str = ""
    idle_resistor: str = "none"  # or "to choose", or its ohms
    asked: bool = True  # False: a starter file, in which "not known" would say nothing


def design_text(sheet: Sheet) -> str:
    """The design file for a sheet.

    Raises
    ------
    ValueError
        If the sheet has no button; a line without a contact cannot be.
    """
    if not sheet.buttons:
        raise ValueError("a line needs at least one contact")
    blocks = (_head(sheet), _box(sheet), _input(sheet), _line(sheet), _meanings(sheet), _buttons(sheet))
    text = "\n".join(line for block in blocks for line in (*block, ""))
    return re.sub(r"\n{3,}", "\n\n", text).rstrip("\n") + "\n"


def starter_sheet(form: Form, design_id: str, name: str = "") -> Sheet:
    """A sheet of one form with nothing known, for a file that is filled in by hand."""
    if form in ("pull-up", "pull-down", "divider"):
        buttons: tuple[Button, ...] = (
            Button(ENABLE, "lever", "manual", maintained=True),
            Button("lever_up", "lever", "up", with_enable=True, only_in_slot=True),
            Button("lever_down", "lever", "down", with_enable=True, only_in_slot=True),
        )
        enable = ENABLE
    else:
        buttons = (Button("button_up", "pod", "up"), Button("button_down", "pod", "down"))
        enable = None
    return Sheet(
        id=design_id, name=name, form=form, switched="fuse" if form == "pull-down" else "chassis", enable=enable,
        taps_fed="through enable" if enable else None, buttons=buttons, asked=False,
    )  # fmt: skip


def _head(sheet: Sheet) -> Iterator[str]:
    yield '# One truck, stated once. Numbers carry their unit; what no one has measured says basis = "assumed".'
    yield "# Change a number here and prove again:  pinproof prove FILE      What to do next:  pinproof next FILE"
    yield ""
    yield "format = 1"
    yield f"id = {to_toml(sheet.id)} # permanent: do not change it"
    yield f"name = {to_toml(sheet.name or 'unnamed truck')}"


def _box(sheet: Sheet) -> Iterator[str]:
    """Supply, temperature, and what holds for all parts."""
    yield "[supply]"
    if sheet.supply is None:
        yield "# Assumed. How to find it: meter on min/max at the controller's supply, one drive with everything on."
        yield 'run = { low = "9 V", value = "13.8 V", high = "16 V", basis = "assumed" }'
    else:
        yield _range_line("run", sheet.supply)
    yield ""
    yield "[temperature] # of the switches and their resistors"
    if sheet.temperature is None:
        yield "# Assumed. How to find it: a thermometer strip at the lever and the wheel on a hot day."
        yield 'low = "-10 °C"'
        yield 'high = "80 °C"'
    else:
        low, _, high = sheet.temperature.text.partition(" to ")
        yield f"low = {to_toml(low)}"
        yield f"high = {to_toml(high)}"
        if sheet.temperature.basis != "assumed":
            yield f"basis = {to_toml(sheet.temperature.basis)}"
    yield ""
    yield "[defaults] # for every resistor and contact that does not state its own"
    if sheet.tolerance is None:
        yield "# Assumed. How to find it: the gold or brown band, or the bag the resistors came in."
        yield 'tolerance = { value = "1 %", basis = "assumed" }'
    else:
        if sheet.tolerance.basis == "assumed":
            yield "# Assumed: usual for this series. How to find it: the tolerance band, or the lid of the assortment."
        yield f"tolerance = {{ value = {to_toml(sheet.tolerance.text)}, basis = {to_toml(sheet.tolerance.basis)} }}"
    yield "# Assumed. How to find both: the maker's data sheet of the resistors; these fit common film types."
    yield 'tempco = { value = "100 ppm/K", basis = "assumed" }'
    yield 'ageing = { value = "1 %", basis = "assumed" }'
    yield "# Assumed worst case. How to find it: ohms across the pressed switch, 20 presses, note the highest."
    yield 'closed = { low = "0 ohm", value = "0.1 ohm", high = "50 ohm", basis = "assumed" }'
    yield "# Assumed worst case. How to find it: ohms across the open switch, dry, then after a hose-down."
    yield 'open = { value = "100 kohm", basis = "assumed" }'
    yield ""
    yield from _parts(sheet)


def _parts(sheet: Sheet) -> Iterator[str]:
    yield "[parts] # resistors you can buy or have: `pinproof choose` and the cures take their values from these"
    if sheet.drawer:
        yield f"drawer = {to_toml(sheet.drawer)} # your own stock; counts bind"
    if sheet.series:
        yield f"series = {to_toml(sheet.series)}{f' # {sheet.series_note}' if sheet.series_note else ''}"
    elif not sheet.drawer:
        yield "# Assumed: every value of this series can be bought. How to find it: the lid of your assortment, or the"
        yield "# shop's list; common ones hold E12 or E24. With an assortment at hand write at_hand = true too."
        yield 'series = "E96"'
    if sheet.at_hand:
        yield "at_hand = true # an assortment of the whole series: nothing of it need be ordered"


def _range_line(key: str, stated: Stated) -> str:
    low, _, high = stated.text.partition(" to ")
    return f"{key} = {{ low = {to_toml(low)}, high = {to_toml(high or low)}, basis = {to_toml(stated.basis)} }}"


def _input(sheet: Sheet) -> Iterator[str]:
    yield "[[input]] # the controller's pin"
    yield f"id = {to_toml(INPUT_ID)}"
    yield f"controller = {to_toml(CONTROLLER)} # {CONTROLLER_WORDS}"
    side, other = ("pull_down", "pull_up") if sheet.form == "pull-down" else ("pull_up", "pull_down")
    if sheet.pull is not None:
        tolerance = sheet.pull_tolerance or "5 %"
        if sheet.pull_tolerance is None:
            yield "# Its tolerance is assumed. How to find it: measure at a cold and at a hot controller."
        yield (
            f"{side} = {{ value = {to_toml(sheet.pull.text)}, tolerance = {to_toml(tolerance)}, "
            f"basis = {to_toml(sheet.pull.basis)} }}"
        )
        yield f'{other} = "none" # assumed'
    else:
        yield from _measuring(sheet)
        yield f'{side} = "unknown"'
        if sheet.switched is None and sheet.asked:
            yield f'{other} = "unknown" # not even known which of the two it has'
        else:
            yield f'{other} = "none" # assumed'
    yield from _compares(sheet)
    yield "# Assumed. How to find it: the controller maker's data; 1 % covers a common converter and its thresholds."
    yield 'error = { value = "1 %", basis = "assumed" }'


def _measuring(sheet: Sheet) -> Iterator[str]:
    """How the pull is measured, as a comment above it."""
    sides: tuple[Side, ...] = ("pull_down",) if sheet.form == "pull-down" else ("pull_up",)
    if sheet.switched is None and sheet.asked:
        sides = ("pull_up", "pull_down")
    found = pull_measurement(INPUT_ID, sides, feed="reference" if sheet.switched == "5 V" else "battery")
    yield PULL_NOT_KNOWN
    for each in (found.caution, *found.how):
        yield from _comment(each)


def _comment(text: str) -> list[str]:
    if is_key(text):
        return [f"#     {text}"]
    return textwrap.wrap(
        text, COMMENT_WIDTH, initial_indent="# ", subsequent_indent="#   ", break_long_words=False,
        break_on_hyphens=False,
    )  # fmt: skip


def _compares(sheet: Sheet) -> Iterator[str]:
    compares = sheet.compares
    if compares is None and (sheet.form != "pull-down" or sheet.switched == "5 V"):
        yield "# Assumed: a pin with a 5 V reference is usually judged against that same 5 V. How to find it: does the"
        yield "# controller's shown percentage stay while its sensor supply is a little off? Else ask the maker."
        yield 'compares = "reference"'
    elif compares is None:
        yield "# What the reading is divided by. How to find it: watch the shown reading of a pressed button while the"
        yield '# engine starts. It stays: "battery". It moves with the supply: "volts".'
        yield 'compares = "unknown"'
    else:
        yield f"compares = {to_toml(compares)}"
    if compares == "volts" or (compares is None and sheet.form == "pull-down" and sheet.switched != "5 V"):
        yield "# Assumed: nothing clips. How to find it: the maker's highest readable volts at this pin."
        yield f'full_scale = {{ value = {to_toml(_highest_volt(sheet))}, basis = "assumed" }}'
    yield "# Assumed. How to find it: volts at the controller's 5 V sensor supply pin, key on."
    yield 'reference = { value = "5 V", tolerance = "1 %", basis = "assumed" }'


def _highest_volt(sheet: Sheet) -> str:
    return sheet.supply.text.partition(" to ")[2] or sheet.supply.text if sheet.supply is not None else "16 V"


def _line(sheet: Sheet) -> Iterator[str]:
    feed = sheet.form in ("pull-down", "divider")
    yield "[[line]] # the coded wire with its switches and resistors"
    yield f"id = {to_toml(LINE_ID)}"
    yield f"input = {to_toml(INPUT_ID)}"
    if sheet.switched is None and sheet.asked:
        yield "# ASSUMED, not known. How to find it: measure the pin as told above, at its [[input]]."
    yield f"form = {to_toml(sheet.form)} # {_FORM_WORDS[sheet.form]}"
    yield f"idle = {to_toml(IDLE)} # what is meant when nothing is pressed"
    if sheet.enable is not None:
        yield f"enable = {to_toml(sheet.enable)}"
        if not sheet.taps_fed_known and sheet.asked:
            yield "# Assumed. How to find it: unplugged, slot off: ohms from the coded wire to the other side of the"
            yield '# switches, with no tap and with one pressed. Alike means "through enable", fewer means "directly".'
        yield f"taps_fed = {to_toml(sheet.taps_fed)}"
    if sheet.form in ("pull-up", "pull-down", "divider"):
        yield from _idle_resistor(sheet)
    if sheet.form == "divider":
        yield 'top_resistor = "to choose" # from the feed to the coded wire, at the switches'
    if sheet.form == "ladder":
        yield 'ladder_to = "ground" # or "supply"'
        yield 'end_resistor = "none" # from the last button to the return'
    if sheet.form == "elements":
        yield 'source_side = "return" # or "feed"'
    else:
        yield "# Assumed. How to find both: ohms end to end, both ends unplugged, less the leads of the meter."
        for wire in ("wire", "source_wire"):
            yield f'{wire} = {{ low = "0 ohm", value = "0.3 ohm", high = "1 ohm", basis = "assumed" }}'
    reach = "0.02 V" if sheet.switched == "sensor ground" else "0.1 V"
    yield "# Assumed. How to find it: millivolts from the switches' ground to the controller's ground, every load on."
    yield "# Published design examples allow up to 1 V between chassis and controller."
    yield f'return_offset = {{ low = "-{reach}", high = "{reach}", basis = "assumed" }}'
    if feed:
        yield f"feed_from = {to_toml('reference' if sheet.switched == '5 V' else 'battery')}"
        yield "# Assumed. How to find it: volts from the controller's supply pin to the switches' supply wire, on load."
        drop = "0.05 V" if sheet.switched == "5 V" else "0.5 V"
        yield f'feed_drop = {{ low = "0 V", high = "{drop}", basis = "assumed" }}'
    yield "# Assumed: a wet plug. How to find it: unplugged, after a hose-down, ohms from the coded wire to chassis"
    yield "# and to the supply wire."
    yield 'leak_to_ground = { value = "20 kohm", basis = "assumed" }'
    yield 'leak_to_supply = { value = "200 kohm", basis = "assumed" }'
    if not sheet.wanted:
        yield from WINDOWS_NOT_KNOWN
        yield 'windows = "free"'
    if sheet.form == "elements":
        yield from _elements(sheet)


def _idle_resistor(sheet: Sheet) -> Iterator[str]:
    """The far-end resistor: none, still to choose, or with its ohms."""
    if sheet.idle_resistor == "none":
        yield 'idle_resistor = "none" # at the far end, always in circuit'
        return
    yield "# At the far end, always in circuit: an open wire does not give what the list wants with nothing pressed."
    if sheet.idle_resistor == "to choose":
        yield f'idle_resistor = "to choose" # {TO_CHOOSE}'
    else:
        yield (
            f'idle_resistor = {{ value = {to_toml(sheet.idle_resistor)}, basis = "assumed" }} # {sheet.resistor_note}'
        )


_FORM_WORDS = {
    "pull-up": "a resistor inside the controller pulls the pin up; each switch pulls it down through its own resistor",
    "pull-down": "a supply comes through each switch and its resistor to the pin; the controller pulls the pin down",
    "ladder": "a chain of resistors; each button grounds the chain at its own place",
    "divider": "as pull-up, with a resistor of your own from a feed to the coded wire",
    "elements": "free: every element is listed, with the two nodes it joins",
}


def _elements(sheet: Sheet) -> Iterator[str]:
    """Each button through its own resistor to the return, element by element."""
    for button in sheet.buttons:
        yield from ("", "[[line.element]]", f'id = "r_{button.id}"', 'kind = "resistor"')
        yield from (f'between = ["pin", "n_{button.id}"]', 'value = "to choose"')
        yield from ("", "[[line.element]]", f'id = "s_{button.id}"', 'kind = "contact"')
        yield from (f'between = ["n_{button.id}", "return"]', f"contact = {to_toml(button.id)}")


def _meanings(sheet: Sheet) -> Iterator[str]:
    if any(each.is_ohm for each in sheet.wanted) and not sheet.by_substitution and sheet.list_pull is None:
        yield "# The list names no pull, so its ohms are taken for this very pin (assumed). If the list turns out to be"
        yield '# for another pull, write it at each meaning in ohms: with_pull = "1 kohm"'
    for each in sheet.wanted:
        is_window = not each.reading
        yield "[[line.window]]" if is_window else "[[line.target]]"
        yield f"meaning = {to_toml(each.meaning)}"
        if is_window:
            if each.low:
                yield f"low = {to_toml(each.low)}"
            if each.high:
                yield f"high = {to_toml(each.high)}"
        else:
            yield f"reading = {to_toml(each.reading)}"
        if each.is_ohm and sheet.by_substitution:
            yield 'found = "substitution" # found with ohms on this very pin'
        elif each.is_ohm:
            yield from _with_pull(sheet)
        yield f"basis = {to_toml(sheet.list_basis if each.listed and sheet.list_basis is not None else 'assumed')}"
        yield ""


def _with_pull(sheet: Sheet) -> Iterator[str]:
    """The pull that a list in ohms names. Left out where it names none: then this pin's own is meant, known or not."""
    if sheet.list_pull is not None:
        yield f"with_pull = {to_toml(sheet.list_pull)} # as the list says"


def _buttons(sheet: Sheet) -> Iterator[str]:
    if not sheet.buttons_known and sheet.asked:
        yield "# The controls are assumed: take out what the truck does not have, add what it has."
    for device in dict.fromkeys(button.device for button in sheet.buttons):
        yield from ("[[device]]", f"id = {to_toml(device)}")
        taps = [button.id for button in sheet.buttons if button.device == device and not button.maintained]
        if device == "lever" and len(taps) > 1:
            yield f"exclusive = [{to_toml(taps)}] # one hand cannot push it both ways at once"
        yield ""
    for button in sheet.buttons:
        yield "[[contact]]"
        yield f"id = {to_toml(button.id)}"
        yield f"line = {to_toml(LINE_ID)}"
        yield f"device = {to_toml(button.device)}"
        yield 'kind = "normally open"'
        yield f'action = "{"maintained" if button.maintained else "momentary"}"'
        yield f"asks = {to_toml(button.asks)}"
        if button.with_enable and sheet.enable is not None:
            yield f"with = [{to_toml(sheet.enable)}] # a command only in the manual slot"
            if button.only_in_slot:
                yield f"only_when = [{to_toml(sheet.enable)}] # the lever can be tapped in its manual slot only"
        if sheet.form != "elements":
            yield from _resistor(sheet, button)
        yield f"station = {to_toml(button.device)}"
        yield ""


def _resistor(sheet: Sheet, button: Button) -> Iterator[str]:
    if button.asks == IDLE:
        yield 'resistor = "none" # it feeds the taps and has no code of its own'
        return
    ohms = sheet.resistors.get(button.id, "")
    if ohms:
        yield f'resistor = {{ value = {to_toml(ohms)}, basis = "assumed" }} # {sheet.resistor_note}'
    else:
        yield f'resistor = "to choose" # {TO_CHOOSE}'
