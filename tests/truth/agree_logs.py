"""Do the checks of a log find what is planted in it, and nothing else? Thousands of invented logs of many loggers.

    python3 dev.py truth 1000 --logs                 logs with planted defects, and sound ones
    python3 dev.py truth 200 --logs --scripts        scripted sessions
    python3 dev.py truth 40 --logs --cycles          gear from the ratio on published drive cycles

The product is called only by what docs/logs.md and docs/log-files.md promise, from files on disk. What must be found is
decided before, by `log_oracle`, from the physics and the samples.
"""

from __future__ import annotations

import argparse
import json
import multiprocessing
import sys
import tempfile
import time
import traceback
from collections import Counter
from dataclasses import asdict, dataclass, field
from pathlib import Path
from typing import Any

import numpy as np

from tests.truth import log_files_out, log_scripts
from tests.truth.log_defects import DEFECTS, Planted, can_be_planted, plant
from tests.truth.log_designs import design_text
from tests.truth.log_loggers import Logged, make_logger, record
from tests.truth.log_oracle import Tell, tellable
from tests.truth.log_sim import simulate
from tests.truth.log_sim_truck import Truck, make_truck

SOUND_SHARE = 0.3
STEPS = ("missed-tap", "doubled-tap", "reversed-tap", "unasked-shift")
PIN = ("pin-window", "pin-span", "pin-meaning", "pin-margin")

# defect -> checks of which one must fail, and further checks that may fail because of it
EXPECTED: dict[str, tuple[tuple[str, ...], tuple[str, ...]]] = {
    "wrong_lever_code": (("lever-code",), ("manual-engages",)),
    "never_manual": (("manual-engages",), STEPS),
    "missed": (("missed-tap",), ()),
    "doubled": (("doubled-tap",), ("unasked-shift", "shift-time")),
    "reversed": (("reversed-tap",), STEPS),
    "unasked": (("unasked-shift",), STEPS),
    "slow_shift": (("shift-time",), (*STEPS, "gear-slip", "gear-agrees")),
    "flare": (("flare",), ("over-speed", "shift-time")),
    "slip": (("gear-slip",), ("gear-agrees", "driveline-numbers", "shift-time", "flare")),
    "overspeed": (("downshift-guard", "over-speed"), ()),
    "bounce": (("bounce", "doubled-tap"), (*STEPS, "press-length")),
    "pin_drift": (PIN, STEPS),
    "false_command": ((*PIN, "unasked-shift", "false-tap"), (*STEPS, "manual-engages", "press-length")),
    "wrong_gear": (("gear-agrees",), ("driveline-numbers", "gear-slip", "downshift-guard", "shift-time", *STEPS)),
    "wrong_driveline": (("driveline-numbers",), ("downshift-guard", "gear-agrees", "gear-slip")),
    "supply_low": (("supply",), PIN),
    "hot": (("temperature",), PIN),
    "limiter_below_line": (("limiter",), ()),
    "stations_differ": ((*PIN, "reversed-tap", "missed-tap"), STEPS),
}  # fmt: skip


@dataclass
class Outcome:
    """One log: what was planted, whether the oracle says it can be told, what the product said."""

    seed: int
    kind: str
    profile: str
    tellable: bool = False
    p: float = 0.0
    why: str = ""
    verdicts: dict[str, str] = field(default_factory=dict)
    texts: dict[str, str] = field(default_factory=dict)  # of the checks that failed, or of those that should have
    found: bool = False
    placed: bool = True  # a finding lies where the oracle says that the defect shows
    false_alarms: list[str] = field(default_factory=list)
    passed: list[str] = field(default_factory=list)  # expected checks that passed though the defect can be told
    demanded: dict[str, str] = field(default_factory=dict)  # scripts only: check -> "wanted, got"
    crash: str = ""

    @property
    def missed(self) -> bool:
        return self.tellable and not self.found and not self.crash


def prove_files(design: str, log: Path, map_: Path, script: str, folder: Path) -> Any:
    """The product, by its public functions, from files."""
    from pinproof.design import load
    from pinproof.logs import load_map, load_script, open_log, prove_log

    design_path = folder / "truck.toml"
    design_path.write_text(design, encoding="utf-8")
    truck = load(design_path)
    recording = open_log([log], load_map(map_))
    scripted = None
    if script:
        script_path = folder / "script.toml"
        script_path.write_text(script, encoding="utf-8")
        scripted = load_script(script_path)
    return prove_log(truck, [recording], scripted)


def word(verdict: Any) -> str:
    return str(getattr(verdict, "value", verdict)).replace("_", " ")


