"""A line whose pull is unknown: the usual pulls each as a proof of its own, their sentences, ohms off the wanted ones.

The trucks are invented for these tests.
"""

from __future__ import annotations

import dataclasses
import itertools
import math
from typing import Any

import pytest

from pinproof.design import loads
from pinproof.design.words import parameter
from pinproof.proof import prove_line
from pinproof.proof.outlook import Outlook, Tried, outlooks, plausible_pulls_ohm, what_goes_wrong, with_pull
from pinproof.proof.results import SituationProof
from pinproof.proof.unknown import coder_ohms, what_can_be_said
from pinproof.verdict import Verdict
from pinproof.wiring import line_view
from tests.first_principles.test_proof_shared import BUTTON, HEAD, LINE, PIN, WINDOWS, truck_of

# the usual pulls in words


def row_of(verdict: Verdict, margin: float, **more: Any) -> SituationProof:
    """A judged situation."""
    stated: dict[str, Any] = {"operated": ("raise",), "rule": 3, "allowed": ("up",), "meaning": "up", **more}
    return SituationProof(
        key_state="run", space="reference", low=0.1, high=0.2, inner_low=0.1, inner_high=0.2, unit="1", exact=True,
        verdict=verdict, margin=margin, window="up", side="low", reads_as=stated.pop("reads_as", ("up",)), **stated,
    )  # fmt: skip


GOOD = row_of(Verdict.PASS, 0.5)
IF = row_of(Verdict.WOULD_HOLD, 0.1)
BAD = row_of(Verdict.FAIL, -0.5, reads_as=("up", "down", "invalid"))
NEAR = row_of(Verdict.NOT_SHOWN, -0.1, reads_as=("up", "invalid"))
BOTH = {"operated": ("raise", "lower"), "rule": 5, "allowed": ("automatic", "invalid"), "meaning": ""}
BOTH_GOOD = row_of(Verdict.PASS, 0.2, **BOTH, reads_as=("invalid",))
BOTH_BAD = row_of(Verdict.FAIL, -0.2, **BOTH, reads_as=("up", "invalid"))
BOTH_WORSE = row_of(Verdict.FAIL, -0.9, **BOTH, reads_as=("down",))
PULLS = (500.0, 1000.0, 2000.0, 4000.0)


def told(single: list[SituationProof], together: list[SituationProof | None]) -> Outlook:
    return Outlook("reference", tuple(Tried(*each) for each in zip(PULLS, single, together, strict=True)))


EVERY = "Single commands would hold with every usual pull (500 Ω to 4 kΩ)."


