"""Logs of a day: which there are, what they prove, evidence with its picture, and any stretch looked at again."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from datetime import date
from pathlib import Path
from typing import Any

from pinproof.chain.log_kept import judged_files, keep_log, kept_json, kept_words, names_words, when_words
from pinproof.design import loads
from pinproof.drawings import Drawing
from pinproof.drawings.log_shift import log_shift
from pinproof.drawings.log_where import log_reading_of, log_where
from pinproof.logs import (
    LogFault,
    LogFinding,
    LogReport,
    MapFault,
    ScriptFault,
    as_json,
    load_map,
    load_script,
    open_log,
)
from pinproof.logs.checks.case import Case
from pinproof.logs.log_time import TIMES_TOLD, clock
from pinproof.logs.plan import test_plan
from pinproof.logs.prove import case_of, report_of
from pinproof.logs.results import LogCheck
from pinproof.logs.zoom import LEAST_S, NoStretch, stretch_of
from pinproof.pack.log_page import log_report_html, log_report_pdf, plan_blocks, plan_html, plan_pdf
from pinproof.record import RecordFault, record_path
from pinproof.verdict import Verdict
from pinproof.web.finding import Finding
from pinproof.web.fragments import fragment
from pinproof.web.log_files import MOST_UPLOAD_BYTES, LogFiles, files_of, keep_upload, path_of, told
from pinproof.web.page import Action, Ask, Done, File, Page, Parameter
from pinproof.web.pages.downloads import KINDS

WORK = "pinproof.web.pages.log:prove_logs"
APART = "|"  # between names in an address; no file that is kept here can have it in its name
MOST_LOGS = 40
PICTURES = 3  # of one check at once; every other piece of evidence has a link to its own
HEADS = {
    Verdict.PASS: "The logs show what was asked", Verdict.FAIL: "The logs show a fault",
    Verdict.NOT_SHOWN: "The logs do not show everything", Verdict.WOULD_HOLD: "The logs do not show everything",
}  # fmt: skip
GROUPS = ((Verdict.FAIL, "Failed"), (Verdict.NOT_SHOWN, "Not shown"), (Verdict.PASS, "Passed"))


def prove_logs(
    text: str, name: str, groups: list[list[str]], map_path: str, script_path: str, work: str, record: str,
    say: Callable[..., None],
) -> tuple[LogReport, Case, str]:  # fmt: skip
    """The work of a process of its own: every log read once, then all checks over all of them, then it is kept in
    `record`. The last is what became of that, in a sentence; a record that cannot be used takes no report away."""
    truck = loads(text, name)
    try:
        known, script = load_map(map_path), load_script(script_path) if script_path else None
        logs = [open_log([Path(each) for each in group], known, work) for group in groups]
        judged = judged_files([each for group in groups for each in group], map_path, script_path, known.dbc)
        done = [0]

        def read(sentence: str) -> None:
            say(sentence, done[0] / (len(logs) + 1))
            done[0] += 1

        case = case_of(truck, logs, script, read)
    except (LogFault, MapFault, ScriptFault, RecordFault) as fault:
        raise told(fault) from None
    say("Looks at every tap, shift and reading …", len(logs) / (len(logs) + 1))
    report = report_of(truck, case)
    say("Keeps it …", 1.0)
    try:
        kept = kept_words(*keep_log(Path(record), truck, text, report, judged), Path(record).name)
    except RecordFault as fault:
        kept = f"Not kept. {fault}"
    return report, case, kept


def _asked(ask: Ask) -> dict[str, Any]:
    """What to judge, from the form or from the address."""
    if ask.form:
        sent = ask.form.get("log", [])
        logs = [sent] if isinstance(sent, str) else [str(each) for each in sent] if isinstance(sent, list) else []
        rest = {name: ask.text(name) for name in ("map", "script", "together")}
    else:
        logs = [each for each in ask.values.get("logs", "").split(APART) if each]
        rest = {name: ask.values.get(name, "") for name in ("map", "script", "together")}
    return {"logs": list(dict.fromkeys(each for each in logs if each)), **rest}


def _task(ask: Ask, files: LogFiles, asked: Mapping[str, Any]) -> tuple[tuple[Any, ...], tuple[Any, ...]]:
    """Arguments of the work, and what it is known by: other bytes, other work."""
    design = ask.design
    if not asked["logs"]:
        raise Finding(422, "No log is chosen.", "Tick at least one.", "log")
    if len(asked["logs"]) > MOST_LOGS:
        raise Finding(422, f"{MOST_LOGS} logs are the most at once.", "Choose fewer.", "log")
    if not asked["map"]:
        raise Finding(
            422, "Which column is what? No logger map is chosen.",
            "Make one for a log, look at every entry, confirm it.", "map",
        )  # fmt: skip
    paths = [path_of(files, each, files.logs, "log") for each in asked["logs"]]
    known = path_of(files, asked["map"], files.maps, "map")
    script = path_of(files, asked["script"], files.scripts, "script") if asked["script"] else None
    groups = [[str(each) for each in paths]] if asked["together"] == "yes" else [[str(each)] for each in paths]
    work = ask.site.workspace.folder / ".pinproof" / "logs"
    stats = [(each.name, (stat := each.stat()).st_size, stat.st_mtime_ns) for each in (*paths, known)]
    if script is not None:
        stats.append((script.name, script.stat().st_size, script.stat().st_mtime_ns))
    key = ("log", design.hash, tuple(stats), asked["together"])
    record = ask.site.workspace.own(record_path(design.path))
    task = (design.text, design.path.name, groups, str(known), str(script) if script else "", str(work), str(record))
    return task, key


def proven(ask: Ask) -> tuple[LogReport, Case] | None:
    """Report and case of what the address names, if that was worked out; None if not, or if nothing is named."""
    asked = _asked(ask)
    if not asked["logs"]:
        return None
    job = ask.site.jobs.find(_task(ask, files_of(ask), asked)[1])
    return job.result[:2] if job is not None and job.state == "done" else None


def query_of(asked: Mapping[str, Any]) -> dict[str, str]:
    """What is judged, as it stands in an address."""
    return {
        "logs": APART.join(asked["logs"]), "map": asked["map"], "script": asked["script"], "together": asked["together"]
    }  # fmt: skip


def result(ask: Ask) -> dict[str, Any]:
    """The folder's logs, maps and scripts; with logs in the address what `pinproof log --json` prints."""
    files, asked = files_of(ask), _asked(ask)
    job = ask.site.jobs.find(_task(ask, files, asked)[1]) if asked["logs"] else None
    done = job is not None and job.state == "done"
    return {
        "design": ask.design.name, "hash": ask.design.hash, "asked": asked,
        "logs": files.logs, "maps": files.maps, "scripts": files.scripts,
        "report": as_json(job.result[0]) if done and job is not None else None,
        "job": job.as_json() if job is not None else None, "kept": job.result[2] if done and job is not None else "",
        **kept_json(ask.truck.id, ask.site.work.kept(ask.design, ask.site.workspace)),
    }  # fmt: skip