def read_report(report: Any, outcome: Outcome, wanted: tuple[str, ...]) -> None:
    for check in report.checks:
        verdict = word(check.verdict)
        outcome.verdicts[check.check] = verdict
        if verdict == "fail" or check.check in wanted:
            said = "; ".join(f"{f.from_s}-{f.to_s} {f.text}" for f in list(check.findings)[:3])
            outcome.texts[check.check] = f"{check.text} [{said}]"[:600]


def placed(report: Any, wanted: tuple[str, ...], logged: Logged, tell: Tell) -> bool:
    """A failed finding of an expected check overlaps a stretch of the oracle, within 3 s."""
    told = [(logged.read_s(a) - 3.0, logged.read_s(b) + 3.0) for a, b in tell.stretches]
    for check in report.checks:
        if check.check not in wanted or word(check.verdict) != "fail":
            continue
        for finding in check.findings:
            if finding.from_s is None or any(finding.from_s <= b and (finding.to_s or 0.0) >= a for a, b in told):
                return True
    return False


def make_case(seed: int, kind: str | None = None) -> tuple[Truck, Planted, Logged]:
    """A log of the mix: three in ten are sound, the others take turns over the defects."""
    rng = np.random.default_rng([seed, 7020])
    if kind is None:
        kind = "" if rng.random() < SOUND_SHARE else DEFECTS[seed % len(DEFECTS)]
    length_s = float(rng.uniform(200.0, 420.0))
    truck_seed = seed
    truck = make_truck(truck_seed)
    while not can_be_planted(kind, truck):
        truck_seed += 1_000_003
        truck = make_truck(truck_seed)
    planted = plant(kind, truck, seed, length_s)
    sim = simulate(truck, planted, seed, length_s)
    return truck, planted, record(sim, make_logger(seed, truck, length_s), seed)


def judge_one(seed: int, kind: str | None = None, keep: Path | None = None) -> Outcome:
    """Make a log, ask the oracle, then the product."""
    truck, planted, logged = make_case(seed, kind)
    tell = tellable(logged, planted) if planted.kind else Tell(False, 0.0, "sound")
    outcome = Outcome(seed, planted.kind, logged.logger.profile, tell.tellable, round(tell.p, 4), tell.why)
    wanted, also = EXPECTED.get(planted.kind, ((), ()))
    with tempfile.TemporaryDirectory() as name:
        folder = keep or Path(name)
        folder.mkdir(parents=True, exist_ok=True)
        log, map_ = log_files_out.write(logged, folder, f"log{seed}", seed)
        try:
            report = prove_files(design_text(truck, planted), log, map_, "", folder)
            read_report(report, outcome, wanted)
        except Exception as fault:  # every crash is a result here, to be counted and shown
            if isinstance(fault, ImportError):
                raise
            outcome.crash = f"{type(fault).__name__}: {fault} | {traceback.format_exc().splitlines()[-3].strip()}"[:500]
            return outcome
        if keep is not None:
            truth = {"planted": asdict(planted), "tell": asdict(tell), "begin_s": float(logged.row_s[0])}
            (folder / f"log{seed}-truth.json").write_text(
                json.dumps(truth, default=str, skipkeys=True), encoding="utf-8"
            )
    failed = [check for check, verdict in outcome.verdicts.items() if verdict == "fail"]
    outcome.found = any(check in wanted for check in failed)
    outcome.placed = not tell.stretches or not outcome.found or placed(report, wanted, logged, tell)
    outcome.false_alarms = [check for check in failed if check not in wanted and check not in also]
    outcome.passed = [c for c in wanted if outcome.tellable and outcome.verdicts.get(c) == "pass"]
    return outcome


def judge_script(seed: int) -> Outcome:
    """A scripted session: each demanded verdict, and no other failure."""
    session = log_scripts.key_on(seed) if seed % 2 else log_scripts.drive(seed)
    logged = session.logged
    kind = f"{session.kind}: {session.planted or 'sound'}"
    outcome = Outcome(seed, kind, logged.logger.profile, bool(session.demands), 1.0)
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        log, map_ = log_files_out.write(logged, folder, f"log{seed}", seed)
        try:
            design = design_text(logged.sim.truck, Planted())
            report = prove_files(design, log, map_, session.script, folder)
            read_report(report, outcome, tuple(session.demands))
        except Exception as fault:
            if isinstance(fault, ImportError):
                raise
            outcome.crash = f"{type(fault).__name__}: {fault}"[:400]
            return outcome
    for check, want in session.demands.items():
        got = outcome.verdicts.get(check, "absent")
        if got != want:
            outcome.demanded[check] = f"wanted {want}, got {got}"
    outcome.found = not outcome.demanded
    allowed = {"missed-tap"} if session.planted == "missed" else set()
    allowed |= set(session.demands)
    outcome.false_alarms = [c for c, v in outcome.verdicts.items() if v == "fail" and c not in allowed]
    return outcome


