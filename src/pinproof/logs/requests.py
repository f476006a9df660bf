"""What was asked of the gearbox and what it did: presses become taps, taps meet steps, refusals are taken out.

Answers: which taps had to be answered, and which were; which shifts did nobody ask for?
Units:   seconds from the log's begin; rpm.
Touches: nothing.
Sources: docs/logs.md, "How taps are answered". Guards that refuse or hold a downshift: US patents 6,175,797 and
         5,738,607 (secondary).
"""

from __future__ import annotations

import bisect
import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Literal

from pinproof.logs import limits
from pinproof.logs.gear_steps import Step, is_manual, output_at
from pinproof.logs.seen import Seen, interval_of
from pinproof.logs.settings import Settings
from pinproof.logs.stretches import Stretches
from pinproof.logs.taps import Press, Way

Outcome = Literal["held", "missed", "doubled", "reversed", "excluded"]
_TURNS = ("", "over-speed guard", "under-speed guard", "top gear", "bottom gear", "cold")
"""A guard may leave a tap unanswered, but never answer it the other way."""
_DOUBLES = ("", "under-speed guard", "top gear", "bottom gear", "cold")
"""Nor answer it twice; above the permitted speed an earlier request may be waiting too."""


@dataclass(frozen=True)
class Tap:
    """One press as a request. `reason` says why it may go unanswered, "" for a valid tap.

    `answers` are those of its whole group; `each_its_own`: as many as the group has taps, so the first is this tap's.
    """

    press: Press
    gear: float
    reason: str
    outcome: Outcome
    answers: tuple[Step, ...] = ()
    output_rpm: float = math.nan
    each_its_own: bool = False

    @property
    def valid(self) -> bool:
        """True if it had to be answered."""
        return not self.reason


@dataclass(frozen=True)
class Unasked:
    """A step in manual that nothing explains. `hidden`: a tap could have hidden between samples."""

    step: Step
    hidden: bool


@dataclass
class Asked:
    """Everything asked in one log, and what came of it."""

    taps: tuple[Tap, ...] = ()
    unasked: tuple[Unasked, ...] = ()
    explained: dict[str, int] = field(default_factory=dict)
    manual_s: float = 0.0
    manual_clear_s: float = 0.0  # of it, time in which no tap can hide


def asked_of(seen: Seen, settings: Settings) -> Asked:
    """Taps with their answers, and the steps that nobody asked for."""
    return _Asking(seen, settings).run()


