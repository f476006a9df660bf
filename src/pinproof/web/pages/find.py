"""The search for a fault: what was noticed, then one question at a time, and where it stands.

All that was told and answered stands in the address, so that loading it again, or on another device, loses nothing.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from pinproof.chain.bench import recent_texts
from pinproof.errors import PinproofError
from pinproof.find import SYMPTOMS, Diagnosis, Look, LookFault, Said, Seen, Session, as_json, read, recorded
from pinproof.find.meter_model import USUAL, meter_of
from pinproof.find.session import TOLD, mechanism_words
from pinproof.find.why import why
from pinproof.find.words import (
    AFTER,
    CANNOT_TELL,
    CAUTION,
    FIND_OUT_ELSEWHERE,
    SYMPTOM_WORDS,
    class_words,
    fuse_words,
    look_words,
    odds_words,
    percent,
    reading_words,
    repair_words,
    set_up_words,
    situation_words,
)
from pinproof.meter import load_instrument
from pinproof.pack.bench import pin_words
from pinproof.record import record_path
from pinproof.web.finding import Finding
from pinproof.web.page import Action, Ask, Done, Page, Parameter
from pinproof.web.pages.again import shown_again
from pinproof.web.pages.meter import METER_FILE, WRITTEN
from pinproof.web.searches import Search, Searches

OHM_KINDS = ("ohms", "chassis", "plus", "wire", "source", "without")
HOURS = (12.0, 48.0)
KNEW, READ, WIGGLED, LEFT, RECORD = "knew", "read", "wiggled", "left", "record"


@dataclass(frozen=True)
class Told:
    """Everything that the address says. `did` are answers in order, each "kind:text"."""

    line: str = ""
    symptoms: tuple[str, ...] = ()
    worked_on: tuple[str, ...] = ()
    is_new: bool = False
    without: tuple[str, ...] = ()
    did: tuple[str, ...] = ()
    goes_on: bool = False
    look: str = ""
    why: str = ""
    words: Mapping[str, str] = field(default_factory=dict)

    def query(self, **changed: Any) -> dict[str, str]:
        """The same as parameters of an address."""
        did = changed.get("did", self.did)
        return {
            "line": self.line, "told": ",".join(self.symptoms), "worked": ",".join(self.worked_on),
            "new": "1" if self.is_new else "", "no": ",".join(self.without), "did": ";".join(did), "go": "1",
            "look": changed.get("look", ""), "why": changed.get("why", ""),
        }  # fmt: skip


def told_of(ask: Ask, values: Mapping[str, Any]) -> Told:
    """What an address says; Finding for words that are none."""

    def several(name: str, sign: str = ",") -> tuple[str, ...]:
        return tuple(each.strip() for each in str(values.get(name, "")).split(sign) if each.strip())

    truck = ask.truck
    names = [line.id for line in truck.lines]
    line = str(values.get("line", "")) or (names[0] if len(names) == 1 else "")
    if line and line not in names:
        raise Finding(404, f'There is no line "{line[:60]}".', f"There are: {', '.join(names)}.", "line")
    symptoms = several("told")
    for each in symptoms:
        if each not in SYMPTOM_WORDS:
            raise Finding(422, f'"{each[:40]}" is no symptom.', f"There are: {', '.join(SYMPTOM_WORDS)}.", "told")
    places = places_of(ask)
    for each in several("worked"):
        if each not in places:
            raise Finding(422, f'"{each[:40]}" is no contact, device or station.', f"There are: {', '.join(places)}.")
    return Told(
        line, symptoms, several("worked"), bool(values.get("new")), several("no"), several("did", ";"),
        bool(values.get("go")) and bool(line), str(values.get("look", "")), str(values.get("why", "")),
    )  # fmt: skip


def places_of(ask: Ask) -> list[str]:
    """Where somebody can have worked: contacts, devices, stations."""
    truck = ask.truck
    found = {each.id for each in truck.contacts} | {each.id for each in truck.devices}
    return sorted(found | {each.station for each in truck.contacts if each.station})


def searches_of(ask: Ask) -> Searches:
    """The searches of this run of the server."""
    searches: Searches = ask.site.work.once(("searches",), Searches)
    return searches


def search_of(ask: Ask, told: Told) -> Search:
    """The engine's state for what was told; Finding if a value of the line is still to be chosen."""
    searches = searches_of(ask)
    path = ask.site.workspace.own(METER_FILE)
    instrument = load_instrument(path) if path.is_file() else None
    said = Said("new build" if told.is_new else "in service", frozenset(told.symptoms), frozenset(told.worked_on))
    base = (ask.design.hash, told.line, Said(), repr(instrument))

    def make() -> Diagnosis:
        known = searches.known(base)
        if known is not None:
            return known.diagnosis.told(said)
        try:
            meter = meter_of(instrument) if instrument is not None else USUAL
            return Diagnosis(ask.truck, told.line, said, None, meter)
        except ValueError as fault:
            raise Finding(
                422, f"Faults cannot be searched yet: {fault}.", "Choose or measure it first.", told.line
            ) from None

    return searches.of((ask.design.hash, told.line, said, repr(instrument)), make)


