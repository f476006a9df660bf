"""Where in the logs the evidence of a check lies, and one reading against its span.

Answers: when in the day did it happen; how far outside was the reading?
Units:   millimetres on paper; seconds from each log's begin; readings in the reading space.
Touches: nothing but the shipped typefaces.

Picture language: a log is a bar as long as it lasted; a full notch is a fail, a hollow one is not shown. A reading is a
pin above a rule; the hatched part of the rule is what the proof allows.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from pinproof.drawings.bands import SMALL_MM
from pinproof.drawings.measure import drawable, reach_mm, width_mm
from pinproof.drawings.place import Drawing
from pinproof.drawings.svg import Canvas, number
from pinproof.logs.results import LogFinding, LogRead
from pinproof.verdict import Verdict

WIDTH_MM = 182.0
_LINE_MM = 5.2


def log_where(logs: Sequence[LogRead], findings: Sequence[LogFinding], *, ident: str = "log-where") -> Drawing | None:
    """Bars of all logs that hold evidence, with a notch for each; None where no finding has a time."""
    placed = [
        each for each in findings if each.from_s is not None and each.verdict in (Verdict.FAIL, Verdict.NOT_SHOWN)
    ]
    names = list(dict.fromkeys(each.log for each in placed))
    shown = [each for each in logs if each.name in names and each.duration_s > 0.0][:12]
    if not shown:
        return None
    longest = max(each.duration_s for each in shown)
    label = min(40.0, max(width_mm(drawable(each.name[:28]), SMALL_MM) for each in shown) + 2.0)
    canvas = Canvas(WIDTH_MM, len(shown) * _LINE_MM + 1.0, "Where it happened", _told(placed), ident)
    canvas.group(kind="pp-where")
    for row, log in enumerate(shown):
        y = row * _LINE_MM + 0.8
        canvas.text(0.3, y + (2.6 + reach_mm(SMALL_MM)[0]) / 2.0 - 0.4, log.name[:28], SMALL_MM)
        room = WIDTH_MM - label - 18.0
        wide = max(1.0, room * log.duration_s / longest)
        canvas.rect(label, y, wide, 2.6, stroke=0.25, fill=0.06)
        for each in placed:
            if each.log == log.name and each.from_s is not None:
                at = label + wide * min(max(each.from_s / log.duration_s, 0.0), 1.0)
                notch = f"M{number(at)} {number(y + 2.6)}l-1 -3.2h2z"
                full = each.verdict is Verdict.FAIL
                canvas.path(notch, fill=1.0 if full else 0.0, stroke=0.0 if full else 0.2)
        canvas.text(label + wide + 1.2, y + 2.3, _length(log.duration_s), SMALL_MM, soft=True)
    return canvas.finish()


def _length(seconds: float) -> str:
    return f"{seconds / 3600.0:.1f} h" if seconds >= 3600.0 else f"{seconds / 60.0:.0f} min"


def _told(findings: Sequence[LogFinding]) -> str:
    return " ".join(
        f"{each.log}, {each.from_s:.1f} s: {each.subject}." for each in findings[:40] if each.from_s is not None
    )


def log_reading_of(numbers: Mapping[str, object], *, ident: str = "log-reading") -> Drawing | None:
    """The reading of a finding against its span; None where its numbers tell of none."""
    low, high, reading = (numbers.get(key) for key in ("low", "high", "reading"))
    if isinstance(low, float) and isinstance(high, float) and isinstance(reading, float):
        return log_reading(low, high, reading, str(numbers.get("unit", "1")), ident=ident)
    return None


def log_reading(low: float, high: float, reading: float, unit: str, *, ident: str = "log-reading") -> Drawing:
    """One reading outside the span of the proof.

    Parameters
    ----------
    low, high : float
        The span.
    reading : float
        What was read.
    unit : str
        "1": shown in percent; "V": in volts.
    """
    scale, sign = (100.0, "%") if unit == "1" else (1.0, "V")
    ends = min(low, reading), max(high, reading)
    room = max(ends[1] - ends[0], 1e-9) * 0.25
    begin, end = ends[0] - room, ends[1] + room
    words = f"Read {reading * scale:.1f} {sign}; the proof allows {low * scale:.1f} to {high * scale:.1f} {sign}"
    canvas = Canvas(WIDTH_MM, 15.0, words, f"{words}.", ident)

    def x(value: float) -> float:
        return 0.8 + (value - begin) / (end - begin) * (WIDTH_MM - 1.6)

    canvas.group(kind="pp-rule")
    canvas.line(x(begin), 8.0, x(end), 8.0, width=0.3)
    canvas.rect(x(low), 6.2, x(high) - x(low), 3.6, stroke=0.3)
    canvas.hatch(x(low), 6.2, x(high), 9.8, pitch=1.6, lean="/")
    for value, anchor in ((low, "end"), (high, "start")):
        gap = -0.8 if anchor == "end" else 0.8
        canvas.text(x(value) + gap, 13.4, f"{value * scale:.1f} {sign}", SMALL_MM, anchor=anchor)
    canvas.group(kind="pp-reading")
    canvas.path(f"M{number(x(reading))} 8l-1.2 -3.4h2.4z", fill=1.0)
    canvas.text(x(reading), 3.4, f"{reading * scale:.1f} {sign}", SMALL_MM, anchor="middle", weight="strong")
    return canvas.finish()
