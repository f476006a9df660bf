"""`pinproof record`: what was measured so far, and what has moved."""

from __future__ import annotations

import math
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING

import click

from pinproof.cli.common import FILE, JSON, print_json, read_truck, write_whole

if TYPE_CHECKING:
    from collections.abc import Sequence

    from pinproof.design import Truck
    from pinproof.record import Drift, Entry

DAY_S = 86_400.0
SAME_SITTING_S = 600.0  # within it no drift is told: common practice, no source


@click.command("record")
@FILE
@JSON
@click.option("--station", "station_id", help="Only this station.")
@click.option("--plot", type=click.Path(dir_okay=False, path_type=Path), help="Draw the station's history as SVG.")
@click.option("--csv", "csv_file", type=click.Path(dir_okay=False, path_type=Path), help="Write all readings as CSV.")
@click.option("--strike", type=int, metavar="NUMBER", help="Strike a reading out: it stays, and counts no more.")
@click.option("--why", default="", help="With --strike: the reason, kept with it.")
@click.option("--all", "every", is_flag=True, help="Also what was struck out.")
@click.pass_context
def command(
    ctx: click.Context,
    file: Path,
    as_json: bool,
    station_id: str | None,
    plot: Path | None,
    csv_file: Path | None,
    strike: int | None,
    why: str,
    every: bool,
) -> None:
    """Show the readings of a truck, and which points have moved by more than the meter can be off.

    Ends with 0 if nothing drifts or jumps, 1 if something does, 2 if a file cannot be used.

    \b
    Example: pinproof record truck.toml
    Example: pinproof record truck.toml --station taps/ohms/lever_manual --plot history.svg
    """
    from pinproof.record import drift_of, open_record, readings_csv, record_path

    truck = read_truck(file)
    path = record_path(file)
    if not path.exists():
        raise click.UsageError(f"Nothing was measured yet: there is no {path.name}. Begin: pinproof meter {file}")
    with open_record(path, truck.id) as record:
        if strike is not None:
            if not why.strip():
                raise click.UsageError("--strike needs --why: a reason, kept with the reading.")
            record.strike(strike, datetime.now(UTC).strftime("%Y-%m-%dT%H:%M:%SZ"), why)
            click.echo(f"Struck out: reading {strike}.", err=True)
        entries = record.entries(station=station_id, struck=every)
    if station_id is not None and not entries:
        raise click.UsageError(f'No reading of "{station_id}" is kept. `pinproof record {file}` lists what there is.')
    counted = [each for each in entries if not each.struck_utc]
    histories: dict[str, list[Entry]] = {}
    for each in counted:
        histories.setdefault(each.fingerprint, []).append(each)
    drifts = {mark: drift_of(listed) for mark, listed in histories.items()}
    if csv_file is not None:
        write_whole(csv_file, readings_csv(entries))
        click.echo(f"Written: {csv_file}", err=True)
    if plot is not None:
        _plot(truck, plot, counted, drifts)
    if as_json:
        print_json(_json(truck, entries, histories, drifts))
    else:
        click.echo(record_words(truck, entries, histories, drifts))
    moved = any(each.word in ("drifts up", "drifts down", "jumps") for each in drifts.values())
    ctx.exit(1 if moved else 0)


def drift_words(drift: Drift, unit: str) -> str:
    """Whether a point moved, in words."""
    from pinproof.quantities import format_value

    dimension = "voltage" if unit == "V" else "resistance"

    def said(value: float) -> str:
        return ("-" if value < 0 else "+") + format_value(abs(value), dimension, digits=3)

    left = f" The earliest {drift.left_out} are left out." if drift.left_out else ""
    if drift.word == "too few":
        return "one number, nothing to compare yet" if drift.readings else "no number to compare"
    if drift.word == "steady":
        return f"steady: one value fits all {drift.readings} readings within the meter's error.{left}"
    days = drift.span_s / DAY_S
    if drift.span_s < SAME_SITTING_S:
        return (
            f"differs by more than the meter can be off: {said(drift.change)} within {_span(drift.span_s)}. In so "
            "short a time nothing drifts: a slip of the hand, another switch held, or a loose joint. Strike a slip out "
            f"(--strike NUMBER --why ...).{left}"
        )
    if drift.word == "jumps":
        return f"jumps: no steady value and no even drift fits {drift.readings} readings. Look for a loose joint.{left}"
    if days >= 1.0:
        rate = f", {said(drift.slope_low * DAY_S)} to {said(drift.slope_high * DAY_S)} a day"
    else:
        rate = f", {said(drift.slope_low * 3600.0)} to {said(drift.slope_high * 3600.0)} an hour"
    return f"{drift.word} by more than the meter can be off: {said(drift.change)} in {_span(drift.span_s)}{rate}.{left}"


