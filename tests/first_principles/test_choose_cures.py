"""What a cure changes, which parts it takes, and what is said of it."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from pinproof.choose import Budget, Drawer, Part, cures
from pinproof.choose.cures import Cure, Effort, _Change, _changes
from pinproof.design import Truck, loads
from pinproof.design.edit import with_values
from pinproof.proof import prove_line
from pinproof.verdict import Verdict
from tests.first_principles.test_choose_pick import DIRECTLY, NARROW, truck_text

TWO = ('"1.5k"', '"470 ohm"')  # both taps; the lever's own resistor is to be chosen


def test_a_cure_in_words() -> None:
    """Its values by where they stand, the margin, and none of that where it would not even nearly hold."""
    values = {"contact.lever_up.resistor": 1500.0, "line.taps.idle_resistor": 22e3, "line.taps.element.rb.value": 470.0}
    cure = Cure("fit gold contacts", {}, Verdict.PASS, 0.123, "E24", values)
    assert cure.text == (
        "fit gold contacts. Values from E24: lever_up 1.5 kΩ, idle resistor 22 kΩ, rb 470 Ω; smallest margin 12.3 % of "
        "half a window."
    )
    assert replace(cure, source="drawer").text.startswith("fit gold contacts. Values from your drawer: lever_up 1.5 kΩ")
    near, far = (replace(cure, verdict=Verdict.FAIL, margin=margin) for margin in (-0.1, -0.11))
    assert "lever_up 1.5 kΩ" in near.text
    assert far.text.startswith("fit gold contacts. Not enough alone, with the best values from E24: smallest margin ")
    assert replace(far, verdict=Verdict.WOULD_HOLD).text.startswith("fit gold contacts. Values from E24")
    assert replace(far, margin=-math.inf).text.endswith("E24: no margin.")


# what a cure changes, and which parts it takes


def changed_lines(text: str) -> dict[str, _Change]:
    """Changes worth trying, by what they cost; each truck is what the file with its texts says."""
    truck = loads(text)
    found = {each.effort.name: each for each in _changes(truck, truck.line("taps"))}
    for each in found.values():
        if not each.texts:
            assert each.truck == truck
            continue
        written = loads(with_values(text, each.texts))
        for attribute in ("id", "kind", "asks", "material"):
            assert [getattr(c, attribute) for c in each.truck.contacts] == [
                getattr(c, attribute) for c in written.contacts
            ]
        closed = [[(c.closed.low, c.closed.value, c.closed.high) for c in t.contacts] for t in (each.truck, written)]
        assert closed[0] == [pytest.approx(ends) for ends in closed[1]]
        mine, theirs = each.truck.line("taps"), written.line("taps")
        assert (mine.taps_fed, mine.form, mine.windows) == (theirs.taps_fed, theirs.form, theirs.windows)
        for offset in (mine.return_offset, theirs.return_offset):
            assert offset is not None
        assert [(v.low, v.value, v.high) for v in (mine.return_offset,) if v] == [
            (v.low, v.value, v.high) for v in (theirs.return_offset,) if v
        ]
        assert (mine.idle_resistor is None) is (theirs.idle_resistor is None)
        if mine.idle_resistor is not None and theirs.idle_resistor is not None:
            names = ("ohm", "tolerance", "ageing", "tempco_known", "fixed", "path")
            assert [getattr(mine.idle_resistor, n) for n in names] == [getattr(theirs.idle_resistor, n) for n in names]
            assert mine.idle_resistor.tempco_per_k == pytest.approx(theirs.idle_resistor.tempco_per_k)
    return found


def test_each_change_is_what_its_texts_say() -> None:
    """Every change on a line that leaves all of them open, in the order of what it costs but for the usual wiring."""
    found = changed_lines(truck_text(*DIRECTLY))
    assert [each.name for each in sorted(Effort)] == [
        "OTHER_VALUES", "ONE_MORE_PART", "MOVED_WIRE", "NEW_WIRE", "FINER_PARTS", "FINEST_PARTS", "NEW_SWITCHES"
    ]  # fmt: skip
    assert found.keys() == {each.name for each in Effort}
    assert found["MOVED_WIRE"].texts == {"line.taps.taps_fed": "through enable"}
    assert found["NEW_WIRE"].texts == {"line.taps.return_offset": "-0.02 V to 0.02 V"}
    assert found["ONE_MORE_PART"].texts == {"line.taps.idle_resistor": "to choose"}
    assert (found["FINER_PARTS"].tolerance, found["FINEST_PARTS"].tolerance) == (0.005, 0.001)
    gold = {f"contact.lever_{name}.{key}": text for name in ("manual", "up", "down")
            for key, text in (("closed", "0 ohm to 3 ohm"), ("material", "gold"))}  # fmt: skip
    assert found["NEW_SWITCHES"].texts == gold  # MIL-PRF-22885H: less than 3 Ω on each closure at low level
    known = '{ value = "1.5k", tolerance = "2 %", ageing = "1 %", tempco = "-50 ppm/K", tempco_sign = "known" }'
    first = '{ value = "to choose", tolerance = "2 %", ageing = "1 %", tempco = "-50 ppm/K", tempco_sign = "known" }'
    like = changed_lines(truck_text(('resistor = "to choose" #', f"resistor = {first} #"), resistors=(known, TWO[1])))
    path = "line.taps.idle_resistor"
    assert like["ONE_MORE_PART"].texts == {
        path: "to choose", f"{path}.tolerance": "2 %", f"{path}.ageing": "1 %", f"{path}.tempco": "-50 ppm/K",
        f"{path}.tempco_sign": "known",
    }  # fmt: skip


def test_what_is_good_already_is_not_changed() -> None:
    """Fed through the enable, contacts of 3 Ω, an offset of 20 mV, parts of 0.5 %, an idle resistor."""
    text = truck_text(
        ('closed = { low = "0 ohm", high = "5 ohm" }', 'closed = { low = "0 ohm", high = "3 ohm" }'),
        (
            'return_offset = { low = "-0.05 V", high = "0.05 V" }',
            'return_offset = { low = "-0.02 V", high = "0.02 V" }',
        ),
        ('tolerance = "1 %"\ntempco', 'tolerance = "0.5 %"\ntempco'),
        ('idle_resistor = "none"', 'idle_resistor = "22k"'),
    )
    assert changed_lines(text).keys() == {"OTHER_VALUES", "FINEST_PARTS"}
    for offset in ('low = "-0.03 V", high = "0.01 V"', 'low = "-0.01 V", high = "0.03 V"'):
        far = text.replace('low = "-0.02 V", high = "0.02 V"', offset)
        assert changed_lines(far).keys() == {"OTHER_VALUES", "FINEST_PARTS", "NEW_WIRE"}
    finest = text.replace('tolerance = "0.5 %"\ntempco', 'tolerance = "0.1 %"\ntempco')
    assert changed_lines(finest).keys() == {"OTHER_VALUES"}
    some = text.replace('asks = "up"\n', 'asks = "up"\nclosed = { low = "1 ohm", high = "9 ohm" }\n')
    assert changed_lines(some)["NEW_SWITCHES"].texts == {
        "contact.lever_up.closed": "1 ohm to 3 ohm", "contact.lever_up.material": "gold"
    }  # fmt: skip


@pytest.mark.parametrize(("edge", "said"), [("", "still cannot be told"), ('high = "40 kohm"\n', "can then be told")])
def test_what_an_idle_resistor_is_good_for(edge: str, said: str) -> None:
    """An open wire reads as the rail: told from idle only where the idle window ends before it."""
    text = truck_text(('low = "10 kohm"\n', f'low = "10 kohm"\n{edge}'))
    assert said in offered(text, "E12")["ONE_MORE_PART"].what


def offered(text: str, source: str | Drawer | None) -> dict[str, Cure]:
    """Cures of a line, whatever their words, by what changes."""
    truck: Truck = loads(text)
    proof = prove_line(truck, truck.line("taps"), drift=False)
    found = cures(truck, "taps", proof, source=source, low_ohm=100.0, high_ohm=10e3, budget=Budget(nodes=3000))
    assert {each.effort for each in found} >= {Effort.OTHER_VALUES, Effort.FINER_PARTS, Effort.FINEST_PARTS}
    return {each.effort.name: each for each in found}


PARTS = ("[[input]]", '[parts]\nseries = "E12"\n[[input]]')
UNSOLVED = truck_text(*NARROW, *DIRECTLY, PARTS)


def test_finer_parts_are_bought_and_not_in_the_drawer() -> None:
    """A line without values is worse than any cure of it. A series asked for is kept; a drawer has no finer parts."""
    drawer = Drawer(tuple(Part(ohm, 0.01, 3) for ohm in (470.0, 680.0, 1500.0, 2200.0, 4700.0)), pairs=False)
    own = offered(UNSOLVED, drawer)
    assert {
        name: each.source for name, each in own.items() if name not in ("FINER_PARTS", "FINEST_PARTS")
    } == dict.fromkeys(own.keys() - {"FINER_PARTS", "FINEST_PARTS"}, "drawer")
    assert own["FINER_PARTS"].source == own["FINEST_PARTS"].source == "E12"
    assert {each.source for each in offered(UNSOLVED, "E6").values()} == {"E6"}
    assert own["FINER_PARTS"].changes["contact.lever_up.resistor.tolerance"] == "0.5 %"
    assert own["FINEST_PARTS"].changes["contact.lever_up.resistor.tolerance"] == "0.1 %"
