"""A folder that installs Pinproof on another computer without a network, for instance from a USB stick.

    python3 dev.py bundle                       for this system
    python3 dev.py bundle --system windows      for another one: windows, macos-arm, macos-intel, linux
    python3 dev.py bundle --python 3.13 -o DIR  for one Python version only, into DIR

Answers: what must be carried to the shop. Wheels of the run lock for that system, Pinproof's own wheel, the hashes
of all of them, and an installer that uses nothing else.
Touches: the network (pip download), and the folder it makes. The installer's files are in `stick/`.
"""

from __future__ import annotations

import argparse
import hashlib
import json
import os
import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Sequence
from pathlib import Path

from tools.stick import install
from tools.wheels import PYTHONS, SYSTEMS, digest_of, pins_of, pip_target

ROOT = Path(__file__).resolve().parent.parent
STICK = Path(__file__).resolve().parent / "stick"
RUN_LOCK = ROOT / "requirements-run.lock"
RECORD = ROOT / "requirements-run.wheels.json"
BUILD_DATE = "1580601600"  # 2020-02-02, so that the same sources give the same bytes whenever they are packed


PROVEN = "3.13"  # the version to fetch where there is none: the newest whose libraries have long had ready-built files


class CannotBundle(Exception):
    """Ends with a message for the person at the keyboard."""


def say(text: str) -> None:
    """Talk goes to stderr."""
    print(text, file=sys.stderr, flush=True)


def recorded(system: str, pythons: Sequence[str]) -> dict[str, dict[str, str]]:
    """Files and hashes for each Python version, from the record that goes with the lock."""
    try:
        record = json.loads(RECORD.read_text(encoding="utf-8"))
        lock_text = RUN_LOCK.read_text(encoding="utf-8")
    except FileNotFoundError as fault:
        raise CannotBundle(f"{fault.filename} is missing. Make it: python3 dev.py lock") from fault
    if record["lock"] != digest_of(lock_text):
        raise CannotBundle(f"{RECORD.name} was made from another {RUN_LOCK.name}. Make both: python3 dev.py lock")
    return {python: dict(record["systems"][system][python]) for python in pythons}


def build_wheel(source: Path, into: Path) -> Path:
    """Pinproof's own wheel; the same sources give the same bytes."""
    command = [sys.executable, "-m", "hatchling", "build", "-t", "wheel", "-d", str(into)]
    env = {**os.environ, "SOURCE_DATE_EPOCH": BUILD_DATE}
    done = subprocess.run(command, cwd=source, env=env, capture_output=True, text=True, errors="replace")
    found = sorted(into.glob("pinproof-*.whl"))
    if done.returncode != 0 or len(found) != 1:
        raise CannotBundle(f"Building Pinproof's own wheel failed:\n{done.stdout}{done.stderr}")
    return found[0]


def download(files: dict[str, str], system: str, python: str, into: Path) -> None:
    """Fetch exactly the recorded files; pip refuses any with another hash."""
    pins = [pin for pin in pins_of(RUN_LOCK.read_text(encoding="utf-8")) if pin.wanted_on(SYSTEMS[system], python)]
    lines = []
    for pin in pins:
        hashes = sorted(pin.hashes & set(files.values()))
        lines.append(" ".join([f"{pin.name}=={pin.version}", *(f"--hash=sha256:{each}" for each in hashes)]) + "\n")
    with tempfile.TemporaryDirectory(prefix="pinproof-bundle-") as name:
        exact = Path(name, "exact.txt")
        exact.write_text("".join(lines), encoding="utf-8")
        command = [sys.executable, "-m", "pip", "download", "--quiet", "--disable-pip-version-check", "--no-input"]
        command += ["--require-hashes", *pip_target(SYSTEMS[system], python), "--dest", str(into), "-r", str(exact)]
        done = subprocess.run(command, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True, errors="replace")
    if done.returncode != 0:
        tail = "\n".join(done.stdout.splitlines()[-8:])
        raise CannotBundle(
            f"Fetching the files for Python {python} failed:\n{tail}\nMaking the folder needs a network."
        )
    missing = [file for file in files if not (into / file).is_file()]
    if missing:
        raise CannotBundle(f"pip fetched other files than recorded; missing: {', '.join(missing)}")


def write_text(path: Path, text: str, windows: bool) -> None:
    """A text file with the line ends of the system it is for."""
    path.write_text(text.replace("\r\n", "\n"), encoding="utf-8", newline="\r\n" if windows else "\n")


def marks_of(pythons: Sequence[str]) -> dict[str, str]:
    """What stands in the installers' texts for the Python versions that the folder has files for."""
    newest_first = list(reversed(pythons))
    return {
        "@PROBED@": ", ".join(f"({each.replace('.', ', ')})" for each in pythons),
        "@SPOKEN@": " or ".join(part for part in (", ".join(pythons[:-1]), pythons[-1]) if part),
        "@NEWEST_FIRST@": " ".join(newest_first),
        "@COMMANDS@": " ".join(f"python{each}" for each in newest_first),
        "@FRAMES@": " ".join(f"$frame/{each}/bin/python3" for each in newest_first),
        "@TAKE@": PROVEN if PROVEN in pythons else pythons[-1],
    }


