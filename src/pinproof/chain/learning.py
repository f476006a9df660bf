"""One unknown pin being learned: the session with its file, what is asked next, answers as typed, the design after it.

Answers: which reading is asked for now; what an answer says; is all known; what would be written into the design?
Units:   ohms, volts; shares of full scale.
Touches: the session file beside the design, through `pinproof.learn`: every reading is saved before the next is asked.
Beside:  `learn_begin` begins it, `pinproof.learn` does the sums, `pinproof.meter` says how far the meter may be off;
         here they are joined once for every face.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Literal

from pinproof.chain.learn_begin import USUAL_METER, NotThus, with_settings
from pinproof.design.model import Line, Truck
from pinproof.learn import (
    Edge,
    Found,
    Look,
    Observation,
    PinReading,
    Session,
    Step,
    VoltsStep,
    edges,
    found_of,
    learned_text,
    missing_meanings,
    next_volts,
    note_of,
    progress,
    propose,
    question_reading,
    refreshed,
    save_session,
    update,
    windows_of,
)
from pinproof.learn.entry import Entry, last_digit, load_of, part_of, read_accuracy, read_entry, step_of
from pinproof.learn.reference import reference_step
from pinproof.learn.session import at_one_supply, number_told, reference_learned
from pinproof.meter import Instrument, uncertainty
from pinproof.proof import as_json

USUAL_OHMS = "1 % + 3"
PUT_OFF, LEFT_OUT = "skipped", "left out"
"""What a session says of volts that were not known: asked once more after the edges; not asked any more."""
REFERENCE = "reference"
"""Where a session says that the volts at the reference's own pin were asked for and are not known."""


@dataclass(frozen=True)
class Asked:
    """What is asked now: volts, a look at the open pin with AC or min/max, or a step of the search for edges."""

    kind: Literal["volts", "look", "edge"]
    volts: VoltsStep | None = None
    step: Step | None = None


LOOK_EXAMPLE = 'The open pin on AC or on min/max is written "ac=0.01" or "min=0.1 max=4.98".'


def _is_look(entry: Entry) -> bool:
    """It tells what the AC range or both of min and max showed."""
    return entry.ac_v is not None or (entry.min_v is not None and entry.max_v is not None)


def _keep_it(_: str) -> None:
    """A doubt that nobody asks back."""