@pytest.mark.parametrize(
    ("single", "together", "text"),
    [
        ([GOOD, IF, GOOD, GOOD], [None] * 4, EVERY),
        ([GOOD, IF, GOOD, GOOD], [BOTH_GOOD] * 4, f"{EVERY} So would all other combinations."),
        (
            [GOOD] * 4,
            [BOTH_BAD, BOTH_WORSE, BOTH_BAD, BOTH_BAD],
            f"{EVERY} Even there raise + lower can be read as down.",
        ),
        (
            [GOOD] * 4,
            [BOTH_GOOD, BOTH_BAD, BOTH_GOOD, BOTH_GOOD],
            f"{EVERY} With some of these raise + lower can be read as up.",
        ),
        (
            [GOOD, GOOD, BAD, IF],
            [BOTH_GOOD, BOTH_GOOD, BOTH_WORSE, BOTH_GOOD],  # what is bad where singles fail anyway does not count
            "Single commands would hold with a pull of 500 Ω to 1 kΩ and 4 kΩ, not with the rest of 500 Ω to 4 kΩ. "
            "So would all other combinations.",
        ),
        (
            [BAD, GOOD, GOOD, GOOD],
            [BOTH_GOOD, BOTH_BAD, BOTH_BAD, BOTH_BAD],  # all that are left are bad
            "Single commands would hold with a pull of 1 kΩ to 4 kΩ, not with the rest of 500 Ω to 4 kΩ. "
            "Even there raise + lower can be read as up.",
        ),
        (
            [BAD, NEAR, BAD, BAD],
            [BOTH_GOOD] * 4,
            "Single commands hold with no usual pull (500 Ω to 4 kΩ). Closest is 1 kΩ; even there raise is not surely "
            "read as up.",
        ),
        (
            [BAD, dataclasses.replace(BAD, margin=-0.4), BAD, BAD],
            [None] * 4,
            "Single commands hold with no usual pull (500 Ω to 4 kΩ). Closest is 1 kΩ; even there raise can be read as "
            "down.",
        ),
    ],
)
def test_what_the_usual_pulls_say(
    single: list[SituationProof], together: list[SituationProof | None], text: str
) -> None:
    """Two sentences at most; combinations count only where single commands hold."""
    seen = told(single, together)
    assert seen.text == text
    holds = [row.verdict in (Verdict.PASS, Verdict.WOULD_HOLD) for row in single]
    assert seen.single_ohm == tuple(ohm for ohm, each in zip(PULLS, holds, strict=True) if each)
    whole = [each and row not in (BOTH_BAD, BOTH_WORSE) for each, row in zip(holds, together, strict=True)]
    assert seen.holding_ohm == tuple(ohm for ohm, each in zip(PULLS, whole, strict=True) if each)


@pytest.mark.parametrize(
    ("row", "text"),
    [
        (row_of(Verdict.FAIL, -1.0, operated=(), meaning="automatic"),
         "nothing operated is not surely read as automatic"),
        (row_of(Verdict.FAIL, -1.0, operated=("raise",), rule=5, reads_as=("down", "manual", "invalid")),
         "raise alone can be read as down or manual"),
        (row_of(Verdict.FAIL, -1.0, operated=("raise",), rule=4, meaning="", allowed=("up", "down")),
         "raise is not surely read as up or down"),
        (row_of(Verdict.FAIL, -1.0, operated=("a", "b"), rule=5, reads_as=("down",)), "a + b can be read as down"),
    ],
)  # fmt: skip
def test_what_goes_wrong_in_words(row: SituationProof, text: str) -> None:
    """What it can be taken for; `invalid` is no meaning that one takes it for."""
    assert what_goes_wrong(row) == text


UNKNOWN_PULL = ('pull_up = { value = "1 kohm", tolerance = "20 %" }', 'pull_up = "unknown"')
STATED = WINDOWS.replace('found = "substitution"\n', "")


def test_the_usual_pulls_are_each_a_proof_of_their_own() -> None:
    """17 pulls from 470 ohm to 10 kohm, evenly in ratio. Supposed in the file with 5 %, each gives the same row."""
    pulls = plausible_pulls_ohm()
    assert len(pulls) == 17
    assert (pulls[0], pulls[-1]) == pytest.approx((470.0, 10_000.0))
    ratios = [after / before for before, after in itertools.pairwise(pulls)]
    assert ratios == pytest.approx([ratios[0]] * 16)
    windows = '[[line.window]]\nmeaning = "up"\nlow = "30 %"\nhigh = "60 %"\nbasis = "measured"\n'
    windows += '[[line.window]]\nmeaning = "automatic"\nlow = "80 %"\nbasis = "measured"\n'
    truck = truck_of(UNKNOWN_PULL, windows=windows)
    (seen,) = outlooks(truck, truck.line("taps"))
    assert seen.judges == "reference"
    assert [each.pull_ohm for each in seen.tried] == list(pulls)
    for each in seen.tried:
        stated = truck_of(
            (UNKNOWN_PULL[0], f'pull_up = {{ value = "{each.pull_ohm!r} ohm", tolerance = "5 %" }}'), windows=windows
        )
        rows = prove_line(stated, stated.line("taps"), drift=False).situations
        worst = min(rows, key=lambda row: (row.verdict.rank, row.margin))
        assert (each.single.operated, each.single.verdict) == (worst.operated, worst.verdict)
        assert each.single.margin == pytest.approx(worst.margin, rel=1e-9)
        assert each.together is None
        # 1.5k through a pull of 5 % either way must stay between 30 and 60 %
        low, high = (1500.0 / (1500.0 + each.pull_ohm * factor) for factor in (1.05, 0.95))
        assert (each.pull_ohm in seen.single_ohm) is (low >= 0.3 and high <= 0.6)


