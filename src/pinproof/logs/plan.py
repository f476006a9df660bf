"""The test plan: what to press and drive so that every check that is not shown gets its answer.

Answers: what is to be done at standstill, what on a slow drive, what does the driver have to know?
Units:   minutes; speeds in the words of `pinproof gears`.
Touches: nothing.
Sources: numbers of taps from the exact limits in `confidence`; the order and the cautions: common practice, no source.
"""

from __future__ import annotations

from dataclasses import dataclass

from pinproof.design.model import Contact, Truck
from pinproof.driveline import DriveSums, drive_sums
from pinproof.driveline.lines import permitted
from pinproof.logs import limits
from pinproof.logs.checks import CHECKS
from pinproof.logs.confidence import time_for, tries_for
from pinproof.logs.results import LogReport
from pinproof.verdict import Verdict

EACH = 20  # presses of each button at standstill: so many settled readings are asked for
DRIVE_TAPS = 30  # up and down each: together more than the 59 that show under 5 %
STANDING = (
    "Wheels chocked, brake on, lever in park between steps, engine off, key on; watch the battery.",
    "Nobody under or in front of the truck. The selected gear can roll it: keep the brake on all through.",
    "A second person reads the log's display and writes; the one at the lever only presses.",
)
DRIVING = (
    "An empty, level, closed area. Belts on, helmet as the event asks, nobody in the way, a slow speed agreed before.",
    "A second person counts and writes. The driver looks ahead and never at a screen.",
    "Know the way back to automatic before the first tap, and try it while rolling slowly.",
    "Stop at once if the gearbox shifts unasked, slips, flares, or a refused downshift is carried out.",
    "The event's rules, local law and the gearbox maker's limits come first. This is a design aid, not an approval.",
)


@dataclass(frozen=True)
class PlanStep:
    """One thing to do. `proves` are the checks that it answers."""

    text: str
    proves: tuple[str, ...]
    minutes: float


@dataclass(frozen=True)
class Session:
    """Steps that are done together."""

    title: str
    cautions: tuple[str, ...]
    steps: tuple[PlanStep, ...]
    record: tuple[str, ...]  # channels, and how often


@dataclass(frozen=True)
class Plan:
    """All sessions, the driver's half page, and the script to fill in."""

    truck: str
    name: str
    sessions: tuple[Session, ...]
    briefing: tuple[str, ...]
    script: str
    open: tuple[str, ...]  # checks that wait
    unanswered: dict[str, str]  # checks that no step of this plan can answer, with the reason

    @property
    def minutes(self) -> float:
        """How long it takes."""
        return sum(step.minutes for session in self.sessions for step in session.steps)


def test_plan(truck: Truck, report: LogReport | None = None) -> Plan:  # noqa: PT028
    """What is to be done.

    Parameters
    ----------
    truck : Truck
    report : LogReport, optional
        With one, only what is still open in it.
    """
    waits = tuple(CHECKS) if report is None else tuple(e.check for e in report.checks if e.verdict is Verdict.NOT_SHOWN)
    sessions: list[Session] = []
    told: dict[tuple[str, ...], str] = {}  # cautions, and where they stand in full
    for session in (_standing(truck), _hands_off(), _driving(truck), _edges(truck)):
        steps = tuple(step for step in session.steps if any(check in waits for check in step.proves))
        if steps:
            first = told.setdefault(session.cautions, session.title)
            cautions = session.cautions if first == session.title else (f'All that stands under "{first}".',)
            sessions.append(Session(session.title, cautions, steps, session.record))
    answered = {check for session in sessions for step in session.steps for check in step.proves}
    if report is None:
        answered.add("time-base")  # any of these logs shows it
    left = {check: _why(truck, check) for check in waits if check not in answered}
    return Plan(truck.id, truck.name, tuple(sessions), _briefing(truck), _script(truck), waits, left)


test_plan.__test__ = False  # type: ignore[attr-defined]


def _taps(truck: Truck) -> list[Contact]:
    return [each for each in truck.contacts if each.action == "momentary" and each.asks in ("up", "down")]


def _called(contact: Contact) -> str:
    return contact.name or contact.id.replace("_", " ")


def _standing(truck: Truck) -> Session:
    steps = [
        PlanStep(
            "Start the log. Lever from park through every detent to the last and back, two seconds in "
            "each; say each name.",
            ("detents", "lever-code"),
            3.0,
        ),
        PlanStep(
            "Lever to manual, wait two seconds, tap once; back. Five times.", ("manual-engages", "lever-code"), 3.0
        ),
    ]
    for contact in _taps(truck):
        steps.append(
            PlanStep(
                f"Lever in manual. Press {_called(contact)} ({contact.asks}) {EACH} times: half a "
                f"second down, a second up. "
                "Count aloud.",
                ("press-count", "pin-window", "pin-span", "pin-meaning", "bounce", "press-length"), 1.5,
            )
        )  # fmt: skip
    if any(contact.station for contact in _taps(truck)):
        steps.append(
            PlanStep(
                "Steering wheel slowly from lock to lock, pressing up at each quarter turn; then the same with down.",
                ("pin-window", "pin-span"), 3.0,
            )
        )  # fmt: skip
    steps.append(
        PlanStep(
            "All loads on: lights, fans, pumps, wipers. Press each button five times more.",
            ("pin-span", "pin-window", "supply"), 3.0,
        )
    )  # fmt: skip
    record = (
        "pin of each coded line at 100 Hz or more, supply at 1 Hz or more",
        "lever, manual state and what the controller concludes at 10 Hz or more; temperature at the coder",
    )
    return Session("Key on, engine off", STANDING, tuple(steps), record)