def session_of(ask: Ask, told: Told, search: Search) -> Session:
    """The search with every answer of the address."""
    session = Session(search.diagnosis)
    if "display" in told.without:
        session = session.leaving_out("meaning")
    if "meter" in told.without:
        session = session.leaving_out(*OHM_KINDS, "volts")
    for each in told.did:
        session = _after(ask, session, each)
    return session


def _after(ask: Ask, session: Session, did: str) -> Session:
    kind, _, text = did.partition(":")
    diagnosis = session.diagnosis
    if kind == LEFT:
        return session.leaving_out(diagnosis.look(text).id)
    if kind == KNEW:
        return session.told(read(diagnosis, text))
    if kind in (READ, WIGGLED):
        return session.adding(read(diagnosis, text, wiggled=kind == WIGGLED))
    if kind == RECORD:
        return session.adding(*(read(diagnosis, each) for each in text.split("|") if each))
    raise Finding(422, f'"{did[:60]}" in the address is no answer.', "Go back to the beginning of the search.", "did")


def result(ask: Ask) -> dict[str, Any]:
    """What can be told; once the search goes on, where it stands, as the command gives it."""
    told = told_of(ask, ask.values)
    plain = {"design": ask.design.name, "hash": ask.design.hash, "symptoms": told.symptoms, "line": told.line}
    if not told.goes_on:
        return {**plain, "search": None, "could_be_told": [each for each in SYMPTOMS if each in SYMPTOM_WORDS]}
    search = search_of(ask, told)
    session = session_of(ask, told, search)
    return {**plain, "search": as_json(session, search.advice(session))}


def context(ask: Ask, found: Any) -> Mapping[str, Any]:
    """The toggles, or the question with what everything would look like there."""
    told = told_of(ask, ask.values)
    common = {
        "told": told, "wrong": "", "then": "", "typed": "", "battery": "", "unit": "", "care": CAUTION,
        "symptoms": [(key, *SYMPTOM_WORDS[key]) for key in SYMPTOM_WORDS],
    }  # fmt: skip
    if not told.goes_on:
        return {**common, "stage": "begin", **_beginning(ask, told)}
    search = search_of(ask, told)
    session = session_of(ask, told, search)
    return {**common, **_standing(ask, told, search, session)}


def _beginning(ask: Ask, told: Told) -> dict[str, Any]:
    truck = ask.truck
    rows: list[dict[str, Any]] = []
    for line in truck.lines:
        if told.line not in ("", line.id):
            continue
        try:
            search = search_of(ask, Told(line.id))
            diagnosis = search.diagnosis
            if not ask.is_json:
                searches_of(ask).ahead(search)
        except PinproofError as fault:
            rows.append({"line": line.id, "name": line.name or line.id, "fault": str(fault), "tries": (), "words": ()})
            continue
        tries = [
            (each.id.removeprefix("meaning "), situation_words(each)) for each in diagnosis.looks
            if each.kind == "meaning"
        ]  # fmt: skip
        words = diagnosis.reports.words if diagnosis.reports else ()
        rows.append({"line": line.id, "name": line.name or line.id, "fault": "", "tries": tries, "words": words})
    return {
        "rows": rows,
        "places": places_of(ask),
        "hours": HOURS,
        "has_record": record_path(ask.design.path).exists(),
        "usable": [each["line"] for each in rows if not each["fault"]],
    }


