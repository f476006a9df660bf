"""The switch of units acts on every page: lengths, speeds, temperatures, masses and forces in sentences and tables.

Conversions are judged by pint, a general-purpose library of units (with its own table of definitions).
"""

from __future__ import annotations

import re
from pathlib import Path

import pint
import pytest

from pinproof.examples import companions
from pinproof.quantities.customary import inches
from pinproof.web.customary import customary
from pinproof.web.routes import PAGES
from tests.web_client import client_of, folder_with

METRIC = re.compile(r"[^<>.]{0,40}\d[ \u00a0](?:mm|cm|m|km|km/h|m/s|°C|kg|N)(?![\w/·²³^])")
US = re.compile(r"\d[ \u00a0](?:in|ft|mi|mph|°F|lb|lbf)\b")
KEPT = re.compile(
    r"<(code|pre|textarea|svg|option)\b.*?</\1>|<(?:p|span)[^>]*class=\"[^\"]*hint.*?</(?:p|span)>"
    r'|<td[^>]*data-label="As the file[^>]*>.*?</td>|<[^>]*>', re.DOTALL
)  # fmt: skip
NAMES = {
    "mm": "mm", "m": "m", "km/h": "km/hour", "m/s": "m/s", "kg": "kg", "g": "gram", "N": "N", "km": "km", "cm": "cm",
}  # fmt: skip
OTHER = {"in": "inch", "ft": "ft", "mi": "mile", "mph": "mile/hour", "lb": "lb", "oz": "oz", "lbf": "lbf"}
COARSE = {"mm": 0.05, "cm": 0.05, "kg": 0.5, "g": 0.5, "N": 0.5}
"""What is cut, weighed or pulled is told in fewer figures; in US units it is never further off than this."""


@pytest.mark.parametrize("unit", NAMES)
@pytest.mark.parametrize("number", ["0.5", "1", "17.25", "-3", "640", "12345"])
def test_numbers_are_turned_as_pint_turns_them(unit: str, number: str) -> None:
    """Four digits are shown, so half a unit of the fourth is allowed; what is cut, weighed or pulled has fewer."""
    registry = pint.UnitRegistry()
    shown, _, us = customary(f"<p>{number} {unit}</p>").removeprefix("<p>").removesuffix("</p>").partition(" ")
    asked = registry.Quantity(float(number), registry.parse_units(NAMES[unit]))
    true, half = asked.to(OTHER[us]).magnitude, 0.5 * 10.0 ** -len(shown.partition(".")[2])
    if unit in COARSE:
        assert float(shown) == pytest.approx(true, abs=half * (1 + 1e-9)), "half a unit of the last digit shown"
        assert abs(float(shown) - true) <= min(COARSE[unit], 0.05 * abs(true))
    else:
        assert float(shown) == pytest.approx(true, rel=5.1e-4)


@pytest.mark.parametrize(
    ("metric", "us"),
    [("2115 mm", "83.3 in"), ("4715 mm", "185.6 in"), ("62 mm", "2.44 in"), ("6 mm", "0.24 in"), ("4.3 mm", "0.169 in"),
     ("177.8 mm", "7 in"), ("0.8 kg", "1.8 lb"), ("87 g", "3.1 oz"), ("453 g", "16 oz"), ("454 g", "1 lb"),
     ("36 N", "8.09 lbf")],
)  # fmt: skip
def test_no_finer_than_it_is_cut_or_weighed(metric: str, us: str) -> None:
    """Three figures of an inch, tenths from ten on, and no finer than the number in millimetres."""
    assert customary(f"<p>{metric}</p>") == f"<p>{us}</p>"


def test_temperatures_and_ranges() -> None:
    """Against the fixed points of the scales, by their definition; a range carries its unit once."""
    assert customary("<p>0 °C, 100 °C, -40 to -40 °C</p>") == "<p>32 °F, 212 °F, -40 to -40 °F</p>"
    assert customary("<p>25.4\u00a0mm, 254 to 508 mm, 0.5–1 m</p>") == "<p>1\u00a0in, 10 to 20 in, 19.69–39.37 in</p>"


@pytest.mark.parametrize(
    "kept",
    ["<code>1.9 m</code>", "<p>2.5 mm² and 20 m/s² and 7 W/m</p>", '<p class="hint">As 12 °C or 54 °F.</p>',
     '<input value="1.9 m">',
     "<textarea>1.9 m</textarea>", "<svg><text>5 mm</text></svg>", "<p>5 min, 3 Mohm, 12 V</p>",
     "<p>P|R|2 N|D</p>", '<td data-label="As the file states it">0 °C to 70 °C</td>'],
)  # fmt: skip
def test_what_is_no_such_quantity_or_is_quoted_stays(kept: str) -> None:
    """Wire sizes, rates, code, what was typed, drawings."""
    assert customary(kept) == kept


def test_bare_millimetres_of_a_column() -> None:
    """Each number of a cell, and nothing else in it."""
    assert inches("254") == "10" and inches("12.7 est.") == "0.5 est." and inches("–") == "–"


def test_no_metric_quantity_is_left_on_a_page(tmp_path: Path) -> None:
    """Every page of a whole truck and of one with a driveline; in metric nothing is turned."""
    folder = folder_with(tmp_path, "dunlin", "sandpiper")
    for each in companions("sandpiper"):
        (folder / each.name).write_bytes(each.read_bytes())
    client, _ = client_of(folder)
    turned = 0
    for design in ("dunlin", "sandpiper"):
        for page in PAGES:
            if not page.menu or not page.of_design:
                continue
            address = page.path.replace("{design}", design)
            client.cookies.set("units", "metric")
            plain = KEPT.sub(" ", client.get(address).text)
            client.cookies.set("units", "us")
            us = KEPT.sub(" ", client.get(address).text)
            left = [each for each in METRIC.findall(us) if "Invented" not in each]
            assert left == [], (design, page.name)
            if METRIC.search(plain):
                assert US.search(us), (design, page.name)
                turned += 1
    assert turned >= 6


def test_the_form_shows_both(tmp_path: Path) -> None:
    """What stands in the file is not changed by the switch; beside it stands the same in US units."""
    client, _ = client_of(folder_with(tmp_path, "dunlin"))
    client.cookies.set("units", "us")
    html = client.get("/d/dunlin/truck").text
    assert 'value="70 °C"' in html and "158 °F" in html
    harness = client.get("/d/dunlin/harness").text
    assert "Cut in" in harness and "Cut mm" not in harness


def test_what_a_metre_has_is_said_of_a_foot() -> None:
    """7 mΩ/m is 7 × 0.3048 mΩ/ft."""
    assert customary("<p>7 mΩ/m, 105 mV per metre</p>") == "<p>2.13 mΩ/ft, 32 mV per foot</p>"