def judge(n: int, seed: int = 0, *, scripts: bool = False, processes: int = 1) -> list[Outcome]:
    """Outcomes of n logs from this seed on."""
    one = judge_script if scripts else judge_one
    seeds = range(seed, seed + n)
    if processes <= 1:
        return [one(each) for each in seeds]
    with multiprocessing.Pool(processes) as pool:
        return pool.map(one, seeds, chunksize=4)


def counts(found: list[Outcome]) -> dict[str, Any]:
    """The numbers that are reported."""
    sound = [o for o in found if not o.kind]
    planted = [o for o in found if o.kind]
    told = [o for o in planted if o.tellable and not o.crash]
    judged = sum(len(o.verdicts) for o in found)
    return {
        "logs": len(found), "sound": len(sound), "planted": len(planted), "crashed": sum(bool(o.crash) for o in found),
        "tellable": len(told), "tellable_share": round(len(told) / max(len(planted), 1), 3),
        "found_of_tellable": sum(o.found for o in told), "found_elsewhere": sum(not o.placed for o in told),
        "missed": sum(o.missed for o in told),
        "found_though_not_tellable": sum(o.found and not o.tellable for o in planted),
        "passed_though_tellable": sum(bool(o.passed) and not o.found for o in told),
        "sound_with_alarm": sum(bool(o.false_alarms) for o in sound),
        "planted_with_alarm": sum(bool(o.false_alarms) for o in planted),
        "false_alarms": sum(len(o.false_alarms) for o in found), "verdicts": judged,
    }  # fmt: skip


def summary(found: list[Outcome]) -> str:
    lines = [f"{key}: {value}" for key, value in counts(found).items()]
    table: dict[str, Counter[str]] = {}
    for each in found:
        row = table.setdefault(each.kind or "sound", Counter())
        row["logs"] += 1
        row["tellable"] += each.tellable
        row["found"] += each.found and each.tellable
        row["extra"] += each.found and not each.tellable
        row["alarms"] += bool(each.false_alarms)
        row["crash"] += bool(each.crash)
    lines.append(f"{'':<36}{'logs':>6}{'tell':>6}{'found':>6}{'extra':>6}{'alarm':>6}{'crash':>6}")
    for kind, row in table.items():
        lines.append(
            f"{kind:<36}" + "".join(f"{row[k]:>6}" for k in ("logs", "tellable", "found", "extra", "alarms", "crash"))
        )
    alarms = Counter(
        f"{check} ({'sound' if not each.kind else 'planted'})" for each in found for check in each.false_alarms
    )
    lines += [f"false alarms of {name}: {count}" for name, count in alarms.most_common()]
    shown = Counter[str]()
    for each in found:
        if each.crash:
            shown[f"crash: {each.crash[:200]}"] += 1
    lines += [f"{count} × {text}" for text, count in shown.most_common(12)]
    for each in found:
        if each.missed:
            said = " | ".join(f"{k}: {each.verdicts.get(k)} {v}" for k, v in each.texts.items())
            lines.append(f"MISSED seed {each.seed} {each.kind} ({each.profile}) {each.demanded or ''} {said[:400]}")
        if each.false_alarms:
            said = " | ".join(f"{k}: {each.texts.get(k)}" for k in each.false_alarms)
            lines.append(f"ALARM seed {each.seed} {each.kind or 'sound'} ({each.profile}): {said[:400]}")
    return "\n".join(lines)


def main(arguments: list[str]) -> int:
    parser = argparse.ArgumentParser(prog="dev.py truth --logs")
    parser.add_argument("count", type=int, nargs="?", default=200)
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--scripts", action="store_true", help="scripted sessions instead")
    parser.add_argument("--cycles", action="store_true", help="gear from the ratio on published drive cycles instead")
    parser.add_argument("--kind", help="only this defect, or `sound`")
    parser.add_argument("--processes", type=int, default=1)
    parser.add_argument("--out", help="write every outcome as JSON lines")
    parser.add_argument("--keep", help="write the logs of this run into a folder")
    asked = parser.parse_args(arguments)
    start = time.monotonic()
    if asked.cycles:
        from tests.truth.log_cycles import judge_cycles

        print(judge_cycles(asked.count, asked.seed))
        return 0
    if asked.kind is not None:
        kind = "" if asked.kind == "sound" else asked.kind
        keep = Path(asked.keep) if asked.keep else None
        found = [judge_one(s, kind, keep) for s in range(asked.seed, asked.seed + asked.count)]
    else:
        found = judge(asked.count, asked.seed, scripts=asked.scripts, processes=asked.processes)
    print(summary(found))
    print(f"{time.monotonic() - start:.0f} s")
    if asked.out:
        with open(asked.out, "w", encoding="utf-8") as file:
            file.writelines(json.dumps(asdict(each)) + "\n" for each in found)
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