class _Asking:
    def __init__(self, seen: Seen, settings: Settings) -> None:
        self.seen, self.settings = seen, settings
        self.drive = settings.drive
        usual = limits.ANSWER_S if seen.steps_from == "gear_commanded" else limits.ANSWER_OF_GEAR_S
        self.answer_s = settings.answer_s or usual
        self.pad_s = (seen.tap_interval_s if math.isfinite(seen.tap_interval_s) else 0.0) + limits.STATES_APART_S
        self.steps = list(seen.steps)
        self.step_s = [each.first_s for each in self.steps]
        self.gear_runs = seen.states.get(seen.steps_from)
        if self.gear_runs is None:
            self.gear_runs = seen.speeds.ratio
        told_by = "mode" if "mode" in seen.states else "lever"
        self.leaving_s = min(limits.LEAVING_S, interval_of(seen, told_by) + limits.STATES_APART_S)
        self.used: set[int] = set()
        self.engine_near = seen.episodes.get("near limiter")

    def run(self) -> Asked:
        out: list[Tap] = []
        groups = self._groups()
        for number, group in enumerate(groups):
            until = groups[number + 1][0].before_s if number + 1 < len(groups) else math.inf
            out += self._group(group, until)
        held = [each for each in out if each.reason in ("over-speed guard", "refused") and each.press.way == "down"]
        explained: dict[str, int] = {}
        unasked: list[Unasked] = []
        for number, step in enumerate(self.steps):
            if number in self.used:
                continue
            why = self._needs_no_tap(step) or self._was_held(step, held)
            if why:
                explained[why] = explained.get(why, 0) + 1
            else:
                unasked.append(Unasked(step, self._hidden(step)))
        manual, clear = self._manual_time()
        return Asked(tuple(out), tuple(unasked), explained, manual, clear)

    def _groups(self) -> list[list[Press]]:
        groups: list[list[Press]] = []
        for press in self.seen.presses:
            if groups and press.first_s - groups[-1][-1].first_s <= self.answer_s:
                groups[-1].append(press)
            else:
                groups.append([press])
        return groups

    def _window(self, group: Sequence[Press], until_s: float) -> list[int]:
        """Numbers of the steps that may answer a group."""
        before = group[0].before_s
        begin = (before if math.isfinite(before) else group[0].first_s) - self.pad_s
        end = min(group[-1].first_s + self.answer_s, until_s if math.isfinite(until_s) else math.inf)
        low, high = bisect.bisect_left(self.step_s, begin), bisect.bisect_right(self.step_s, end)
        return [each for each in range(low, high) if each not in self.used]

    def _group(self, group: list[Press], until_s: float) -> list[Tap]:
        numbers = self._window(group, until_s)
        reasons = [self._reason(group[0])] + ["shift in progress"] * (len(group) - 1)
        free = {number for number in numbers if self._needs_no_tap(self.steps[number])}
        ways: tuple[Way, Way] = ("up", "down")
        taps = {way: [each for each in group if each.way == way] for way in ways}
        asked: dict[Way, list[int]] = {way: [n for n in numbers if self.steps[n].way == way] for way in ways}
        outcome: Outcome = "held"
        extra: list[int] = []
        lenient = self.settings.repeats and any(each.most_s > limits.LONG_PRESS_S for each in group)
        lenient = lenient or any(each.unclear for each in group)
        taken: list[int] = []
        for way in ways:
            count = len(taps[way])
            sure = [n for n in asked[way] if n not in free]
            over = len(sure) - count
            if count:
                own = sure[:count] if len(sure) >= count else (asked[way][:count])
                taken += own
                if over > 0 and not lenient:
                    extra += sure[count:]
                    outcome = "doubled"
                elif over > 0:
                    taken += sure[count:]
            elif sure and not lenient and reasons[0] in _TURNS:
                extra += sure
                outcome = "reversed"
        if not taken and outcome == "held" and not reasons[0]:
            outcome = "missed"
        if outcome == "doubled" and reasons[0] not in _DOUBLES:
            outcome, taken, extra = "held", [*taken, *extra], []
        self.used.update(taken)
        self.used.update(extra)
        answers = tuple(self.steps[n] for n in sorted([*taken, *extra]))
        made: list[Tap] = []
        for press, reason in zip(group, reasons, strict=True):
            first = press is group[0]
            mine: Outcome = outcome if first else "excluded"
            if reason and mine in ("held", "missed"):
                mine = "excluded"
            gear = self._gear(press.first_s)
            output = self._output(press.first_s, gear)
            mine_alone = first and len(answers) == len(group) == len(numbers) and answers[0].way == press.way
            mine_alone = mine_alone and not free  # a step that needs no tap may have come by itself
            made.append(Tap(press, gear, reason, mine, answers if first else (), output, mine_alone))
        return made

    def _gear(self, at_s: float) -> float:
        """The gear before a press."""
        runs = self.gear_runs
        if runs is None or not len(runs):
            return math.nan
        place = bisect.bisect_right(runs.first_list, at_s - self.pad_s) - 1
        if place < 0:
            return math.nan
        if at_s - runs.last_list[place] > limits.STALE_S:
            return math.nan
        return runs.value_list[place]

    def _reason(self, press: Press) -> str:
        """Why a tap may go unanswered; "" if it may not."""
        seen, at = self.seen, press.first_s
        if (
            math.isnan(press.before_s)
            or seen.beside_gap(at, at + self.answer_s)
            or seen.at_ends(at, at + self.answer_s)
        ):
            return "beside a gap"
        if not is_manual(seen, self.settings, at - limits.NOT_MANUAL_S, at + self.answer_s):
            return "lever not manual"
        if self._flag("limp", at - limits.LIMP_S, at):
            return "limp"
        if self._flag("refused", at - self.pad_s, at + self.answer_s):
            return "refused"
        low = bisect.bisect_left(self.step_s, at - self.answer_s)
        high = bisect.bisect_left(self.step_s, press.before_s - self.pad_s)
        if high > low:
            return "shift in progress"
        if press.too_short:
            return "too short"
        if press.unclear:
            return "unclear bounce"
        gear = self._gear(at)
        if math.isnan(gear):
            return "not steady"
        return self._edges(press, gear) or self._guards(press, gear)

    def _edges(self, press: Press, gear: float) -> str:
        drive = self.drive
        if gear < 1.0:
            return "bottom gear" if press.way == "down" else "top gear"
        if press.way == "down" and gear <= (drive.lowest if drive else 1):
            return "bottom gear"
        if press.way == "up" and drive is not None and gear >= drive.highest:
            return "top gear"
        return ""

    def _guards(self, press: Press, gear: float) -> str:
        drive, at = self.drive, press.first_s
        oil = self.seen.sampled(at, "oil")
        if math.isfinite(oil) and oil < self.settings.cold_c:
            return "cold"
        guard = "over-speed guard" if press.way == "down" else "under-speed guard"
        if drive is None:
            return guard
        output = self._output(at, gear)
        if math.isnan(output):
            return guard
        if press.way == "down":
            permitted = drive.permitted_rpm[int(gear) - 2]
            return guard if output > permitted * (1.0 - limits.GUARD_NEAR) else ""
        landing = output * drive.ratios[int(gear)]
        least = drive.least_rpm if drive.least_rpm is not None else limits.LEAST_LANDING_RPM
        if landing < least * (1.0 + limits.GUARD_NEAR) or output < limits.LEAST_OUTPUT_RPM:
            return guard
        if self._near_limiter(at):
            return "limiter"
        return ""

    def _output(self, at_s: float, gear: float) -> float:
        """Output speed at an event: measured, or from the turbine, the road, the engine. [rpm]"""
        if self.drive is None:
            return self.seen.sampled(at_s, "output")
        return output_at(self.seen, self.drive, at_s, gear)

    def _near_limiter(self, at_s: float) -> bool:
        runs = self.engine_near
        if runs is None or not len(runs):
            return False
        low = bisect.bisect_left(runs.last_list, at_s - limits.LIMITER_BEFORE_S)
        return low < len(runs) and bool(runs.first_s[low] <= at_s)

    def _flag(self, role: str, from_s: float, to_s: float) -> bool:
        runs = self.seen.states.get(role)
        if runs is None or not len(runs):
            return False
        low = bisect.bisect_left(runs.last_list, from_s)
        high = bisect.bisect_right(runs.first_list, to_s)
        return low < high and max(runs.value_list[low:high]) > 0.0

    def _needs_no_tap(self, step: Step) -> str:
        """The rule of the controller that explains a step without a tap, "" if there is none."""
        seen = self.seen
        if seen.beside_gap(step.before_s, step.first_s) or seen.at_ends(step.before_s, step.first_s):
            return "beside a gap"
        if self._flag("limp", step.before_s - limits.LIMP_S, step.first_s):
            return "limp"
        leaving_s = step.first_s + self.leaving_s  # the state may show later than what it does
        if not is_manual(seen, self.settings, step.before_s - limits.AFTER_ENGAGING_S, leaving_s):
            return "not in manual"
        if step.way == "up" and self.settings.at_limiter != "hold" and self._near_limiter(step.first_s):
            return "limiter"
        if step.way == "up" and self.settings.at_limiter != "hold" and "engine" not in seen.channels:
            return "limiter not seen"
        if step.way == "down":
            turbine = self._turbine(step)
            if math.isnan(turbine):
                return "speed not known"
            if turbine < self.settings.forced_down_rpm:
                return "forced down"
        return ""

    def _turbine(self, step: Step) -> float:
        """Turbine speed in the gear before, at a step. [rpm]"""
        seen = self.seen
        output = self._output(step.first_s, step.old)
        if self.drive is not None and math.isfinite(output) and 1.0 <= step.old <= len(self.drive.ratios):
            return output * self.drive.ratios[int(step.old) - 1]
        for role in ("turbine", "engine"):
            found = seen.sampled(step.first_s, role)
            if math.isfinite(found):
                return found
        return math.nan

    def _was_held(self, step: Step, held: list[Tap]) -> str:
        """Takes one waiting request for a late downshift."""
        if step.way != "down":
            return ""
        for tap in held:
            wait = step.first_s - tap.press.first_s
            if 0.0 <= wait <= self.settings.held_request_s + self.answer_s and not tap.answers:
                held.remove(tap)
                return "held request"
        return ""

    def _hidden(self, step: Step) -> bool:
        return self.seen.blind.meets(step.before_s - self.answer_s, step.first_s)

    def _manual_time(self) -> tuple[float, float]:
        mode = self.seen.states.get("mode")
        if mode is None or not len(mode):
            return 0.0, 0.0
        total = clear = 0.0
        both = Stretches([*self.seen.blind_s, *zip(self.seen.beside.begin_s, self.seen.beside.end_s, strict=True)])
        for value, first, last in zip(mode.value, mode.first_s, mode.last_s, strict=True):
            if value > 0.0:
                total += last - first - self.seen.beside.covered_s(first, last)
                clear += last - first - both.covered_s(first, last)
        return float(total), float(clear)