def test_of_presses_together_the_worst_is_told_for_each_pull() -> None:
    """Two buttons and a third: four ways to press more than one. The line with that pull stated says the same."""
    more = [BUTTON.split("\n", 2)[2].replace('"raise"', f'"{name}"').replace('"up"', f'"{asks}"').replace("1.5k", ohm)
            for name, asks, ohm in (("lower", "down", "470 ohm"), ("hold", "manual", "3.3k"))]  # fmt: skip
    windows = "".join(
        f'[[line.window]]\nmeaning = "{meaning}"\nlow = "{low} %"\nhigh = "{high} %"\nbasis = "measured"\n'
        for meaning, low, high in (("down", 20, 36), ("up", 50, 66), ("manual", 70, 82), ("automatic", 90, 100))
    )
    buttons = (BUTTON, BUTTON + "".join(more))
    truck = truck_of(UNKNOWN_PULL, buttons, windows=windows)
    (seen,) = outlooks(truck, truck.line("taps"))
    verdicts = set()
    for each in seen.tried[::4]:
        stated = truck_of(
            (UNKNOWN_PULL[0], f'pull_up = {{ value = "{each.pull_ohm!r} ohm", tolerance = "5 %" }}'), buttons,
            windows=windows,
        )  # fmt: skip
        rows = prove_line(stated, stated.line("taps"), drift=False).situations
        for told, several in ((each.single, False), (each.together, True)):
            worst = min(
                (row for row in rows if (len(row.operated) > 1) is several), key=lambda r: (r.verdict.rank, r.margin)
            )
            assert told is not None
            assert (told.operated, told.verdict) == (worst.operated, worst.verdict)
            assert told.margin == pytest.approx(worst.margin, rel=1e-9)
            verdicts.add((several, told.verdict))
    assert len(verdicts) > 2


@pytest.mark.parametrize(("compares", "ways"), [("unknown", ("battery", "volts")), ("volts", ("volts",))])
def test_each_way_of_judging_has_its_outlook(compares: str, ways: tuple[str, ...]) -> None:
    """Nobody knows how it judges: both are tried, and each sentence says which it is for."""
    windows = '[[line.window]]\nmeaning = "up"\nlow = "1 V"\nhigh = "3 V"\nbasis = "measured"\n'
    windows += '[[line.window]]\nmeaning = "automatic"\nlow = "4 V"\nbasis = "measured"\n'
    changes = (UNKNOWN_PULL, ('compares = "reference"', f'compares = "{compares}"\nfull_scale = "5.5 V"'))
    truck = truck_of(*changes, windows=windows)
    seen = outlooks(truck, truck.line("taps"))
    assert tuple(each.judges for each in seen) == ways
    told = [each for each in prove_line(truck, truck.line("taps")).findings if each.check == "unknown-pull"]
    assert [each.text for each in told] == [(each.judged_words if len(seen) > 1 else "") + each.text for each in seen]
    assert [bool(each.cure) for each in told] == [False] * (len(seen) - 1) + [True]
    for each, finding in zip(seen, told, strict=True):
        assert finding.numbers == {
            "judges": each.judges, "tried": 17.0,
            "single_hold": float(len(each.single_ohm)), "all_hold": float(len(each.holding_ohm)),
        }  # fmt: skip
    assert outlooks(truck_of(*changes[1:], windows=windows), truck.line("taps")) == ()  # its pull is known


