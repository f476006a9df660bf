"""`pinproof record`: what was measured so far, what has moved, and what logs proved."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING

import click

from pinproof.cli.common import FILE, JSON, NothingThere, print_json, read_truck, text_of, write_whole

if TYPE_CHECKING:
    from collections.abc import Sequence

    from pinproof.chain.log_kept import KeptLogs
    from pinproof.design import Truck
    from pinproof.record import Entry
    from pinproof.record.history import History

STRIKE = "(--strike NUMBER --why ...)"


@click.command("record")
@FILE
@JSON
@click.option("--station", "station_id", help="Only this station.")
@click.option("--plot", type=click.Path(dir_okay=False, path_type=Path), help="Draw the station's history as SVG.")
@click.option("--csv", "csv_file", type=click.Path(dir_okay=False, path_type=Path), help="Write all readings as CSV.")
@click.option("--logs", is_flag=True, help="What logs proved instead of readings, the latest last.")
@click.option(
    "--strike",
    type=int,
    metavar="NUMBER",
    help="Strike a reading out (with --logs a log proof): it stays, and counts no more.",
)
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
    logs: bool,
    strike: int | None,
    why: str,
    every: bool,
) -> None:
    """Show the readings of a truck, and which points have moved by more than the meter can be off.

    Ends with 0 if nothing drifts or jumps, 1 if something does, 2 if a file cannot be used. With --logs: 0 if the
    latest log proof is a pass of the design as it stands now, 1 if not.

    \b
    Example: pinproof record truck.toml
    Example: pinproof record truck.toml --station taps/ohms/lever_manual --plot history.svg
    Example: pinproof record truck.toml --logs
    """
    from pinproof.record import open_record, readings_csv, record_path
    from pinproof.record.history import as_json as plain
    from pinproof.record.history import histories_of

    truck = read_truck(file)
    path = record_path(file)
    if logs:
        if station_id is not None or plot is not None or csv_file is not None:
            raise click.UsageError("--station, --plot and --csv are for readings; leave them out with --logs.")
        ctx.exit(_logs(file, truck, strike, why, every=every, as_json=as_json))
    if not path.exists():
        raise NothingThere(f"Nothing was measured yet: there is no {path.name}. Begin: pinproof meter {file}")
    with open_record(path, truck.id) as record:
        if strike is not None:
            record.strike(strike, _now_if(why), why)
            click.echo(f"Struck out: reading {strike}.", err=True)
        entries = record.entries(station=station_id, struck=every)
        proofs = len(record.log_proofs())
    if station_id is not None and not entries:
        raise click.UsageError(f'No reading of "{station_id}" is kept. `pinproof record {file}` lists what there is.')
    histories = histories_of(entries)
    if csv_file is not None:
        write_whole(csv_file, readings_csv(entries))
        click.echo(f"Written: {csv_file}", err=True)
    if plot is not None:
        _plot(truck, plot, histories)
    if as_json:
        print_json(plain(truck.id, entries, histories))
    else:
        click.echo(record_words(truck, entries, histories))
        if proofs:
            click.echo(f"\nLog proofs: {proofs}. They are listed with --logs.")
    ctx.exit(1 if any(each.moved for each in histories) else 0)


def _now_if(why: str) -> str:
    """The time of striking out; UsageError without a reason."""
    if not why.strip():
        raise click.UsageError("--strike needs --why: a reason, kept with what is struck out.")
    return datetime.now(UTC).strftime("%Y-%m-%dT%H:%M:%SZ")


def _logs(file: Path, truck: Truck, strike: int | None, why: str, *, every: bool, as_json: bool) -> int:
    """Print what logs proved; the exit code."""
    from pinproof.chain.log_kept import kept_json, kept_logs
    from pinproof.record import open_record, record_path
    from pinproof.verdict import Verdict

    path = record_path(file)
    if strike is not None and path.exists():
        with open_record(path, truck.id) as record:
            record.strike_log_proof(strike, _now_if(why), why)
        click.echo(f"Struck out: log proof {strike}.", err=True)
    kept = kept_logs(path, truck, text_of(file, truck))
    if kept.fault:
        raise click.UsageError(kept.fault)
    shown = kept_logs(path, truck, text_of(file, truck), struck=True) if every else kept
    if as_json:
        print_json(kept_json(truck.id, shown))
    elif not shown.proofs:
        raise NothingThere(f"No log proof is kept. Prove: pinproof log {file} LOG --map MAP")
    else:
        click.echo(log_proofs_words(truck, shown))
    return 0 if kept.last is not None and kept.last.verdict is Verdict.PASS else 1


def log_proofs_words(truck: Truck, kept: KeptLogs) -> str:
    """Every kept log proof, the latest last: what it said, what it rests on, whether it still counts."""
    from pinproof.chain.log_kept import names_words, when_words
    from pinproof.cli.show import hung
    from pinproof.cli.show_log import SIGN
    from pinproof.record.history import time_words

    count = "1 log proof" if len(kept.proofs) == 1 else f"{len(kept.proofs)} log proofs"
    out = [f"Record of {truck.name or truck.id}: {count}. The latest that is not struck out counts."]
    for each in kept.proofs:
        proof = each.proof
        others = [f"{file.kind} {file.name}" for file in proof.files if file.kind != "log"]
        out += ["", *hung(
            f"{proof.number:>5}  {SIGN[proof.verdict]} {str(proof.verdict).upper()}  {when_words(proof)}  "
            f"{names_words(proof)} with {', '.join(others)}", "", " " * 7,
        )]  # fmt: skip
        if proof.struck_utc:
            out += hung(f"Struck out {time_words(proof.struck_utc)}: {proof.struck_why}", " " * 7, " " * 7)
        elif not each.is_of_now:
            out += hung("The design has changed since: it shows nothing of the design as it stands now.", " " * 7,
                        " " * 7)  # fmt: skip
        out += hung(each.words, " " * 7, " " * 7)
    return "\n".join(out)


def record_words(truck: Truck, entries: Sequence[Entry], histories: Sequence[History]) -> str:
    """Every reading, by station and circuit, with what they say together."""
    from pinproof.cli.show import hung
    from pinproof.record.history import drift_words, limit_words, time_words

    count = "1 reading" if len(entries) == 1 else f"{len(entries)} readings"
    meters = list(dict.fromkeys(each.meter for each in entries if each.meter))
    with_meter = f" Meter: {meters[0]}." if len(meters) == 1 else ""
    out = [f"Record of {truck.name or truck.id}: {count}.{with_meter}"]
    for one in histories:
        which = f" (circuit or meter {one.which} of {one.among})" if one.among > 1 else ""
        out += ["", *hung(f"{one.station}{which}: {drift_words(one.drift, one.unit, STRIKE)}", "", "    ")]
        for each in one.entries:
            limit = f" {limit_words(each)}" if limit_words(each) else ""
            ambient = "" if each.ambient_c is None else f", {each.ambient_c:g} °C"
            note = f"  {each.note}" if each.note else ""
            meter = f", {each.meter}" if len(meters) > 1 and each.meter else ""
            out.append(f"  {each.number:>5}  {time_words(each.taken_utc)}  {each.text}{limit}{meter}{ambient}{note}")
    struck = [each for each in entries if each.struck_utc]
    if struck:
        out += ["", "Struck out:"]
        out += [f"  {e.number:>5}  {time_words(e.taken_utc)}  {e.station} {e.text}: {e.struck_why}" for e in struck]
    return "\n".join(out)


def _plot(truck: Truck, path: Path, histories: Sequence[History]) -> None:
    """The history of the one station that is left, with what it should read now."""
    from pinproof.chain.bench import bands_of
    from pinproof.drawings.history_plot import plot_of
    from pinproof.record.history import drift_words

    numbers = [each for each in histories if each.unit]
    names = list(dict.fromkeys(each.station for each in numbers))
    if len(names) != 1:
        raise click.UsageError("--plot draws one station: name it with --station. " + ", ".join(names[:8]))
    latest = max(numbers, key=lambda each: (each.entries[-1].taken_utc, each.entries[-1].number))
    bands = bands_of(truck, latest.station)
    write_whole(path, plot_of(latest, *bands, words=drift_words(latest.drift, latest.unit, STRIKE)).svg)
    click.echo(f"Written: {path}", err=True)