def context(ask: Ask, found: Any) -> Mapping[str, Any]:
    """Verdicts with evidence, or what can be chosen."""
    asked = found["asked"]
    whole = proven(ask)
    plain = {
        "found": found, "asked": asked, "query": query_of(asked), "report": None,
        "job": None if whole else found["job"],
        "most_mb": MOST_UPLOAD_BYTES // 1_000_000, "day": _day(found), "proofs": _proofs(ask),
    }  # fmt: skip
    if whole is None:
        return plain
    report, _ = whole
    first = next((each for each in report.sorted if each.verdict is not Verdict.PASS), None)
    groups = []
    for verdict, head in GROUPS:
        group = [each for each in report.checks if each.verdict is verdict]
        if group:
            groups.append((verdict, head, [_check(ask, report, each) for each in group]))
    return {
        **plain, "report": report, "head": HEADS[report.verdict], "first": first, "groups": groups,
        "counts": [(sum(e.verdict is v for e in report.checks), head.lower()) for v, head in GROUPS],
        "excluded": sorted(report.excluded.items(), key=lambda each: -each[1]),
        "minutes": {log.name: f"{log.duration_s / 60.0:.1f} min" for log in report.logs}, "times": TIMES_TOLD,
    }  # fmt: skip


def _proofs(ask: Ask) -> list[Mapping[str, Any]]:
    """Every kept log proof, the latest first."""
    kept = ask.site.work.kept(ask.design, ask.site.workspace)
    return [
        {"proof": each.proof, "same": each.is_of_now, "verdict": each.verdict, "logs": names_words(each.proof),
         "when": when_words(each.proof), "words": each.words}
        for each in reversed(kept.proofs)
    ]  # fmt: skip


