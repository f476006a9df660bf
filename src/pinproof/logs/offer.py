"""What a log measured, offered to the design as `measured`. Nothing is written by itself.

Answers: which numbers of the proof could now rest on a measurement, and what is to be written?
Units:   volts, °C, readings in the reading space.
Touches: nothing.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

from pinproof.logs.checks.pin import reading_words, settled
from pinproof.logs.extremes import Tally
from pinproof.logs.results import Offer
from pinproof.logs.seen import Seen
from pinproof.logs.settings import Settings

LEAST_S = 600.0  # of driving: less shows no range (common practice, no source)


def offers_of(logs: Sequence[Seen], settings: Settings) -> tuple[Offer, ...]:
    """Supply, coder temperature and settled readings, each with its range."""
    found: list[Offer] = []
    running = _joined([seen.tallies["supply running"] for seen in logs if "supply running" in seen.tallies])
    if running is not None:
        text = f'run = {{ low = "{running[0]:.2f} V", high = "{running[1]:.2f} V", basis = "measured" }}'
        found.append(
            Offer("supply.run", text, *running, "V", "Supply with the engine running, single samples left out.")
        )
    warm = _joined([seen.tallies["coder_temperature"] for seen in logs if "coder_temperature" in seen.tallies])
    if warm is not None:
        text = f'low = "{warm[0]:.0f} °C", high = "{warm[1]:.0f} °C" in [temperature]: of these days only'
        found.append(Offer("temperature", text, *warm, "°C", "Temperature at the coder. Hotter days come."))
    for line in settings.lines:
        for number, window in enumerate(line.windows):
            means: list[float] = []
            for seen in logs:
                if line.id in seen.pins:
                    runs = settled(seen.pins[line.id], seen)
                    means += [float(x) for x in runs.means[runs.value == number] if math.isfinite(x)]
            if len(means) >= 5:
                ends = min(means), max(means)
                text = f"{window.meaning} reads {reading_words(line, ends[0])} to {reading_words(line, ends[1])}"
                why = f"{len(means)} settled readings; compare with the proof's span, and keep them in the record."
                found.append(Offer(f"line.{line.id}.window.{window.meaning}", text, *ends, line.unit, why))
    return tuple(found)


def _joined(tallies: Sequence[Tally]) -> tuple[float, float] | None:
    known = [each for each in tallies if math.isfinite(each.low)]
    if not known or sum(each.seconds for each in known) < LEAST_S:
        return None
    return min(each.low for each in known), max(each.high for each in known)