def test_a_supposed_pull_stands_in_for_lists_that_name_none() -> None:
    """With `with_pull` a list keeps the pull it names. The other pull stays as it is, and no other line is touched."""
    windows = STATED.replace('meaning = "up"\n', 'meaning = "up"\nwith_pull = "3 kohm"\n')
    other = "[[line]]" + LINE.removeprefix("[[line]]").replace('"taps"', '"else"').replace('"tap"', '"tap2"')
    second = PIN.replace('"tap"', '"tap2"')
    text = HEAD + PIN.replace(*UNKNOWN_PULL).replace('pull_down = "none"', 'pull_down = "47k"') + second
    text = text.replace('pull_down = "47k"', 'pull_down = { value = "47k", tolerance = "5 %" }')
    press = BUTTON.replace('"taps"', '"else"').replace('"pod"', '"rod"').replace('"raise"', '"lift"')
    truck = loads(text + LINE + windows + other + STATED + BUTTON + press)
    line = truck.line("taps")
    supposed = with_pull(truck, line, 2200.0)
    own = supposed.inputs[0]
    assert own.pull_up is not None and own.pull_up != "unknown"
    assert (own.pull_up.ohm, own.pull_up.tolerance, own.pull_up.path) == (2200.0, 0.05, "input.tap.pull_up")  # type: ignore[union-attr]
    assert own.pull_down == truck.inputs[0].pull_down
    assert [each.with_pull_ohm for each in supposed.lines[0].windows] == [3000.0, 2200.0]
    assert supposed.inputs[1:] == truck.inputs[1:] and supposed.lines[1:] == truck.lines[1:]


def test_a_line_with_too_many_situations_says_that_pulls_were_not_tried(monkeypatch: pytest.MonkeyPatch) -> None:
    """Two situations: with a limit of two they are tried, with one they are not, and only then it is said."""
    truck = truck_of(UNKNOWN_PULL, windows=STATED)
    line = truck.line("taps")
    said = "The usual pulls were not tried: the line has more than 1 situations."
    for most, tried in ((2, 1), (1, 0)):
        for module in ("outlook", "unknown"):
            monkeypatch.setattr(f"pinproof.proof.{module}.MOST_SITUATIONS", most)
        assert len(outlooks(truck, line)) == tried
        (found,) = [each for each in what_can_be_said(line_view(truck, "taps")) if each.check == "unknown-pull"]
        assert (found.text == said) is not bool(tried)
        assert found.verdict is Verdict.NOT_SHOWN and found.cure
    monkeypatch.setattr("pinproof.proof.unknown.outlooks", lambda *_: ())
    monkeypatch.setattr("pinproof.proof.unknown.MOST_SITUATIONS", 2)
    assert what_can_be_said(line_view(truck, "taps")) == ()  # not tried for another reason: nothing is said of it


@pytest.mark.parametrize(
    ("change", "reason"),
    [
        (UNKNOWN_PULL, "the pull of input tap is unknown"),
        (('pull_down = "none"', 'pull_down = "unknown"'), "the pull of input tap is unknown"),
        (('resistor = "1.5k"', 'resistor = "to choose"'), "still to be chosen: " + parameter("contact.raise.resistor")),
        (('"1.5k"', '"1.6k"'), ""),
    ],
)
def test_why_a_line_cannot_be_proven(change: tuple[str, str], reason: str) -> None:
    """What is missing, and only that."""
    truck = truck_of(change, windows='windows = "free"\n' if "down" in change[0] else WINDOWS)
    proof = prove_line(truck, truck.line("taps"), drift=False)
    assert proof.reason == reason
    assert bool(proof.situations) is not bool(reason)
    assert (proof.verdict is Verdict.NOT_SHOWN) is bool(reason)


# how far the coder is from what is wanted

