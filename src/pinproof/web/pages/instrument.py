"""The meter, described once for every design of the folder."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from pinproof.design.load import decode, read_bytes, text_hash
from pinproof.design.model import BASES
from pinproof.design.save import save_atomic
from pinproof.meter.instrument import HEADS, STARTER, MeterFault, instrument_text, written
from pinproof.web.finding import Finding
from pinproof.web.page import Action, Ask, Done, Page, Parameter
from pinproof.web.pages.again import shown_again
from pinproof.web.pages.meter import METER_FILE

LABELS = {
    "name": ("Name", "What you call it."),
    "basis": ("Where these figures come from", "published: copied from its booklet. assumed: ordinary figures."),
    "note": ("Note", ""),
    "counts": ("Counts", "The highest number the display can show, as 6000."),
    "input_resistance": ("Input resistance on volts", "As 10 Mohm."),
    "leads_low": ("Leads add at least", "Held together, as 0.1 ohm."),
    "leads_high": ("Leads add at most", "As 0.3 ohm."),
    "zeroed": ("Leads are zeroed in the meter", ""),
    "accurate_from": ("Accuracy holds from", "As 18 °C."),
    "accurate_to": ("to", "As 28 °C."),
    "per_degree": ("Beyond that it grows by, per degree", "A share of itself, as 10 %."),
}
SPARE_ROWS = 3
MOST_ROWS = 40


def result(ask: Ask) -> dict[str, Any]:
    """The meter file as written; the ordinary figures where there is none."""
    path = ask.site.workspace.own(METER_FILE)
    if not path.is_file():
        heads, ranges = written(STARTER, "starter")
        return {"described": False, "file": METER_FILE, "hash": "", "heads": heads, "ranges": ranges, "fault": ""}
    data = read_bytes(str(path))
    try:
        heads, ranges = written(decode(data, METER_FILE).removeprefix("\ufeff"), METER_FILE)
    except MeterFault as fault:
        heads, ranges = written(STARTER, "starter")
        told = {"heads": heads, "ranges": ranges, "fault": str(fault)}
        return {"described": True, "file": METER_FILE, "hash": text_hash(data), **told}
    return {
        "described": True, "file": METER_FILE, "hash": text_hash(data), "heads": heads, "ranges": ranges, "fault": "",
    }  # fmt: skip


def context(ask: Ask, found: Any) -> Mapping[str, Any]:
    """The fields with their labels."""
    rows = [*found["ranges"], *[("", "")] * SPARE_ROWS]
    fields = [(key, *LABELS[key], found["heads"].get(key, "")) for key in HEADS]
    return {"found": found, "fields": fields, "rows": rows, "bases": BASES, "wrong": "", "then": ""}


def _save(ask: Ask) -> Done:
    """Write the meter file."""
    heads = {key: ask.text(key).strip() for key in HEADS}
    pairs = [(ask.text(f"full-{n}").strip(), ask.text(f"accuracy-{n}").strip()) for n in range(MOST_ROWS)]
    ranges = [pair for pair in pairs if any(pair)]
    path = ask.site.workspace.own(METER_FILE)
    try:
        text = instrument_text(heads, ranges)
        seen = ask.text("base")
        if not seen and path.exists():
            raise Finding(409, f"{METER_FILE} is there by now; it is not written over.", "Load this page again.")
        save_atomic(path, text, seen or None)
    except MeterFault as fault:
        rows = [*ranges, *[("", "")] * SPARE_ROWS]
        fields = [(key, *LABELS[key], heads.get(key, "")) for key in HEADS]
        raise shown_again(ask, ask.site.address("instrument"), fault, {"fields": fields, "rows": rows}) from None
    return Done({"file": METER_FILE, "hash": text_hash(text.encode("utf-8"))}, ask.back("/instrument"))


PAGE = Page(
    "instrument", "/instrument", "Your meter", "How far may this meter be off, on each range?", result,
    "instrument.html", context, menu=False,
    actions=(
        Action(
            "save", "Writes meter.toml into the folder.", _save,
            (
                Parameter("base", 'Hash of the file as it was read; "" if there was none.'),
                *(Parameter(key, f"{LABELS[key][0]}. {LABELS[key][1]}".strip()) for key in HEADS),
                Parameter("full-0", "Full scale of the first range, as 6 kohm; full-1 and so on for the others."),
                Parameter("accuracy-0", "Its accuracy, as 0.9 % + 2."),
            ),
        ),
    ),
)  # fmt: skip