def _hands_off() -> Session:
    hours = time_for(limits.MOST_PER_HOUR)
    return Session(
        "Hands off",
        DRIVING,
        (
            PlanStep(
                f"Drive as usual in automatic on rough ground, hands off every tap switch, until "
                f"{hours:.1f} h are together "
                "(several days may be added). Wash the truck in between.",
                ("false-tap", "pin-margin", "temperature", "supply"),
                hours * 60.0,
            ),
        ),
        (
            "pin of each coded line or the tap states, at least once in each debounce time",
            "supply, temperature at the coder",
        ),
    )


def _driving(truck: Truck) -> Session:
    steps = [
        PlanStep(
            f"Slow drive in manual: {DRIVE_TAPS} taps up and {DRIVE_TAPS} down, in a middle gear, at "
            f"least three seconds "
            f"apart. Count aloud; a refused tap is written as refused. {tries_for(limits.MOST_SHARE)} "
            f"answered taps show "
            "less than 5 % misses.",
            ("missed-tap", "doubled-tap", "reversed-tap", "tap-delay", "shift-time", "scripted-steps", "gear-agrees",
             "flare", "downshift-guard", "bounce", "press-length", "manual-engages"), 10.0,
        ),
        PlanStep(
            "Ten seconds of steady speed in every gear that the place allows, half a minute in one of them, no brake.",
            ("gear-agrees", "gear-slip", "driveline-numbers", "locked-slip"), 5.0,
        ),
        PlanStep(
            f"Go on in manual on later days until {time_for(limits.MOST_PER_HOUR):.1f} h of manual are together.",
            ("unasked-shift", "limp", "temperature"), time_for(limits.MOST_PER_HOUR) * 60.0,
        ),
    ]  # fmt: skip
    record = (
        "tap states or pin at 50 Hz or more; commanded gear at 50 Hz",
        "turbine and output speed at 20 Hz or more; engine, manual state, lock-up, oil temperature, refused, limp",
    )
    return Session("Slow drive in an empty area", DRIVING, tuple(steps), record)


def _edges(truck: Truck) -> Session:
    steps = []
    if truck.drive is not None:
        sums = drive_sums(truck)
        told = "; ".join(_permitted_in(sums, name) for name in dict.fromkeys(each.transfer for each in sums.downshifts))
        steps.append(
            PlanStep(
                f"Ten downshifts by tap, each from well below its permitted speed ({told}), on the brake and slowing.",
                ("downshift-guard",), 10.0,
            )
        )  # fmt: skip
        steps.append(
            PlanStep(
                "In automatic, three full-throttle upshifts in the lowest gears, if the place and the "
                "gearbox maker allow it. "
                "Lift at once if the engine passes its most.",
                ("over-speed", "limiter"), 5.0,
            )
        )  # fmt: skip
    return Session(
        "Near the limits, only after all else passed", DRIVING, tuple(steps),
        ("engine at 10 Hz or more, manual state, commanded gear, output speed",),
    )  # fmt: skip


def _permitted_in(sums: DriveSums, transfer: str) -> str:
    """Highest speeds for the shifts down in one range of the transfer."""
    mine = [each for each in sums.downshifts if each.transfer == transfer]
    told = ", ".join(f"into {each.gear} {' or '.join(permitted(each, sums.units))}" for each in mine)
    return told if len(mine) == len(sums.downshifts) else f"in {transfer}: {told}"


def _briefing(truck: Truck) -> tuple[str, ...]:
    answers = dict(truck.drive.answers) if truck.drive is not None else {}
    back = answers["re_entry"].text if "re_entry" in answers else "________________________"
    held = truck.drive.log.held_request if truck.drive is not None and truck.drive.log is not None else None
    lines = [
        "One press, one step. Press, let go, wait for the shift; do not press twice.",
        "A tap can be refused: too quick for the lower gear, too slow for the higher one, in the "
        "middle of a shift, lever "
        "not in manual, top or bottom gear, cold oil, limp. Refused is no fault. Do not press on; "
        "slow down and tap again.",
        f"Back to automatic: {back}. Try it before you need it.",
        "The gear shown may come late, or only after the first tap.",
        "Shifts unasked, slips or howls: off the throttle, lever to automatic, stop, tell the crew.",
    ]
    if held == "none":
        lines[1] += " A refused downshift is not kept waiting."
    else:
        lines[1] += " A refused downshift may come late, when the speed allows it."
    return tuple(lines)


def _script(truck: Truck) -> str:
    """The script to fill in, with the counts of the plan."""
    ups = sum(each.asks == "up" for each in _taps(truck))
    downs = sum(each.asks == "down" for each in _taps(truck))
    lever = (
        [name for name, _ in truck.drive.log.lever] if truck.drive is not None and truck.drive.log is not None else []
    )
    names = lever or ["park", "reverse", "neutral", "drive", "manual"]
    there_and_back = ", ".join(f'"{each}"' for each in [*names, *reversed(names[:-1])])
    return f"""# What was pressed and driven. Correct times and counts to what was really done.
format = 1

[[phase]]
kind = "detents"
from = "0 s"
to = "120 s"
detents = [{there_and_back}]

[[phase]]
kind = "key on, engine off"
from = "120 s"
to = "400 s"
up = {EACH * ups}
down = {EACH * downs}
held = "0.5 s"

[[phase]]
kind = "drive"
log = "drive.csv"
from = "0 s"
to = "600 s"
up = {DRIVE_TAPS}
down = {DRIVE_TAPS}
refused_up = 0
refused_down = 0
"""


def _why(truck: Truck, check: str) -> str:
    if check == "time-base":
        return "Log again, with a faster card or logger."
    if truck.drive is None and check in ("downshift-guard", "over-speed", "limiter"):
        return "The design says nothing of the driveline: `pinproof gears FILE --begin`."
    return "No step of this plan answers it; see its text in the report."
