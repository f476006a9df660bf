"""From answers in shop words to the sheet a design file is written from.

Answers: which form, which contacts, which windows or targets follow from what was answered; whether that is possible.
Touches: nothing. Text and dataclasses in and out.
Beside:  `interview` reads answers, `pinproof.design.starter` writes the text, `values` finds resistors for a list.
"""

from __future__ import annotations

import dataclasses
import re
from typing import Literal

from pinproof.chain.interview import AnswerFault, Answers, Entry, Parts, WantList
from pinproof.design import DesignFault, Truck, loads
from pinproof.design.comments import FROM_LIST
from pinproof.design.starter import ENABLE, IDLE, LINE_ID, Button, Sheet, Stated, Wanted, design_text
from pinproof.proof.unknown import coder_ohms
from pinproof.quantities import parse
from pinproof.wiring import line_view

IDLE_FACTOR = 2.0
"""A list of ranges in ohms that says nothing of idle: idle begins at so many times its largest ohms (assumed)."""

OPEN_V = 5.0
"""What an open wire with a pull-up reads (assumed, as the reference of the file)."""

OPEN_SHARE = 0.05
"""Idle this near to what an open wire reads, as a share of full scale, needs no resistor (assumed)."""

MOST_IDLE_OHM = 1e6
"""Idle at more ohms than this counts as an open wire."""

MOST_TAPS = 6
"""Commands that the interview makes buttons for: every set of them pressed together is proven."""

Fed = Literal["through enable", "directly"]


def sheet_of(answers: Answers, design_id: str) -> Sheet:
    """The sheet for these answers; what was not answered is left unknown.

    Raises
    ------
    AnswerFault
        The answers do not go together; `question` names the one to ask again.
    """
    listed: WantList | None = answers.get("list")
    switched = answers.get("switched")
    fed: Fed | None = answers.get("taps-fed")
    buttons, enable = _buttons(answers, listed, fed)
    form: Literal["pull-up", "pull-down"] = "pull-down" if switched in ("fuse", "5 V") else "pull-up"
    pull = answers.get("pull")
    parts = answers.get("parts")
    whose = answers.get("whose")
    sheet = Sheet(
        id=design_id,
        name=answers.get("name") or "",
        form=form,
        switched=switched,
        enable=enable,
        taps_fed=(fed or "directly") if enable else None,
        taps_fed_known=fed is not None,
        buttons=buttons,
        buttons_known=answers.get("controls") is not None,
        list_basis=whose,
        list_pull=(listed.pull or None) if listed is not None else None,
        pull=pull[0] if pull is not None else None,
        pull_tolerance=pull[1] if pull is not None else None,
        compares=answers.get("compares") if switched == "fuse" else None,
        supply=answers.get("supply"),
        temperature=answers.get("temperature"),
        tolerance=_tolerance(parts),
        series=parts.series if parts is not None else "",
        series_note=f"nobody named it; usual for {parts.tolerance}" if parts and parts.guessed == "series" else "",
        at_hand=parts is not None and parts.at_hand,
        drawer=parts.drawer if parts is not None else "",
    )
    if listed is None:
        return sheet
    if answers.get("list-is") == "parts":
        return _from_parts(sheet, listed)
    found = whose == "measured" and not listed.pull and listed.kind == "ohm"
    wanted = _wanted(sheet, listed)
    idle = "to choose" if _open_is_not_idle(sheet, listed, wanted) else "none"
    return dataclasses.replace(sheet, wanted=wanted, by_substitution=found, idle_resistor=idle)


def _tolerance(parts: Parts | None) -> Stated | None:
    if parts is None or not parts.tolerance:
        return None
    return Stated(parts.tolerance, "assumed" if parts.guessed == "tolerance" else "published")


def checked(sheet: Sheet, question: str) -> Truck:
    """The truck of a sheet, loaded; AnswerFault for `question` if its file would have a fault."""
    try:
        return loads(design_text(sheet), "the new file")
    except DesignFault as fault:
        said = " ".join(dict.fromkeys(each.message for each in fault.faults[:3]))
        raise AnswerFault(question, f"That cannot be used: {said}") from None


def _buttons(answers: Answers, listed: WantList | None, fed: Fed | None) -> tuple[tuple[Button, ...], str | None]:
    meanings = listed.meanings if listed is not None else ("manual", "up", "down")
    controls = answers.get("controls")
    if controls is None:
        controls = ("slot", "lever") if "manual" in meanings else ("lever",)
    taps = [m for m in meanings if m in ("up", "down")] or [m for m in meanings if m not in ("manual", IDLE)]
    if len(taps) > MOST_TAPS:
        raise AnswerFault("list", f"More than {MOST_TAPS} commands. List these first; add the others in the file.")
    has_code = "manual" in meanings
    enable = ENABLE if "slot" in controls and (has_code or (fed == "through enable" and taps)) else None
    found: list[Button] = []
    if enable is not None:
        found.append(Button(ENABLE, "lever", "manual" if has_code else IDLE, maintained=True))
    for device in ("lever", "wheel"):
        if device not in controls:
            continue
        for tap in taps:
            name = _free_id(f"{device}_{re.sub(r'[^a-zA-Z0-9]+', '_', tap)[:40]}", [each.id for each in found])
            found.append(
                Button(
                    name,
                    device,
                    tap,
                    with_enable=enable is not None,
                    only_in_slot=enable is not None and device == "lever",
                )
            )
    if not found:
        have = " and ".join(meanings)
        raise AnswerFault(
            "list", f"The list has {have}, but none of the controls you named gives one of these commands."
        )
    return tuple(found), enable


