"""Twelve questions in shop words, and what each answer means.

Answers: which question comes next, what an answer says, why an answer cannot be used.
Touches: nothing. It neither prints nor asks; a face does.
Rule:    an empty answer, "?" or "don't know" is always an answer. No text, however odd, ends in anything but a value or
         an `AnswerFault`.
Beside:  `sheet` turns the answers into a design file.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

from pinproof.design.model import BASES
from pinproof.design.starter import Stated
from pinproof.errors import PinproofError, QuantityFault, printable
from pinproof.quantities import parse, parse_span
from pinproof.quantities.preferred import SERIES, usual_tolerance

Answers = Mapping[str, Any]
"""Question key to what was understood; None is "don't know"."""

LONGEST_ANSWER = 400
LONGEST_NAME = 60
DONT_KNOW = frozenset(
    {"", "?", "-", "dk", "unknown", "don't know", "dont know", "do not know", "no idea", "not known", "nothing known"}
)
IDLE_WORDS = frozenset({"automatic", "auto", "idle", "nothing", "none", "released", "off", "rest", "drive"})
MEANING_WORDS = {
    "+": "up", "plus": "up", "upshift": "up", "shift up": "up", "u": "up", "tap up": "up",
    "-": "down", "minus": "down", "downshift": "down", "shift down": "down", "dn": "down", "tap down": "down",
    "m": "manual", "man": "manual", "enable": "manual", "manual slot": "manual", "slot": "manual",
}  # fmt: skip


@dataclass
class AnswerFault(PinproofError):
    """An answer that cannot be used: what was read, and what would be right."""

    question: str
    message: str

    def __str__(self) -> str:
        return printable(self.message)


@dataclass(frozen=True)
class Entry:
    """One meaning of a list: a single reading (`high` empty) or a window.

    `kind` is "ohm", "volt", "ratio" or "open".
    """

    meaning: str
    kind: str
    low: str
    high: str = ""


@dataclass(frozen=True)
class WantList:
    """What the pin wants, as somebody listed it; `pull` is the pull the list is said to assume, or ""."""

    entries: tuple[Entry, ...]
    pull: str = ""

    @property
    def kind(self) -> str:
        """Kind of its readings; "open" does not count."""
        return next((each.kind for each in self.entries if each.kind != "open"), "ohm")

    @property
    def meanings(self) -> tuple[str, ...]:
        """Meanings in the order of the list."""
        return tuple(each.meaning for each in self.entries)


@dataclass(frozen=True)
class Parts:
    """Resistors that can be got: a series with a tolerance, or a file with a drawer.

    `guessed` names what was not said and was taken: "series" or "tolerance".
    """

    series: str = ""
    tolerance: str = ""
    drawer: str = ""
    at_hand: bool = False
    guessed: str = ""

    @property
    def text(self) -> str:
        """What was understood, with what was not said."""
        if self.drawer:
            return f"your drawer {self.drawer}"
        why = {"series": f"no series was named, {self.series} is usual for {self.tolerance}",
               "tolerance": f"no tolerance was named, {self.tolerance} is usual for {self.series}"}  # fmt: skip
        said = f" ({why[self.guessed]})" if self.guessed else ""
        return f"{self.series} {self.tolerance}{', all at hand' if self.at_hand else ''}{said}"


@dataclass(frozen=True)
class Question:
    """One question. `options` are the answers that may be given by number; others may be typed if `free`."""

    key: str
    ask: str
    more: tuple[str, ...]
    read: Callable[[str], Any]
    options: tuple[tuple[str, str], ...] = ()
    needed: Callable[[Answers], bool] = lambda answers: True


def is_dont_know(text: str) -> bool:
    """True for every way of saying "don't know"."""
    return " ".join(text.lower().replace("’", "'").split()) in DONT_KNOW


def understand(question: Question, text: str) -> Any:
    """What an answer says; None is "don't know".

    Raises
    ------
    AnswerFault
        The text cannot be used; its message says what would be right.
    """
    if is_dont_know(text):
        return None
    if len(text) > LONGEST_ANSWER:
        raise AnswerFault(question.key, f"That is {len(text)} characters long; {LONGEST_ANSWER} is the most.")
    try:
        return question.read(text.strip())
    except QuantityFault as fault:
        raise AnswerFault(question.key, f"{fault}") from None


# reading single answers


def _name(text: str) -> str:
    clean = " ".join("".join(sign for sign in text if sign.isprintable()).split())
    if not clean:
        raise AnswerFault("name", "That holds no letters. Give any name, or leave it empty.")
    return clean[:LONGEST_NAME]


def _one_of(key: str, options: tuple[tuple[str, str], ...], also: Mapping[str, str]) -> Callable[[str], str]:
    def read(text: str) -> str:
        word = " ".join(text.lower().replace("_", " ").split())
        if word.isdecimal() and 1 <= int(word[:4]) <= len(options) and len(word) <= 4:
            return options[int(word) - 1][0]
        for value, said in options:
            if word in (value, said.lower()):
                return value
        if word in also:
            return also[word]
        numbers = ", ".join(str(n + 1) for n in range(len(options) - 1))
        words = ", ".join(f'"{value}"' for value, _ in options)
        raise AnswerFault(key, f'"{text[:60]}" is none of them. Answer {numbers} or {len(options)}, or {words}, or ?.')

    return read


def _controls(text: str) -> tuple[str, ...]:
    words = {"1": "slot", "2": "lever", "3": "wheel", "manual": "slot", "gate": "slot", "steering wheel": "wheel",
             "paddles": "wheel", "taps": "lever", "all": "slot,lever,wheel"}  # fmt: skip
    found: list[str] = []
    for part in re.split(r"[,;+&]|\band\b|\s{2,}", text.lower()):
        word = " ".join(part.split())
        if not word:
            continue
        pieces = word.split() if word not in words and all(each.isdecimal() for each in word.split()) else [word]
        for each in pieces:
            found += words.get(each, each).split(",")
    wrong = [each for each in found if each not in ("slot", "lever", "wheel")]
    if wrong or not found:
        shown = f'"{wrong[0][:60]}" is none of them. ' if wrong else ""
        raise AnswerFault("controls", f'{shown}Answer with numbers, such as 1,2,3, or words, such as "slot, wheel".')
    return tuple(each for each in ("slot", "lever", "wheel") if each in found)


def split_basis(text: str) -> tuple[str, str | None]:
    """An answer and the basis at its end: "1 kohm measured" is "1 kohm", "measured"."""
    hit = re.search(r"[\s,(]*\b(measured|published|borrowed|assumed|guess|guessed)\b\W*$", text, re.IGNORECASE)
    if hit is None:
        return text.strip(), None
    word = hit[1].lower()
    return text[: hit.start()].strip(), word if word in BASES else "assumed"


def _pull(text: str) -> tuple[Stated, str | None]:
    body, basis = split_basis(text)
    hit = re.search(r"[\s,]*(?:±|\+/-|\+-)?\s*([0-9.,]+\s*%)\s*$", body)
    tolerance = None
    if hit is not None:
        tolerance, body = hit[1].strip(), body[: hit.start()].strip()
        if not 0.0 <= parse(tolerance, "tolerance") < 1.0:
            raise AnswerFault("pull", f'A tolerance of {tolerance} cannot be. Write it as in "1 kohm 5 %".')
    if parse(body, "resistance", allow_milli=False) <= 0.0:
        raise AnswerFault("pull", 'A pull has more than 0 ohms. Write it as in "1 kohm 5 %", or ?.')
    return Stated(body, basis or "assumed"), tolerance  # type: ignore[arg-type]


def _range(key: str, dimension: str, unit: str) -> Callable[[str], Stated]:
    def read(text: str) -> Stated:
        body, basis = split_basis(text)
        try:
            low, high = parse_span(body, dimension)
        except QuantityFault as fault:
            if dimension == "temperature" and re.fullmatch(r"[\d\s.,+−–-]+(?:to[\d\s.,+−–-]+)?", body):
                raise AnswerFault(key, f'"{body}" in which degrees? Write "{body} °C" or "{body} °F".') from None
            try:
                low, high = parse_span(f"{body} {unit}", dimension)
            except QuantityFault:
                raise AnswerFault(key, str(fault)) from None
        text = f"{low:.6g} {unit} to {high:.6g} {unit}"
        if dimension == "temperature" and re.search(r"°?\s*F$", body):  # as it was said
            text = f"{low * 1.8 + 32.0:.6g} °F to {high * 1.8 + 32.0:.6g} °F"
        return Stated(text, basis or "assumed")  # type: ignore[arg-type]

    return read


_AT_HAND = re.compile(r"\b(?:assortment|at hand|have|got|own|box|kit|set|drawer|shelf|stock)\b", re.IGNORECASE)
_PARTS_EXAMPLE = (
    f'Write the series ({", ".join(SERIES)}) and the tolerance, as in "E24 1 %"; before it "have" if you have them '
    "all. The lid of an assortment says how many values a decade has: 12 is E12, 24 is E24, 96 is E96. Or write the "
    "name of your drawer file, as in drawer.toml."
)


def _parts(text: str) -> Parts:
    if re.search(r"\.(toml|csv)$", text, re.IGNORECASE):
        return Parts(drawer=text)
    series = re.search(r"\be\s?(192|96|48|24|12|6|3)\b", text, re.IGNORECASE)
    tolerance = re.search(r"([0-9]+(?:[.,][0-9]+)?)\s*(?:%|percent\b)", text, re.IGNORECASE)
    at_hand = _AT_HAND.search(text) is not None
    if series is None and (at_hand or tolerance is None):
        what = "says that parts lie at hand, but not of which series" if at_hand else "names no series and no tolerance"
        raise AnswerFault("parts", f'"{text[:60]}" {what}. {_PARTS_EXAMPLE}')
    given = f"{tolerance[1].replace(',', '.')} %" if tolerance is not None else ""
    if given and not 0.0 < parse(given, "tolerance") <= 0.2:
        raise AnswerFault("parts", f"Resistors of {given} cannot be meant; 0.1 to 20 % are sold.")
    name = f"E{series[1]}" if series is not None else ("E24" if parse(given, "tolerance") > 0.02 else "E96")
    usual = f"{usual_tolerance(name) * 100:g} %"
    guessed = "series" if series is None else "" if given else "tolerance"
    return Parts(series=name, tolerance=given or usual, at_hand=at_hand, guessed=guessed)


def read_list(text: str) -> WantList:
    """ "up 2.88k, down 1.27k, manual 8.25k with 1k" as meanings and readings.

    Raises
    ------
    AnswerFault
        An entry cannot be read, kinds are mixed, or a meaning stands twice.
    """
    body, pull = text, ""
    hit = re.search(r"\bwith\s+(?:a\s+)?(?:pull(?:[- ]?(?:up|down))?\s+)?(?:of\s+)?(\S[^,;]*)$", body, re.IGNORECASE)
    if hit is not None:
        pull, body = hit[1].strip(), body[: hit.start()].rstrip(" ,;")
        if parse(pull, "resistance", allow_milli=False) <= 0.0:
            raise AnswerFault("list", "The pull of a list has more than 0 ohms.")
    entries = [_entry(part.strip()) for part in re.split(r"[;\n]|,(?!\d)", body) if part.strip()]
    if not entries:
        raise AnswerFault("list", f"Nothing is listed there. {_LIST_EXAMPLE}")
    kinds = {each.kind for each in entries} - {"open"}
    if len(kinds) > 1:
        raise AnswerFault("list", f"The list mixes ohms, volts and percent. Use one kind. {_LIST_EXAMPLE}")
    if not kinds:
        raise AnswerFault("list", f"Only open is listed; say what a press gives. {_LIST_EXAMPLE}")
    if any(each.high for each in entries) and not all(each.high or each.kind == "open" for each in entries):
        raise AnswerFault("list", "Some entries are ranges and some are single readings. Use one kind for all.")
    twice = next((m for m in (each.meaning for each in entries) if [e.meaning for e in entries].count(m) > 1), None)
    if twice is not None:
        raise AnswerFault("list", f'"{twice}" stands there twice. Keep one.')
    if pull and kinds != {"ohm"}:
        raise AnswerFault("list", '"with …" belongs to a list in ohms. Leave it out.')
    return WantList(tuple(entries), pull)


_LIST_EXAMPLE = 'Write it as in "up 2.88k, down 1.27k, manual 8.25k".'
_ENTRY = re.compile(
    r"([+-]|[^\d=:.]*?[^\d=:.\s])\s*(?:=|:|\s|(?<=[+-]))\s*((?:(?:[\d.]|o(?=[\d.])).*)|open|short|∞)$", re.IGNORECASE
)
_END_WORDS = r"(?:(?:up\s+)?to|below|under|at\s+most|max\.?)"
_UP_TO = re.compile(rf"([^\d=:]*?[^\d=:\s])(?:\s*[=:]\s*|\s+){_END_WORDS}\s+(?=[\d.o])", re.IGNORECASE)
_RAIL = {"ohm": "0 ohm", "volt": "0 V", "ratio": "0 %"}
_MEANING = re.compile(r"[^\W_](?:[\w+/ -]*[\w+/-])?")
_KINDS = (("ohm", "resistance"), ("volt", "voltage"), ("ratio", "ratio"))


def _entry(text: str) -> Entry:
    up_to = _UP_TO.match(text)  # a range with its upper end alone begins at the rail
    hit = _ENTRY.match(text if up_to is None else f"{up_to[1]} {text[up_to.end() :]}")
    if hit is None or re.fullmatch(_END_WORDS, hit[1].strip(), re.IGNORECASE):
        raise AnswerFault("list", f'"{text[:60]}" is not a command and its reading. {_LIST_EXAMPLE}')
    word = " ".join(hit[1].lower().split())
    if word == "d":
        raise AnswerFault("list", 'Is "d" down or drive? Write "down" or "automatic".')
    meaning = "automatic" if word in IDLE_WORDS else MEANING_WORDS.get(word, word)
    if not _MEANING.fullmatch(meaning) or meaning == "invalid" or len(meaning) > LONGEST_NAME:
        raise AnswerFault("list", f'"{word[:60]}" cannot be the name of a command. {_LIST_EXAMPLE}')
    value = hit[2].strip()
    if value.lower() in ("open", "∞"):
        return Entry(meaning, "open", "open")
    if value.lower() == "short":
        return Entry(meaning, "ohm", "0 ohm")
    if re.fullmatch(r"[\d.,]+", value):
        raise AnswerFault("list", f'{value} of what? Write "{value} ohm", "{value} V" or "{value} %".')
    first: QuantityFault | None = None
    for kind, dimension in _KINDS:
        try:
            parse(value, dimension, allow_milli=False)
        except QuantityFault as fault:
            if first is None or ("?" in fault.hint and "?" not in first.hint and not first.readings):
                first = fault  # what asks back tells more than what only refuses
        else:
            return Entry(meaning, kind, value) if up_to is None else Entry(meaning, kind, _RAIL[kind], value)
    for kind, dimension in _KINDS:
        try:
            low, high = parse_span(value, dimension)
        except QuantityFault:
            continue
        unit, scale = {"ohm": ("ohm", 1.0), "volt": ("V", 1.0), "ratio": ("%", 100.0)}[kind]
        return Entry(meaning, kind, f"{low * scale:.10g} {unit}", f"{high * scale:.10g} {unit}")
    raise AnswerFault("list", f"{meaning}: {first}")


# the questions

_SWITCHED = (
    ("fuse", "12 V through a fuse"),
    ("chassis", "chassis ground"),
    ("sensor ground", "the controller's own sensor ground"),
    ("5 V", "the controller's 5 V sensor supply"),
)
_SWITCHED_WORDS = {
    "12 v": "fuse", "12v": "fuse", "battery": "fuse", "supply": "fuse", "plus": "fuse", "12 v from a fuse": "fuse",
    "ground": "chassis", "earth": "chassis", "gnd": "chassis", "minus": "chassis", "sensor": "sensor ground",
    "5v": "5 V", "5 v": "5 V", "reference": "5 V", "sensor supply": "5 V",
}  # fmt: skip
_FED = (
    ("through enable", "through the manual slot's switch: dead while the lever is in automatic"),
    ("directly", "on their own: they get power or ground in every lever position"),
)
_FED_WORDS = {"through": "through enable", "through manual": "through enable", "slot": "through enable",
              "direct": "directly", "own": "directly", "on their own": "directly"}  # fmt: skip
_LIST_IS = (
    ("total", "what a meter shows at the wire in that state, everything else included"),
    ("parts", "the resistors to solder, one per switch"),
)
_WHOSE = (
    ("measured", "measured on this truck"),
    ("published", "the maker's paper"),
    ("borrowed", "from another truck"),
    ("assumed", "a guess"),
)
_WHOSE_WORDS = {"this truck": "measured", "maker": "published", "paper": "published", "another truck": "borrowed",
                "stranger": "borrowed", "forum": "borrowed", "friend": "borrowed", "guess": "assumed"}  # fmt: skip
_COMPARES = (
    ("battery", "with its own supply: the shown reading stays when the engine starts"),
    ("volts", "as plain volts: the shown reading moves with the supply"),
)
_COMPARES_WORDS = {"supply": "battery", "ratio": "battery", "stays": "battery", "moves": "volts", "plain": "volts"}


def _has(answers: Answers, *controls: str) -> bool:
    found = answers.get("controls")
    return found is None or any(each in found for each in controls)


def _slot_beside_taps(answers: Answers) -> bool:
    listed = answers.get("list")
    return (
        listed is not None
        and listed.kind == "ohm"
        and "manual" in listed.meanings
        and not any(each.high for each in listed.entries)
        and _has(answers, "slot")
        and _has(answers, "lever", "wheel")
    )


QUESTIONS: tuple[Question, ...] = (
    Question("name", "What is the truck called?", (), _name),
    Question(
        "switched", "When a button is pressed, what does it connect the coded wire to?", (),
        _one_of("switched", _SWITCHED, _SWITCHED_WORDS), _SWITCHED,
    ),
    Question(
        "controls", "Which controls are on this wire?", ("Several may be given, as in 1,2,3.",), _controls,
        (("slot", "the lever has a manual slot with a switch"),
         ("lever", "taps on the lever, in that slot if there is one"),
         ("wheel", "taps on the steering wheel")),
    ),
    Question(
        "taps-fed", "Where do the taps get their power or ground?", (), _one_of("taps-fed", _FED, _FED_WORDS), _FED,
        lambda answers: _has(answers, "slot") and _has(answers, "lever", "wheel"),
    ),
    Question(
        "list", "What does the pin want for each command?",
        ("Ohms, volts or percent, as in: up 2.88k, down 1.27k, manual 8.25k",
         "If it says what nothing pressed reads, add that: rest 4.7k, or rest open.",
         "A range is fine (up 2.7k to 3.05k). If the list names a pull, add it at the end: with 1k"), read_list,
    ),
    Question(
        "list-is", "What are the ohms of that list?", (),
        _one_of("list-is", _LIST_IS, {"totals": "total", "part": "parts", "resistors": "parts"}), _LIST_IS,
        _slot_beside_taps,
    ),
    Question(
        "whose", "Whose list is it?", (), _one_of("whose", _WHOSE, _WHOSE_WORDS), _WHOSE,
        lambda answers: answers.get("list") is not None,
    ),
    Question(
        "pull", "What is known of the resistor inside the controller at this pin?",
        ('As in: 1 kohm 5 %. Add "measured" or "published" if it is. Most people do not know it.',), _pull,
    ),
    Question(
        "compares", "How does the controller judge this pin?", (),
        _one_of("compares", _COMPARES, _COMPARES_WORDS), _COMPARES,
        lambda answers: answers.get("switched") == "fuse",
    ),
    Question(
        "supply", "Lowest and highest supply at the controller, engine running?",
        ('As in: 10.5 to 15.2 V. Add "measured" if you did.',), _range("supply", "voltage", "V"),
    ),
    Question(
        "temperature", "Coldest and hottest at the switches?", ("As in: -10 to 60 °C, or 14 to 140 °F.",),
        _range("temperature", "temperature", "°C"),
    ),
    Question(
        "parts", "Which resistors have you, or can you get?",
        ("As in: E24 1 %, or have E24 1 % if an assortment of them lies at hand.",
         "Or the name of your drawer file (drawer.toml)."), _parts,
    ),
)  # fmt: skip


def question(key: str) -> Question:
    """The question of this key; KeyError if there is none."""
    return next(each for each in QUESTIONS if each.key == key)