def _size(count: int) -> str:
    return f"{count / 1e6:.1f} MB" if count >= 100_000 else f"{max(count, 100) / 1e3:.1f} kB"


def _day(found: Mapping[str, Any]) -> list[Mapping[str, Any]]:
    chosen = set(found["asked"]["logs"])
    return [
        {"name": each.name, "size": _size(each.bytes), "at_s": each.mtime_ns // 1_000_000_000,
         "chosen": each.name in chosen}
        for each in found["logs"]
    ]  # fmt: skip


def _check(ask: Ask, report: LogReport, check: LogCheck) -> Mapping[str, Any]:
    loud = [each for each in check.findings if each.verdict in (Verdict.FAIL, Verdict.NOT_SHOWN)]
    where = log_where(report.logs, check.findings, ident=f"where-{check.check}") if loud else None
    seen: list[Mapping[str, Any]] = []
    for number, each in enumerate(loud):
        drawn = _picture(each, f"{check.check}-{number}") if number < PICTURES else None
        pair, closer = isinstance(drawn, tuple), _around(ask, each)
        seen.append({"finding": each, "when": _when(each), "drawn": drawn, "is_pair": pair, "closer": closer})
    return {"check": check, "where": where, "evidence": seen, "id": f"check-{check.check}"}


def _when(finding: LogFinding) -> str:
    return clock(finding.from_s) if finding.from_s is not None else finding.log or "all of it"


def _around(ask: Ask, finding: LogFinding) -> str:
    """Address of the stretch that its picture shows, for looking at it again; else of its own; "" for none."""
    if finding.from_s is None or not finding.log:
        return ""
    low, high = finding.from_s, finding.to_s if finding.to_s is not None else finding.from_s
    if finding.picture is not None:
        low, high = finding.picture.from_s, finding.picture.to_s
    return stretch_address(ask, finding.log, low, high)


def stretch_address(ask: Ask, log: str, from_s: float, to_s: float) -> str:
    """Address of a stretch of one of the logs that are proven here; never shorter than it can be shown."""
    ends = {"from": f"{from_s:.3f}", "to": f"{max(to_s, from_s + LEAST_S):.3f}"}
    return ask.address("log-stretch", **query_of(_asked(ask)), log=log, **ends)


def _picture(finding: LogFinding, ident: str) -> Drawing | tuple[Drawing, Drawing] | None:
    if finding.picture is not None and finding.picture.to_s > finding.picture.from_s:
        title = f"{finding.log}, {_when(finding)}: {finding.subject}"
        wide, narrow = (
            log_shift(finding.picture, title, layout=layout, ident=f"{ident}-{layout}") for layout in ("wide", "narrow")
        )
        return wide, narrow
    return log_reading_of(finding.numbers, ident=ident)


def _upload(ask: Ask) -> Done:
    """Keep a log, a map, a script or a DBC in the folder."""
    ask.design.truck  # noqa: B018
    sent = ask.uploads.get("file")
    if sent is None or not sent.name:
        raise Finding(422, "No file was sent.", "Choose a log first.", "file")
    name = keep_upload(ask, sent)
    files = files_of(ask)
    is_log = name in {each.name for each in files.logs}
    go = ask.address("log-map", log=name) if is_log and not files.maps else ask.address("log")
    return Done({"file": name, "bytes": len(sent.data)}, go)


def _prove(ask: Ask) -> Done:
    asked = _asked(ask)
    task, key = _task(ask, files_of(ask), asked)
    try:
        load_map(task[3])
        if task[4]:
            load_script(task[4])
    except (MapFault, ScriptFault) as fault:
        raise told(fault) from None
    back = ask.address("log", **query_of(asked))
    job = ask.site.jobs.start(f"Proving from the logs of {ask.design.title}", WORK, task, key=key, back=back)
    return Done(job.as_json(), back)


def _stretch(ask: Ask) -> dict[str, Any]:
    """One stretch of one log, as the address says."""
    whole = proven(ask)
    if whole is None:
        raise Finding(404, "These logs are not proven yet, or the file changed since.", "Prove them on the log page.")
    try:
        ends = [float(ask.values.get(name, "")) for name in ("from", "to")]
        found = stretch_of(whole[1], ask.values.get("log", ""), ends[0], ends[1])
    except NoStretch as fault:
        raise Finding(404, str(fault), "Begin with a piece of evidence on the log page.") from None
    except ValueError:
        raise Finding(422, "A stretch is given by from and to, in seconds.", "As in from=12.5&to=20.", "from") from None
    return {"design": ask.design.name, "stretch": found}