def _standing(ask: Ask, told: Told, search: Search, session: Session) -> dict[str, Any]:
    diagnosis, line, all_of = session.diagnosis, session.diagnosis.view.line, session.diagnosis.hypotheses
    advice = search.advice(session)
    winner = session.winner(advice.posterior)
    shows = {each.name: each.shows for each in advice.outlooks}
    chosen = _chosen(session, told) or (advice.step.look if advice.step is not None else None)
    own = advice.step is not None and chosen is not None and chosen.id == advice.step.look.id
    shown = [each for each in advice.posterior.classes if each.probability >= TOLD]
    shown = shown or list(advice.posterior.classes[:1])
    classes = [
        {
            "name": each.name, "words": class_words(all_of, each.name), "p": each.probability,
            "percent": percent(each.probability), "odds": odds_words(each.probability),
            "mechanisms": "" if each.name in FIND_OUT_ELSEWHERE
            else mechanism_words(all_of, each.name, advice.posterior),
            "repair": repair_words(all_of, each.name, line), "shows": shows.get(each.name, "") if own else "",
            "because": ask.address("find", **told.query(why=each.name, look=told.look), fragment="why"),
        }
        for each in shown
    ]  # fmt: skip
    reasons: tuple[Any, ...] = ()
    if told.why:
        if told.why not in {each.name for each in advice.posterior.classes}:
            raise Finding(404, f'"{told.why[:60]}" is not among the causes.', "Choose one from the list.", "why")
        reasons = search.once(("why", told.why, session.seen), lambda: why(session, told.why))
    seen = [
        (
            look_words(each.look, line), reading_words(each), each.wiggled,
            ask.address("find", **told.query(look=each.look.id)),
        )
        for each in session.seen
    ]  # fmt: skip
    minutes = chosen.minutes(session.now) if chosen is not None else 0.0
    offered = {each.look.id: each.gain_bits for each in (advice.step, *advice.other_steps) if each is not None}
    gain = offered.get(chosen.id) if chosen is not None else None
    return {
        "stage": advice.state if not (advice.state != "look" and _chosen(session, told)) else "look",
        "advice": advice, "winner": class_words(all_of, winner) if winner else "", "classes": classes,
        "rest": 1.0 - sum(each.probability for each in shown), "percent": percent, "seen": seen,
        "look": _look(diagnosis, chosen, line) if chosen is not None else None, "minutes": minutes, "gain": gain,
        "own": own, "others": [
            (look_words(each.look, line), each.minutes, ask.address("find", **told.query(look=each.look.id)))
            for each in advice.other_steps
        ],
        "back": _undone(ask, told), "reasons": reasons,
        "why_words": class_words(all_of, told.why) if told.why else "", "after": AFTER, "cannot_tell": CANNOT_TELL,
        "line_name": line.name or line.id, "anew": ask.address("find", line=told.line), "state": told.query(),
        "moves": session.now != (chosen.set_up if chosen is not None else session.now),
    }  # fmt: skip


def _chosen(session: Session, told: Told) -> Look | None:
    return session.diagnosis.look(told.look) if told.look else None


def _look(diagnosis: Diagnosis, look: Look, line: Any) -> dict[str, Any]:
    return {
        "id": look.id, "words": look_words(look, line), "setup": set_up_words(look), "hand": situation_words(look),
        "kind": "word" if look.kind == "meaning" else "ohms" if look.is_ohms else "volts",
        "pin": "" if look.kind in ("meaning", "wire", "source") else pin_words(diagnosis.view),
        "fuse": fuse_words(look, line),
        "answers": diagnosis.reports.words if look.kind == "meaning" and diagnosis.reports else (),
    }  # fmt: skip


def _undone(ask: Ask, told: Told) -> str:
    """Address of the search before the last answer; the toggles if there was none."""
    if told.did:
        return ask.address("find", **told.query(did=told.did[:-1]))
    return ask.address("find", line=told.line)


# what can be done


def _begin(ask: Ask) -> Done:
    """The search begins with what was noticed and what was seen already."""
    form = ask.form
    told = [each for each in SYMPTOM_WORDS if form.get(each)]
    worked = [name.removeprefix("worked:") for name in form if name.startswith("worked:")]
    without = [name for name in ("display", "meter") if form.get(f"no-{name}")]
    line = ask.text("line")
    did = [
        f"{KNEW}:meaning {name.partition('/')[2]}={value}" for name, value in form.items()
        if name.startswith(f"saw:{line}/") and value
    ]  # fmt: skip
    values = {
        "line": line, "told": ",".join(told), "worked": ",".join(worked), "no": ",".join(without),
        "new": "1" if "never-worked" in told else "", "did": ";".join(did), "go": "1",
    }  # fmt: skip
    if not line and len(ask.truck.lines) > 1:
        raise Finding(422, "The file has several lines.", "Say which one misbehaves.", "line")
    state = told_of(ask, values)
    search = search_of(ask, state)
    hours = ask.text("recorded")
    if hours:
        kept = _from_record(ask, search, hours)
        state = told_of(ask, {**state.query(), "did": ";".join([*did, *kept])})
    session = session_of(ask, state, search)
    return Done(as_json(session, search.advice(session)), ask.address("find", **state.query()))