def _span(span_s: float) -> str:
    if span_s >= 2.0 * DAY_S:
        return f"{span_s / DAY_S:.0f} days"
    if span_s >= 3600.0:
        return f"{span_s / 3600.0:.1f} hours"
    minutes = max(round(span_s / 60.0), 1)
    return f"{minutes} minute{'' if minutes == 1 else 's'}"


def record_words(
    truck: Truck, entries: Sequence[Entry], histories: dict[str, list[Entry]], drifts: dict[str, Drift]
) -> str:
    """Every reading, by station and circuit, with what they say together."""
    from pinproof.cli.show import hung
    from pinproof.quantities import format_value

    count = "1 reading" if len(entries) == 1 else f"{len(entries)} readings"
    meters = list(dict.fromkeys(each.meter for each in entries if each.meter))
    with_meter = f" Meter: {meters[0]}." if len(meters) == 1 else ""
    out = [f"Record of {truck.name or truck.id}: {count}.{with_meter}"]
    for mark, listed in histories.items():
        same = [other for other, theirs in histories.items() if theirs[0].station == listed[0].station]
        which = f" (circuit or meter {same.index(mark) + 1} of {len(same)})" if len(same) > 1 else ""
        out += ["", *hung(f"{listed[0].station}{which}: {drift_words(drifts[mark], listed[0].unit)}", "", "    ")]
        for each in listed:
            limit = ""
            if not math.isnan(each.error_limit) and not math.isinf(each.value):
                limit = f" ±{format_value(each.error_limit, 'voltage' if each.unit == 'V' else 'resistance', digits=2)}"
            ambient = "" if each.ambient_c is None else f", {each.ambient_c:g} °C"
            note = f"  {each.note}" if each.note else ""
            meter = f", {each.meter}" if len(meters) > 1 and each.meter else ""
            out.append(f"  {each.number:>5}  {each.taken_utc}  {each.text}{limit}{meter}{ambient}{note}")
    struck = [each for each in entries if each.struck_utc]
    if struck:
        out += ["", "Struck out:"]
        out += [f"  {e.number:>5}  {e.taken_utc}  {e.station} {e.text}: {e.struck_why}" for e in struck]
    return "\n".join(out)


def _plot(truck: Truck, path: Path, entries: Sequence[Entry], drifts: dict[str, Drift]) -> None:
    """The history of the one station that is left, with what it should read now."""
    from pinproof.drawings.history_plot import HistoryBand, HistoryPoint, history_plot
    from pinproof.meter import expected, stations
    from pinproof.record.drift import seconds
    from pinproof.wiring import line_view

    numbers = [each for each in entries if each.unit]
    names = list(dict.fromkeys(each.station for each in numbers))
    if len(names) != 1:
        raise click.UsageError("--plot draws one station: name it with --station. " + ", ".join(names[:8]))
    latest = numbers[-1]
    kept = [each for each in numbers if each.fingerprint == latest.fingerprint]
    points = [HistoryPoint(seconds(e.taken_utc), e.value, 0.0 if math.isnan(e.error_limit) else e.error_limit)
              for e in kept]  # fmt: skip
    bands: list[HistoryBand | None] = [None, None]
    station = next((each for each in stations(truck) if each.id == latest.station), None)
    if station is not None and truck.lines:
        view = line_view(truck, station.line or truck.lines[0].id)
        said = expected(view, station)
        bands = [HistoryBand(b.low, b.high) if b else None for b in (said.as_built, said.works)]
    words = drift_words(drifts[latest.fingerprint], latest.unit)
    drawing = history_plot(
        f"{latest.station}, {latest.meter}", points, latest.unit, as_built=bands[0], works=bands[1],
        words=words[0].upper() + words[1:],
    )  # fmt: skip
    write_whole(path, drawing.svg)
    click.echo(f"Written: {path}", err=True)


def _json(
    truck: Truck, entries: Sequence[Entry], histories: dict[str, list[Entry]], drifts: dict[str, Drift]
) -> dict[str, object]:
    from dataclasses import asdict

    return {
        "truck": truck.id,
        "readings": [{key: _plain(value) for key, value in asdict(each).items()} for each in entries],
        "histories": [
            {
                "station": listed[0].station,
                "fingerprint": mark,
                "unit": listed[0].unit,
                "numbers": [each.number for each in listed],
                **{key: _plain(value) for key, value in asdict(drifts[mark]).items()},
            }
            for mark, listed in histories.items()
        ],
    }


def _plain(value: object) -> object:
    if isinstance(value, float) and not math.isfinite(value):
        return None if math.isnan(value) else ("inf" if value > 0 else "-inf")
    return value