def _stretch_page(ask: Ask, found: Any) -> Mapping[str, Any]:
    one = found["stretch"]
    title = f"{one.log}, {clock(one.from_s)} to {clock(one.to_s)}"
    drawn = [log_shift(one.picture, title, layout=layout, ident=f"stretch-{layout}") for layout in ("wide", "narrow")]
    steps = (("Closer", one.closer), ("Wider", one.wider), ("Earlier", one.earlier), ("Later", one.later))
    return {
        "stretch": one, "drawn": drawn, "title": title, "query": query_of(_asked(ask)),
        "steps": [(name, stretch_address(ask, one.log, *to)) for name, to in steps if to is not None],
    }  # fmt: skip


def _plan(ask: Ask) -> dict[str, Any]:
    """What to press and drive; with proven logs in the address only what is still open."""
    whole = proven(ask)
    plan = test_plan(ask.truck, whole[0] if whole else None)
    return {"design": ask.design.name, "hash": ask.design.hash, "open_only": whole is not None, "plan": plan}


def _plan_page(ask: Ask, found: Any) -> Mapping[str, Any]:
    return {"found": found, "body": fragment(plan_blocks(found["plan"])), "query": query_of(_asked(ask))}


def _file(ask: Ask) -> File:
    """Report or plan as a file, for paper or for a mail."""
    name, day = ask.values["name"], date.today()
    paper = "letter" if ask.settings.units == "us" else "a4"
    whole = proven(ask)
    if name in ("plan.pdf", "plan.html"):
        plan = test_plan(ask.truck, whole[0] if whole else None)
        data = plan_pdf(plan, paper=paper, made_on=day) if name == "plan.pdf" else plan_html(
            plan, generated_on=day.isoformat()
        ).encode("utf-8")  # fmt: skip
    elif name in ("report.pdf", "report.html"):
        if whole is None:
            raise Finding(404, "These logs are not proven yet.", "Prove them on the log page.")
        data = log_report_pdf(whole[0], paper=paper, made_on=day) if name == "report.pdf" else log_report_html(
            whole[0], generated_on=day.isoformat()
        ).encode("utf-8")  # fmt: skip
    else:
        raise Finding(404, f'There is no file "{name[:60]}" here.', "There are report and plan, each .pdf and .html.")
    return File(f"{ask.design.name}-log-{name}", data, KINDS[name.rpartition(".")[2]])


WHAT = (
    Parameter("logs", f'Names of logs, "{APART}" between them.'), Parameter("map", "Name of the logger map."),
    Parameter("script", "Name of the crew's script."),
    Parameter("together", "The logs are parts of one recording.", words=("yes",)),
)  # fmt: skip
PAGE = Page(
    "log", "/d/{design}/log", "Logs", "Did the truck do what it was told, as far as the recordings say?",
    result, "log.html", context, links=("log",), parameters=WHAT,
    actions=(
        Action(
            "upload", "Keeps a log, map, script or DBC in the folder.", _upload,
            (Parameter("file", "The file.", "file", True),), MOST_UPLOAD_BYTES,
        ),
        Action(
            "prove", "Proves from the logs in the background.", _prove,
            (Parameter("log", "Name of a log, as often as there are.", required=True, many=True), *WHAT[1:]),
        ),
    ),
)  # fmt: skip
STRETCH = Page(
    "log-stretch", "/d/{design}/log/stretch", "Stretch of a log",
    "What was asked and what did the gearbox do between these two times?", _stretch, "log_stretch.html", _stretch_page,
    menu=False, parameters=(
        *WHAT, Parameter("log", "Which of them.", required=True), Parameter("from", "Begin.", required=True),
        Parameter("to", "End.", required=True),
    ),
)  # fmt: skip
PLAN = Page(
    "log-plan", "/d/{design}/log/plan", "Test plan", "What is to be pressed and driven so that the log can show it?",
    _plan, "log_plan.html", _plan_page, menu=False, parameters=WHAT,
)  # fmt: skip
ONE = Page(
    "log-file", "/d/{design}/log/file/{name}", "Log report as a file", "Report or test plan as PDF or HTML.", _file,
    menu=False, parameters=WHAT,
)  # fmt: skip