def _from_record(ask: Ask, search: Search, hours: str) -> list[str]:
    path = ask.site.workspace.own(record_path(ask.design.path))
    if not path.exists():
        return []
    try:
        number = float(hours)
    except ValueError:
        raise Finding(422, f'"{hours[:20]}" is no number of hours.', "As 12.", "recorded") from None
    texts = recent_texts(path, ask.truck.id, number)
    found = recorded(search.diagnosis, texts)
    return [f"{RECORD}:" + "|".join(f"{each.look.id}={_as_typed(each)}" for each in found)] if found else []


def _as_typed(seen: Seen) -> str:
    if seen.meaning is not None:
        return seen.meaning
    if seen.ohm is not None:
        return "OL" if seen.ohm == float("inf") else f"{seen.ohm:.10g} ohm"
    return f"{seen.pin_v:.10g} V at {seen.supply_v:.10g} V"


def _answer(ask: Ask) -> Done:
    """One more answer, or one thing that cannot be looked at."""
    told = told_of(ask, ask.form)
    look = ask.text("at")
    address = ask.address("find", **told.query(look=look))
    search = search_of(ask, told)
    try:
        if ask.text("leave"):
            did = f"{LEFT}:{search.diagnosis.look(look).id}"
        else:
            text = f"{look}={_typed(ask)}"
            kind = WIGGLED if ask.text("wiggled") else READ
            read(search.diagnosis, text)
            did = f"{kind}:{' '.join(text.split()).replace(';', ',')}"
    except LookFault as fault:
        fields = {name: ask.text(name) for name in ("typed", "battery", "unit")}
        raise shown_again(ask, address, fault, fields) from None
    state = told_of(ask, {**told.query(), "did": ";".join((*told.did, did))})
    session = session_of(ask, state, search)
    return Done(as_json(session, search.advice(session)), ask.address("find", **state.query()))


def _typed(ask: Ask) -> str:
    if ask.text("press"):
        return ask.text("press")
    typed, battery, unit = (ask.text(name).strip() for name in ("typed", "battery", "unit"))
    if not typed:
        raise LookFault("", "nothing was typed", "Type what the display shows, or leave this question out.")
    bare = not any(each.isalpha() or each == "Ω" for each in typed)
    if battery:
        return f"{typed} at {battery}"
    if bare and unit in WRITTEN:
        return typed + WRITTEN[unit]
    if bare and ask.text("at").partition(" ")[0] in OHM_KINDS:
        raise LookFault(typed, "the unit is missing", "Press Ω, kΩ or MΩ, as the display shows it.")
    return typed


STATE = (
    Parameter("line", "Which line."), Parameter("told", f"Symptoms, with commas: {', '.join(SYMPTOM_WORDS)}."),
    Parameter("worked", "Contacts, devices or stations somebody just worked on, with commas."),
    Parameter("new", "1 if the truck has never worked."),
    Parameter("no", "What is not at hand: display, meter."),
    Parameter("did", "Answers in order, with semicolons: knew:, read:, wiggled: or record: before LOOK=READING, left: "
              "before a look that cannot be done."),
    Parameter("go", "1 once the questions have begun."),
)  # fmt: skip
PAGE = Page(
    "find", "/d/{design}/find", "Find the fault",
    "What is wrong, what shall be looked at next, and how sure is that?",
    result, "find.html", context, links=("repair",),
    parameters=(
        *STATE, Parameter("look", "Another look than the one proposed."), Parameter("why", "A class to explain."),
    ),
    actions=(
        Action(
            "begin", "Begins a search with what was noticed.", _begin,
            (
                Parameter("line", "Which line."),
                *(Parameter(key, f"1: {SYMPTOM_WORDS[key][1]}") for key in SYMPTOM_WORDS),
                Parameter("no-display", "1: nothing shows what the controller reports."),
                Parameter("no-meter", "1: no meter at hand."),
                Parameter("recorded", "Also take what was kept on record in so many hours."),
            ),
        ),
        Action(
            "answer", "Takes one answer and asks the next question.", _answer,
            (
                *STATE, Parameter("at", "The look that was asked for.", required=True),
                Parameter("typed", "The reading."), Parameter("battery", "The battery's volts, for a look at volts."),
                Parameter("unit", "The unit of a bare number.", words=tuple(WRITTEN)),
                Parameter("press", "A reading that is a word: OL, or what the controller reports."),
                Parameter("leave", "1: this cannot be looked at."), Parameter("wiggled", "1: wiggled while reading."),
            ),
        ),
    ),
)  # fmt: skip