class Learning:
    """One session being worked on. `question` is called with each doubt about a reading; it may raise.

    Parameters
    ----------
    truck : Truck
    path : Path
        The session file.
    session : Session
    seen : str or None
        Hash of the session file as it was read, None if there was none.
    instrument : Instrument or None
        The meter, where it has a file of its own.
    question : callable
        Takes one sentence.
    """

    def __init__(
        self, truck: Truck, path: Path, session: Session, seen: str | None, instrument: Instrument | None = None,
        question: Callable[[str], None] = _keep_it,
    ) -> None:  # fmt: skip
        self.truck = truck
        self.path = path
        self.session = session
        self.seen = seen
        self.instrument = instrument
        self.question = question
        self.before: list[Session] = []

    @property
    def line(self) -> Line:
        """The line whose pin it is."""
        return self.truck.line(self.session.line)

    @property
    def found(self) -> Found:
        """The source as the readings show it."""
        return found_of(self.session, self.truck)

    # keeping it

    def take(self, session: Session) -> None:
        """The session after a step, saved."""
        self.before.append(self.session)
        self.session = refreshed(session, self.truck)
        self.save()

    def back(self) -> bool:
        """One step back; False if there is none."""
        if not self.before:
            return False
        self.session = self.before.pop()
        self.save()
        return True

    def save(self) -> None:
        """Write the session file; ChangedUnderneath if it is another one by now."""
        self.seen = save_session(self.path, self.session, self.seen)

    # what is asked now

    def asked(self) -> Asked | None:
        """What to do next; None when nothing more is to be learned. Volts that were put off come after the edges."""
        put_off = self.session.told.get("volts")
        if put_off is None and (volts := self._next_volts()) is not None:
            return Asked("volts", volts)
        if not self.session.looks and self.session.readings and "look" not in self.session.told:
            return Asked("look")
        if self.found.asks_reference and REFERENCE not in self.session.told:
            return Asked("volts", reference_step())
        step = propose(self.session.search)
        if put_off == PUT_OFF and (step is None or step.optional) and (volts := self._next_volts()) is not None:
            return Asked("volts", volts)
        return Asked("edge", step=step) if step is not None else None

    def ask_volts(self, *, at_once: bool) -> None:
        """Ask again for volts that were left out: at once, or after the edges."""
        told = {key: word for key, word in self.session.told.items() if key not in ("volts", REFERENCE)}
        if not at_once and "volts" in self.session.told:
            told["volts"] = PUT_OFF
        self.session = dataclasses.replace(self.session, told=told)

    def _next_volts(self) -> VoltsStep | None:
        session, truck = self.session, self.truck
        owner = truck.input_of(truck.line(session.line))
        loads = [part.ohm for part in session.search.stock]
        return next_volts(
            at_one_supply(session.readings), session.meter, loads, supply_high_v=truck.supply.run.high,
            max_pin_v=owner.max_pin.value if owner.max_pin is not None else None,
            reference_v=number_told(session, "reference_v"),
        )  # fmt: skip

    # answers

    def answer_volts(self, step: VoltsStep, typed: str | None, supply: str = "") -> None:
        """Volts at the pin; with a feed both, feed first. None: not known, put off, the second time left out.

        At the reference's own pin they are told as `reference_v`; None: not known, and the pulls stay not told apart.
        """
        if step.at == "reference":
            self._answer_reference(typed)
            return
        if typed is None:
            word = LEFT_OUT if self.session.told.get("volts") == PUT_OFF else PUT_OFF
            self.take(dataclasses.replace(self.session, told={**self.session.told, "volts": word}))
            return
        numbers = typed.replace(",", " ").split() if step.from_feed else [typed.replace(" ", "")]
        if step.from_feed and len(numbers) != 2:
            raise NotThus("volts", "Answer with both: feed, then pin, as in 12.61 1.15.")
        load = "open" if step.load_ohm == float("inf") else f"load={step.load_ohm:.6g}ohm"
        feed = f" feed={numbers[0]}" if step.from_feed else ""
        battery = f" supply={supply.replace(' ', '')}" if supply.strip() else ""
        self.add(f"{load} volts={numbers[-1]}{feed}{battery}")

    def _answer_reference(self, typed: str | None) -> None:
        if typed is None:
            self.take(dataclasses.replace(self.session, told={**self.session.told, REFERENCE: "not known"}))
            return
        told = with_settings(self.session, instrument=self.instrument, told=(("reference_v", typed.replace(" ", "")),))
        reference_v, source = number_told(told, "reference_v"), self.found.source
        assert reference_v is not None
        if reference_v <= 0.0:
            raise NotThus("volts", f'"{typed}": a reference is above 0 V, as in 4.98.')
        if source is not None and found_of(told, self.truck).pulls is None:
            self.question(
                f"{reference_v:g} V is below the {source.volts_v:.3g} V of the open pin, and no reference lifts a pin "
                "above itself. Is it the reference's pin, and is the key on?"
            )
        self.take(told)

    def answer_look(self, typed: str | None) -> None:
        """The open pin on AC or min/max, as in "ac=0.01"; None: not looked at."""
        if typed is None:
            self.take(dataclasses.replace(self.session, told={**self.session.told, "look": "no"}))
            return
        entry = read_entry(typed)
        if not _is_look(entry):
            raise NotThus("reading", f'"{typed}" says neither AC nor both of min and max. {LOOK_EXAMPLE}')
        self._looked(entry)

    def _looked(self, entry: Entry) -> None:
        opened = [each.volts_v for each in self.session.readings if each.is_open]
        look = Look(opened[-1] if opened else 0.0, entry.ac_v, entry.min_v, entry.max_v)
        told = {**self.session.told, "look": "yes"}
        self.take(dataclasses.replace(self.session, told=told, looks=(*self.session.looks, look)))

    def answer_step(self, step: Step, typed: str | None) -> None:
        """What was seen at a step of the search; None: don't know."""
        seen = self._seen(step, typed)
        self.take(dataclasses.replace(self.session, search=update(self.session.search, step, seen)))

    def _seen(self, step: Step, typed: str | None) -> Observation:
        if typed is None:
            return Observation()
        if step.kind == "load":
            return Observation(typed)
        if step.kind == "measure":
            ohm = read_entry(f"part=1k ohms={typed.replace(' ', '')}").ohms_ohm
            assert ohm is not None
            return Observation(ohm=ohm, reach_ohm=self.ohm_reach(ohm, last_digit(typed.replace(" ", ""))))
        meaning, _, ohms = typed.rpartition(" ")
        ohm = read_entry(f"pot={ohms}").pot_ohm
        assert ohm is not None
        ended = meaning.strip().lower() == "end"
        return Observation(None if ended else meaning, ohm, self.ohm_reach(ohm, last_digit(ohms)), ended)

    def reach(self, volts_v: float, digit_v: float) -> tuple[float, float, str]:
        """How far volts may be off: gain, offset, name of the range."""
        if self.instrument is not None:
            used = uncertainty(self.instrument, "voltage", volts_v, noted=digit_v)
            return used.used.relative, used.used.digits * used.digit, f"{used.used.full:g} V"
        gain, counts = read_accuracy(self.session.told.get("accuracy", USUAL_METER))
        return gain, counts * digit_v, ""

    def ohm_reach(self, ohm: float, digit_ohm: float) -> float:
        """How far measured ohms may be off. [Ω]"""
        if self.instrument is not None:
            return uncertainty(self.instrument, "resistance", ohm, noted=digit_ohm).limit
        gain, counts = read_accuracy(self.session.told.get("accuracy", USUAL_OHMS))
        return gain * ohm + counts * digit_ohm

    def add(self, text: str) -> None:
        """One reading as typed, "load=1k volts=2.41".

        Raises
        ------
        NotThus, LearnFault, QuantityFault
            What is wrong with it and what would be right.
        """
        entry = read_entry(text)
        search = self.session.search
        if entry.part_text:
            if entry.ohms_ohm is None:
                raise NotThus("reading", f'"{text}" measures nothing: write part=4k7 ohms=4.68k.')
            self._measured(part_of(entry.part_text, search.stock), entry)
            return
        if entry.pot_ohm is not None:
            self._turned(entry, text)
            return
        if _is_look(entry) and not entry.means and entry.volts_v is None and entry.load_text in ("", "open"):
            self._looked(entry)  # the open pin, as the guided question asks for it: "ac=0.004"
            return
        if not entry.load_text:
            look = f" {LOOK_EXAMPLE}" if {entry.ac_v, entry.min_v, entry.max_v} != {None} else ""
            raise NotThus("reading", f'"{text}" names no load: write load=1k, open or short.{look}')
        measured = None
        if entry.ohms_ohm is not None:
            measured = (entry.ohms_ohm, entry.reach_ohm or self.ohm_reach(entry.ohms_ohm, entry.ohms_digit_ohm))
        load = load_of(entry.load_text, search, measured)
        if entry.volts_v is None and not entry.means:
            raise NotThus("reading", f'"{text}" says nothing of what was seen: add volts=… or means=….')
        if entry.volts_v is not None:
            self._volts(
                entry, load.ohm, max(load.high_ohm - load.ohm, load.ohm - load.low_ohm) if load.ohm < 1e12 else 0.0
            )
        if entry.means:
            step = propose(self.session.search)
            wanted = (load.ohm, load.join, entry.direction or (step.direction if step is not None else ""))
            if step is None or (step.ohm, step.join, step.direction) != wanted or step.kind != "load":
                step = step_of(load, entry, self.session.search)
            search = update(self.session.search, step, Observation(entry.means))
            self.take(dataclasses.replace(self.session, search=search))

    def _volts(self, entry: Entry, load_ohm: float, reach_ohm: float) -> None:
        assert entry.volts_v is not None
        if load_ohm == 0.0:
            raise NotThus("reading", "Volts with the pin shorted say nothing of its source.")
        feed = None if entry.feed_v is None else self.reach(entry.feed_v, entry.feed_digit_v)
        reading = PinReading(
            entry.volts_v, load_ohm, reach_ohm, entry.feed_v, entry.ohms_ohm is not None, entry.supply_v,
            self.reach(entry.volts_v, entry.volts_digit_v), feed,
        )  # fmt: skip
        doubt = question_reading(self.session.readings, reading, self.session.meter)
        if doubt is not None:
            self.question(doubt)
        told = {key: word for key, word in self.session.told.items() if key != "volts"}
        session = dataclasses.replace(self.session, readings=(*self.session.readings, reading), told=told)
        if _is_look(entry):
            look = Look(entry.volts_v, entry.ac_v, entry.min_v, entry.max_v)
            session = dataclasses.replace(session, looks=(*session.looks, look))
        self.take(session)

    def _measured(self, part: int, entry: Entry) -> None:
        assert entry.ohms_ohm is not None
        reach = entry.reach_ohm or self.ohm_reach(entry.ohms_ohm, entry.ohms_digit_ohm)
        step = Step("measure", self.session.search.stock[part].ohm, "told", parts=(part,))
        search = update(self.session.search, step, Observation(ohm=entry.ohms_ohm, reach_ohm=reach))
        self.take(dataclasses.replace(self.session, search=search))

    def _turned(self, entry: Entry, text: str) -> None:
        assert entry.pot_ohm is not None
        if self.session.search.rest_latches:
            raise NotThus(
                "reading", f'"{text}": this open pin holds its meaning until the key is turned, so a potentiometer '
                "cannot be turned away from it. Take the resistors that are asked for."
            )  # fmt: skip
        search = dataclasses.replace(self.session.search, method="pot")
        step = propose(search)
        if step is None or step.kind != "pot":
            when = "open means=… first" if step else "all is turned"
            raise NotThus("reading", f'"{text}" comes too early or too late: {when}.')
        if entry.direction is not None and entry.direction != step.direction:
            raise NotThus(
                "reading", f'The next turn is with the reading {step.direction}, not {entry.direction}: "{text}".'
            )
        reach = entry.reach_ohm or self.ohm_reach(entry.pot_ohm, entry.ohms_digit_ohm)
        seen = Observation(entry.means or None, entry.pot_ohm, reach, entry.at_end)
        self.take(dataclasses.replace(self.session, search=update(search, step, seen)))

    # what came out

    def is_done(self) -> bool:
        """Source and all edges known, as narrow as wanted, nothing unseen that was not accepted."""
        state = self.session.search
        seen = progress(state)
        open_stretch = seen.unseen > max(state.resolution, state.accepted)
        known = seen.edges and seen.resolved == seen.edges and not seen.missing
        return bool(self.found.pulls is not None and known and not open_stretch)

    def has_result(self) -> bool:
        """There is something to write."""
        return self.found.pulls is not None or bool(windows_of(self.session.search))

    def design_after(self, before: str) -> tuple[str, str]:
        """The design's text with what was learned, and what keeps windows out of it ("" if nothing does).

        Parameters
        ----------
        before : str
            The file's text; the truck is from it.

        Raises
        ------
        LearnFault, DesignFault
            As `learned_text`.
        """
        session, line, found = self.session, self.line, self.found
        windows = windows_of(session.search) if session.search.visits else ()
        missing = missing_meanings(self.truck, line, windows)
        kept_out = ""
        if missing or not any(each.low or each.high for each in windows):
            if session.search.visits:
                kept_out = f"Windows not written; not surely known yet: {', '.join(missing) or 'any edge'}."
            windows = ()
        after = learned_text(
            before, self.truck, line, pulls=found.pulls,
            reference=reference_learned(session, found) if found.pulls else None,
            compares=session.told.get("compares", ""), windows=windows, note=note_of(session),
        )  # fmt: skip
        return after, kept_out


def plain(session: Session, found: Found, file: str, done: bool) -> dict[str, Any]:
    """Everything as JSON values."""
    state = session.search
    step = propose(state)
    return {
        "file": file,
        "line": session.line,
        "learned": done,
        "source": as_json(found.source),
        "pulls": as_json(found.pulls),
        "referral": as_json(found.referred),
        "strobed": found.strobed,
        "least_load_ohm": found.least_ohm,
        "why_not": found.why_not,
        "edges": [_edge(each) for each in edges(state)],
        "windows": as_json(windows_of(state)),
        "progress": as_json(progress(state)),
        "latching": list(state.latching),
        "next": as_json(step),
        "told": session.told,
    }


def _edge(edge: Edge) -> dict[str, Any]:
    return {**as_json(edge), "hysteresis": as_json(edge.hysteresis)}