TARGETS = """[[line.target]]
meaning = "up"
reading = "{up}"
[[line.target]]
meaning = "automatic"
reading = "{idle}"
"""


@pytest.mark.parametrize(
    ("wanted_ohm", "said"),
    [
        (1500.0, "(1.5 kΩ to 1.5 kΩ, dry); up wants 1.5 kΩ: on target."),
        (1200.0, "up wants 1.2 kΩ: +25.0 % off."),
        (2000.0, "up wants 2 kΩ: -25.0 % off."),
        (1499.0, "up wants 1.5 kΩ: +0.1 % off."),
        (1500.5, "up wants 1.5 kΩ: on target."),  # -0.03 %
        (0.0, "up wants 0 Ω: the target is a short."),
        (math.inf, "up wants open: it must be open."),
    ],
)
def test_distance_to_targets_in_ohms(wanted_ohm: float, said: str) -> None:
    """Of the ohms that the coder shows at the unplugged wire; with nothing pressed it is open."""
    truck = truck_of(UNKNOWN_PULL, windows=TARGETS.format(up="1.5 kohm", idle="50 kohm"))
    line = truck.line("taps")
    targets = tuple(
        dataclasses.replace(each, reading=wanted_ohm) if each.meaning == "up" else each for each in line.targets
    )
    changed = dataclasses.replace(truck, lines=(dataclasses.replace(line, targets=targets),))
    told = {each.subject: each for each in what_can_be_said(line_view(changed, "taps"))}
    assert told["raise"].text.endswith(said)
    assert told["raise"].verdict is None
    numbers = told["raise"].numbers
    assert (numbers["nominal_ohm"], numbers["target_ohm"]) == (pytest.approx(1500.0), wanted_ohm)
    idle = told["nothing operated"]
    assert idle.text == "nothing operated: the coder shows open (dry); automatic wants 50 kΩ: a resistor is missing."


def test_targets_that_are_no_ohms_have_no_distance_in_ohms() -> None:
    """ "30 %" is no 0.3 ohm."""
    truck = truck_of(UNKNOWN_PULL, windows=TARGETS.format(up="30 %", idle="95 %"))
    checks = [each.check for each in prove_line(truck, truck.line("taps")).findings]
    assert "unknown-pull" in checks and "target-distance" not in checks
    mixed = truck_of(UNKNOWN_PULL, windows=TARGETS.format(up="1.5 kohm", idle="95 %"))
    told = [each for each in prove_line(mixed, mixed.line("taps")).findings if each.check == "target-distance"]
    assert [each.subject for each in told] == ["raise"]


def test_the_ohms_of_a_coder_by_hand() -> None:
    """1.5k of 1 % behind wires of up to 2 ohm in all and a contact of up to 20 ohm; wet plugs and the pull are left
    out. Nothing pressed is open."""
    truck = truck_of(
        UNKNOWN_PULL, ('tolerance = "0 %"', 'tolerance = "1 %"'),
        ('\nwire = { low = "0 ohm", high = "0 ohm" }', '\nwire = { low = "0 ohm", high = "1 ohm" }'),
        ('source_wire = { low = "0 ohm", high = "0 ohm" }', 'source_wire = { low = "0 ohm", high = "1 ohm" }'),
        ('closed = { low = "0 ohm", high = "0 ohm" }', 'closed = { low = "0 ohm", value = "5 ohm", high = "20 ohm" }'),
        ('open = "none"', 'open = "100 kohm"'),
        ('leak_to_ground = "none"', 'leak_to_ground = "20 kohm"'),
        windows=STATED,
    )  # fmt: skip
    view = line_view(truck, "taps")
    low, nominal, high = coder_ohms(view, frozenset(("raise",)))
    assert (low, nominal, high) == pytest.approx((1500.0 * 0.99, 1500.0 + 5.0 + 1.0, 1500.0 * 1.01 + 22.0))
    assert coder_ohms(view, frozenset()) == (math.inf, math.inf, math.inf)