def put_installer(folder: Path, system: str, version: str, pythons: Sequence[str]) -> str:
    """The installer, what starts it, the start file for later, and the text to read first; name of the start file."""
    windows, mac = system == "windows", system.startswith("macos")
    installer = "install-windows.bat" if windows else "install.command" if mac else "install.sh"
    start = "start.bat" if windows else "start.command" if mac else "start.sh"
    texts = {
        folder / installer: STICK / ("install-windows.bat" if windows else "install.sh"),
        folder / "files" / start: STICK / ("start.bat" if windows else "start.sh"),
        folder / "files" / "install.py": STICK / "install.py",
        folder / "python-installer" / "READ-ME.txt": STICK / "python-installer.txt",
    }
    marks = marks_of(pythons)
    for path, source in texts.items():
        path.parent.mkdir(exist_ok=True)
        text = source.read_text(encoding="utf-8")
        if path.name != "install.py":
            for mark, value in marks.items():
                text = text.replace(mark, value)
        write_text(path, text, windows)
    (folder / installer).chmod(0o755)
    if system == "linux":
        todo = f"Open a terminal in this folder and type: sh {installer}"
        then = f"To start it later: sh {start} in the folder you chose (by default Pinproof in your home folder)."
    else:
        todo = f"Double-click {installer}." + (" If macOS refuses: right-click it, Open." if mac else "")
        then = f"To start it: double-click {start} in the folder you chose (by default Pinproof in your home folder)."
    text = (STICK / "START.txt").read_text(encoding="utf-8")
    for mark, value in {
        "@VERSION@": version,
        "@TITLE@": SYSTEMS[system].title,
        "@PYTHONS@": ", ".join(pythons),
        "@INSTALL@": todo,
        "@START@": then,
    }.items():
        text = text.replace(mark, value)
    write_text(folder / "START.txt", text, windows)
    return start


def fill(folder: Path, system: str, pythons: Sequence[str]) -> None:
    """Everything that belongs into the folder."""
    needed = recorded(system, pythons)
    wheels = folder / "files" / "wheels"
    wheels.mkdir(parents=True)
    own = build_wheel(ROOT, wheels)
    own_sha256 = hashlib.sha256(own.read_bytes()).hexdigest()
    version = own.name.split("-")[1]
    for python, files in needed.items():
        say(f"  files for {system}, Python {python}")
        download(files, system, python, wheels)
        files[own.name] = own_sha256
    lock_text = RUN_LOCK.read_text(encoding="utf-8").rstrip("\n")
    lock_text += f"\npinproof=={version} \\\n    --hash=sha256:{own_sha256}\n"
    write_text(folder / "files" / "bundle.lock", lock_text, windows=False)
    start = put_installer(folder, system, version, pythons)
    manifest = {"pinproof": version, "system": system, "start": start, "pythons": needed}
    write_text(folder / "files" / "bundle.json", json.dumps(manifest, indent=1) + "\n", windows=False)


def make(folder: Path, system: str, pythons: Sequence[str]) -> None:
    """Make the folder beside its place and move it there when it is whole; an earlier one is replaced."""
    if folder.exists() and any(folder.iterdir()) and not (folder / "files" / "bundle.json").is_file():
        raise CannotBundle(f"{folder} exists and was not made by this command. Name another folder with -o.")
    folder.parent.mkdir(parents=True, exist_ok=True)
    unfinished = Path(tempfile.mkdtemp(prefix=folder.name + "-", suffix=".tmp", dir=folder.parent))
    try:
        unfinished.chmod(0o755)
        fill(unfinished, system, pythons)
        if folder.exists():
            shutil.rmtree(folder)
        unfinished.rename(folder)
    finally:
        shutil.rmtree(unfinished, ignore_errors=True)


def main(arguments: Sequence[str]) -> int:
    """Read the command line and make one folder."""
    here = install.system_here()
    parser = argparse.ArgumentParser(prog="dev.py bundle", description=(__doc__ or "").splitlines()[0])
    parser.add_argument(
        "--system", choices=SYSTEMS, default=here if here in SYSTEMS else None, help="default: this one"
    )
    parser.add_argument("--python", action="append", choices=PYTHONS, help="can be given several times; default: all")
    parser.add_argument("-o", "--output", type=Path, metavar="FOLDER", help="default: dist/pinproof-SYSTEM")
    chosen = parser.parse_args(arguments)
    if chosen.system is None:
        parser.error(f"this computer is {here}; say for which system: --system {' | '.join(SYSTEMS)}")
    pythons = [python for python in PYTHONS if not chosen.python or python in chosen.python]
    folder = (chosen.output or ROOT / "dist" / f"pinproof-{chosen.system}").absolute()
    started = time.monotonic()
    try:
        make(folder, chosen.system, pythons)
    except CannotBundle as fault:
        say(str(fault))
        return 2
    except OSError as fault:
        say(f"Cannot write the folder: {fault}")
        return 2
    size = sum(path.stat().st_size for path in folder.rglob("*") if path.is_file())
    say(f"{size / 1e6:.0f} MB in {time.monotonic() - started:.0f} s. Copy this folder to the stick and read START.txt:")
    print(folder)
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