def _free_id(wanted: str, taken: list[str]) -> str:
    name, number = wanted.rstrip("_") or wanted, 2
    while name in taken:
        name, number = f"{wanted}_{number}", number + 1
    return name


def _wanted(sheet: Sheet, listed: WantList) -> tuple[Wanted, ...]:
    out: list[Wanted] = []
    is_range = any(each.high for each in listed.entries)
    for each in listed.entries:
        if each.kind == "open":
            if each.meaning != IDLE:
                raise AnswerFault(
                    "list", f'"{each.meaning}" cannot be an open wire: a broken wire would be it. Take it out.'
                )
            continue  # idle is added below
        if each.high:
            out.append(Wanted(each.meaning, low=each.low, high=each.high, is_ohm=each.kind == "ohm"))
        else:
            out.append(Wanted(each.meaning, reading=each.low, is_ohm=each.kind == "ohm"))
    if all(each.meaning != IDLE for each in out):
        idle = _idle_window(sheet, listed) if is_range else Wanted(IDLE, reading=_rail(sheet))
        out.append(dataclasses.replace(idle, listed=False))
    return tuple(out)


def _rail(sheet: Sheet) -> str:
    """What an open wire reads: nothing pulls a supply-fed pin up, nothing pulls a grounded one down."""
    return "0 %" if sheet.form == "pull-down" else "100 %"


def _open_is_not_idle(sheet: Sheet, listed: WantList, wanted: tuple[Wanted, ...]) -> bool:
    """True if the list wants a reading with nothing pressed that only a resistor at the far end can give."""
    idle = next((each for each in wanted if each.meaning == IDLE and each.listed), None)
    if idle is None or sheet.form not in ("pull-up", "pull-down"):
        return False
    if idle.is_ohm:
        return 0.0 < parse(idle.high or idle.reading, "resistance") <= MOST_IDLE_OHM
    dimension, full = ("voltage", OPEN_V) if listed.kind == "volt" else ("ratio", 1.0)
    ends = [
        parse(end, dimension) for each in wanted for end in (each.low, each.high, each.reading) if end and each.listed
    ]
    if max(ends) > full:
        return False  # not judged against the reference: what an open wire reads is not known
    low, high = (parse(end, dimension) for end in (idle.low or idle.reading, idle.high or idle.reading))
    room = 0.0 if idle.high else OPEN_SHARE * full
    return low > room if sheet.form == "pull-down" else high < full - room


def _idle_window(sheet: Sheet, listed: WantList) -> Wanted:
    """Idle where a list of ranges does not say it: between the rail and the nearest range."""
    if listed.kind == "ohm":
        most = max(parse(each.high, "resistance") for each in listed.entries if each.high)
        return Wanted(IDLE, low=f"{most * IDLE_FACTOR:.6g} ohm", is_ohm=True)
    dimension, unit, scale = ("voltage", "V", 1.0) if listed.kind == "volt" else ("ratio", "%", 100.0)
    ends = [parse(end, dimension) for each in listed.entries if each.high for end in (each.low, each.high)]
    if sheet.form == "pull-down":
        return Wanted(IDLE, high=f"{min(ends) / 2.0 * scale:.6g} {unit}")
    rail = OPEN_V if listed.kind == "volt" else 1.0
    return Wanted(IDLE, low=f"{(max(ends) + rail) / 2.0 * scale:.6g} {unit}")


def _from_parts(sheet: Sheet, listed: WantList) -> Sheet:
    """The list names single resistors: what the pin sees in each state follows from the circuit they make."""
    ohms = {each.meaning: each.low for each in listed.entries if each.kind == "ohm"}
    values = {button.id: ohms[button.asks] for button in sheet.buttons if button.asks in ohms}
    idle = ohms.get(IDLE, "none") if sheet.form in ("pull-up", "pull-down") else "none"
    bare = dataclasses.replace(sheet, resistors=values, resistor_note=FROM_LIST, idle_resistor=idle)
    truck = checked(bare, "list")
    view = line_view(truck, LINE_ID)
    entries: list[Entry] = []
    for button in sheet.buttons:
        if button.asks in ohms and all(each.meaning != button.asks for each in entries):
            _, nominal_ohm, _ = coder_ohms(view, truck.contact(button.id).command_set)
            entries.append(Entry(button.asks, "ohm", f"{nominal_ohm:.5g} ohm"))
    known = {each.meaning for each in entries}
    entries += [each for each in listed.entries if each.meaning not in known]
    return dataclasses.replace(bare, wanted=_wanted(sheet, WantList(tuple(entries), listed.pull)))
