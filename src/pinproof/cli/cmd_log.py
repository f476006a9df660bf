"""`pinproof log`: prove from recordings, print the test plan, propose a logger map."""

from __future__ import annotations

from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

import click

from pinproof.cli.common import JSON, print_json, read_truck, text_of, write_whole

if TYPE_CHECKING:
    from pinproof.design import Truck
    from pinproof.logs import LogReport

PATH = click.Path(dir_okay=False, path_type=Path)


@click.command("log")
@click.argument("file", type=PATH, required=False)
@click.argument("logs", type=PATH, nargs=-1, metavar="[LOG]...")
@JSON
@click.option("--map", "map_file", type=PATH, help="The logger map: what each column of these logs is.")
@click.option("--script", "script_file", type=PATH, help="What the crew pressed and drove, written down by the crew.")
@click.option("--together", is_flag=True, help="The logs are parts of one recording, one after the other.")
@click.option("--plan", is_flag=True, help="Print what to press and drive; with logs only what is still open.")
@click.option("--map-from", type=PATH, metavar="LOG", help="Propose a logger map for this log; write it with -o.")
@click.option("--dbc", type=PATH, help="With --map-from and a CAN recording: its DBC file.")
@click.option("--work", type=click.Path(file_okay=False, path_type=Path), help="Folder that makes the next look quick.")
@click.option("--no-keep", is_flag=True, help="Do not keep the result beside the design file.")
@click.option("--all", "every", is_flag=True, help="Print all evidence.")
@click.option("-o", "--output", type=PATH, help="Write the report or the plan: .html or .pdf; or the proposed map.")
@click.pass_context
def command(
    ctx: click.Context,
    file: Path | None,
    logs: tuple[Path, ...],
    as_json: bool,
    map_file: Path | None,
    script_file: Path | None,
    together: bool,
    plan: bool,
    map_from: Path | None,
    dbc: Path | None,
    work: Path | None,
    no_keep: bool,
    every: bool,
    output: Path | None,
) -> None:
    """Prove from a log that the truck did what it was told.

    Several logs of one day are one proof. Ends with 0 if every check passed, 1 if one failed or is not shown, 2 if a
    file cannot be used. What it proved is kept beside the design file: `pinproof next` tells it, `pinproof record FILE
    --logs` lists it.

    \b
    Example: pinproof log --map-from day1.csv -o logger.toml
    Example: pinproof log truck.toml day1.csv day2.csv --map logger.toml --script script.toml -o report.html
    Example: pinproof log truck.toml --plan -o plan.pdf
    """
    if map_from is not None:
        _propose(map_from, dbc, output)
        return
    if file is None:
        raise click.UsageError("Name the design file, as in: pinproof log truck.toml day1.csv --map logger.toml")
    if output is not None and output.suffix.lower() not in (".html", ".pdf"):
        raise click.UsageError(f"-o {output}: a report or a plan is written as .html or .pdf.")
    from pinproof.logs import as_json as plain

    truck = read_truck(file)
    report: LogReport | None = None
    keeping: _Keeping | None = None
    if logs:
        if map_file is None:
            raise click.UsageError(
                f"Which column is what? Propose a map, confirm it, name it: pinproof log --map-from "
                f"{logs[0]} -o logger.toml"
            )
        from pinproof.logs import load_map, load_script, open_log, prove_log

        known = load_map(map_file)
        script = None if script_file is None else load_script(script_file)
        groups = [list(logs)] if together else [[each] for each in logs]
        opened = [open_log(each, known, work) for each in groups]
        if not no_keep:
            keeping = _Keeping(file, truck, logs, map_file, script_file, known.dbc)
        report = prove_log(truck, opened, script)
    elif not plan:
        raise click.UsageError(f"Name a log, or ask for a plan: pinproof log {file} --plan")
    if plan:
        from pinproof.logs.plan import test_plan

        made = test_plan(truck, report)
        if output is not None:
            from pinproof.pack.log_page import plan_html, plan_pdf

            today = date.today()
            if output.suffix.lower() == ".pdf":
                _write_bytes(output, plan_pdf(made, made_on=today))
            else:
                write_whole(output, plan_html(made, generated_on=today.isoformat()))
            click.echo(f"Written: {output}", err=True)
        if as_json:
            print_json(plain(made))
        else:
            from pinproof.cli.show_log import plan_words

            click.echo(plan_words(made))
        if keeping is not None and report is not None:
            keeping.keep(report)
        ctx.exit(0)
    assert report is not None
    if as_json:
        print_json(plain(report))
    else:
        from pinproof.cli.show_log import report_words

        click.echo(report_words(report, every=every))
    if output is not None:
        from pinproof.pack.log_page import log_report_html, log_report_pdf

        today = date.today()
        if output.suffix.lower() == ".pdf":
            _write_bytes(output, log_report_pdf(report, made_on=today))
        else:
            write_whole(output, log_report_html(report, generated_on=today.isoformat()))
        click.echo(f"Report: {output}", err=True)
    if keeping is not None:
        keeping.keep(report)
    ctx.exit(report.verdict.exit_code)


class _Keeping:
    """Keeps what was proven, once it is printed; what would hinder it is told before the work."""

    def __init__(
        self, file: Path, truck: Truck, logs: tuple[Path, ...], map_file: Path, script_file: Path | None, dbc: str
    ) -> None:
        from pinproof.chain.log_kept import judged_files, refuse_early
        from pinproof.record import RecordFault, record_path

        self.path, self.truck, self.text = record_path(file), truck, text_of(file, truck)
        try:
            refuse_early(self.path, truck.id)
        except RecordFault as fault:
            fault.next_step += " Or prove without keeping: --no-keep."
            raise
        self.judged = judged_files(logs, map_file, script_file, dbc)

    def keep(self, report: LogReport) -> None:
        """Keep it, and say so in one line."""
        from pinproof.chain.log_kept import keep_log, kept_words

        click.echo(
            kept_words(*keep_log(self.path, self.truck, self.text, report, self.judged), self.path.name), err=True
        )


def _propose(log: Path, dbc: Path | None, output: Path | None) -> None:
    from pinproof.logs import propose_map

    made = propose_map(log, dbc)
    if output is None:
        click.echo(made.text)
    elif output.exists():
        raise click.UsageError(f"{output} is there already; it is not written over. Name another, or remove it.")
    else:
        write_whole(output, made.text)
        click.echo(f"Written: {output}. Look at every entry, set confirmed = true where it is right.", err=True)
    for question in made.questions:
        click.echo(f"? {question}", err=True)


def _write_bytes(path: Path, data: bytes) -> None:
    """Write a file so that nobody ever sees half of it."""
    import os

    path.parent.mkdir(parents=True, exist_ok=True)
    part = path.with_name(f"{path.name}.{os.getpid()}.part")
    try:
        part.write_bytes(data)
        os.replace(part, path)
    except BaseException:
        part.unlink(missing_ok=True)
        raise
