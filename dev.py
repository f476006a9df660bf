#!/usr/bin/env python3
"""One script to try, test and maintain Pinproof. Needs nothing but Python 3.11 or newer.

    python3 dev.py demo [EXAMPLE]      set up on first use, then run the demonstration
    python3 dev.py test [ARGS ...]     all tests; ARGS go to pytest
    python3 dev.py check               format, lint, types, tests and docs, with a summary
    python3 dev.py format              put the code in the project's format and apply safe fixes
    python3 dev.py bench [--quick]     measure speed and memory
    python3 dev.py crash [N]           kill N writers of each kind at random instants, fill the disk; count what is lost
    python3 dev.py mutants ROOM [--sample N --seed S]  put small mistakes into a room; list those that no test notices
    python3 dev.py fuzz [TARGET] [--runs N --seed S --seconds T]  search for input that breaks a reader; lists them
    python3 dev.py docs                write anew the outputs in README and tutorials, the references, the notebook
    python3 dev.py site [-o FOLDER]    write the pages of the project as HTML, by default into dist/site
    python3 dev.py truth [N] [--seed S]  compare the engines with the slow independent checker on N generated trucks
    python3 dev.py truth [N] --faults    the same for what every fault does
    python3 dev.py truth [N] --find      N simulated faulty trucks, found or not
    python3 dev.py truth [N] --learn     N simulated pins, learned or not; --pot with a potentiometer
    python3 dev.py truth [N] --harness   N generated run trees, wired trucks and sums of the harness
    python3 dev.py truth [N] --inhibit   N generated start circuits: truth table, and severities of their faults
    python3 dev.py truth [N] --logs      N simulated logs with planted defects; --scripts, --cycles: other logs
    python3 dev.py truth [N] --drive     N generated drivelines, their lines and borrowed tables, by two checkers
    python3 dev.py bundle [--system windows]  make a folder that installs from a USB stick without a network
    python3 dev.py lock [--upgrade]    remake the lists of libraries from pyproject.toml

On Windows write `py dev.py ...`. Everything is installed into `.venv` beside this file and nowhere else: for `demo`
and `bundle` only what running needs, for the rest the test libraries too. Only `test` and `check` may add system
packages, and only when run as root on a system with apt-get.
"""

import sys

if sys.version_info < (3, 11):  # noqa: UP036 - this is the line an older Python must reach
    sys.exit(
        "Pinproof needs Python 3.11 or newer; this is %d.%d (%s).\n"  # noqa: UP031 - readable by any Python 3
        "Install a newer one, then call this script with it, for example: python3.12 dev.py demo"
        % (sys.version_info[0], sys.version_info[1], sys.executable)
    )

import glob
import hashlib
import importlib.util
import json
import os
import re
import shutil
import subprocess
import tempfile
import time
import tomllib
from collections.abc import Callable, Sequence
from pathlib import Path

ROOT = Path(__file__).resolve().parent
VENV = ROOT / ".venv"
LOCK = ROOT / "requirements.lock"  # everything, tests and tools included
RUN_LOCK = ROOT / "requirements-run.lock"  # of these, what running needs
BUILD_LOCK = ROOT / "requirements-build.lock"  # of these, what links this folder into .venv and packs the wheel
RECORD = ROOT / "requirements-run.wheels.json"  # in which files each system gets the run lock
STAMP = VENV / "pinproof-stamp.json"
LOG = VENV / "pinproof-install.log"
WINDOWS = os.name == "nt"

# One such line of pip's talk for each pin of the lock.
ONE_PIN = re.compile(r"(Collecting|Processing|Ignoring|Requirement already satisfied: \S+==)")


class Stop(Exception):
    """Ends the script with a message for the person at the keyboard and exit code 2."""


def say(text: str) -> None:
    """Talk goes to stderr, so that stdout stays the output of the program that is run."""
    print(text, file=sys.stderr, flush=True)


def run(command: Sequence[str | Path], cwd: Path = ROOT, **extra_env: str) -> int:
    """Run a command, in the project root by default, with our own standard streams and return its exit code."""
    return subprocess.run([str(part) for part in command], cwd=cwd, env={**os.environ, **extra_env}).returncode


# --- the environment ---------------------------------------------------------------------------------------------


def venv_program(name: str, venv: Path = VENV) -> Path:
    """Path of a program inside a virtual environment."""
    return venv / "Scripts" / f"{name}.exe" if WINDOWS else venv / "bin" / name


def digest(path: Path) -> str:
    """Hash of a text file that does not change when Git writes other line ends."""
    return hashlib.sha256(path.read_bytes().replace(b"\r\n", b"\n")).hexdigest()


def wanted_stamp(for_tests: bool) -> dict[str, str]:
    """What the environment is made from: the locks, the project's own metadata, and the place it stands in."""
    for path in (LOCK, RUN_LOCK, BUILD_LOCK):
        if not path.exists():
            raise Stop(f"{path.name} is missing. Get it back from version control, or make it: python3 dev.py lock")
    wanted = {"run": digest(RUN_LOCK) + digest(BUILD_LOCK), "project": digest(ROOT / "pyproject.toml")}
    return {**wanted, "place": str(VENV), **({"lock": digest(LOCK)} if for_tests else {})}


def read_stamp() -> dict[str, str]:
    """Stamp of the environment that is there, empty when there is none or it was not finished."""
    try:
        found = json.loads(STAMP.read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return {}
    return found if isinstance(found, dict) else {}


def python_works(python: Path) -> bool:
    """Whether an interpreter starts, is new enough and has pip."""
    if not python.exists():
        return False
    probe = "import sys, importlib.util as u; sys.exit(0 if sys.version_info >= (3, 11) and u.find_spec('pip') else 1)"
    try:
        return subprocess.run([str(python), "-c", probe], capture_output=True, timeout=60).returncode == 0
    except (OSError, subprocess.TimeoutExpired):
        return False


def make_venv(folder: Path) -> None:
    """Create a virtual environment, or say what the system lacks."""
    if any(importlib.util.find_spec(name) is None for name in ("venv", "ensurepip")):
        version = f"{sys.version_info[0]}.{sys.version_info[1]}"
        raise Stop(
            f"This Python ({sys.executable}) cannot make virtual environments: "
            "its venv or ensurepip module is missing.\n"
            f"On Debian, Ubuntu and relatives: sudo apt-get install python3-venv   (or python{version}-venv)\n"
            "Elsewhere: install Python from python.org, which has both. Then run the same command again."
        )
    if folder.is_symlink():
        folder.unlink()  # clearing it would empty a folder that belongs to somebody else
    done = subprocess.run(
        [sys.executable, "-m", "venv", "--clear", str(folder)],
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
    )
    if done.returncode != 0:
        raise Stop(f"Could not make the environment in {folder}:\n{done.stdout.strip()}")


def pip(python: Path, what: str, arguments: Sequence[str], total: int = 0) -> None:
    """Run pip quietly, count packages as it goes, keep its whole talk in the log, and show the end of it on failure."""
    options = ["--disable-pip-version-check", "--no-input", "--progress-bar", "off"]
    command = [str(python), "-m", "pip", "install", *options, *arguments]
    lines: list[str] = []
    count = 0
    with LOG.open("a", encoding="utf-8") as log:
        log.write(f"\n== {' '.join(arguments)}\n")
        pipes = subprocess.Popen(
            command, cwd=ROOT, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True, errors="replace"
        )
        with pipes:
            assert pipes.stdout is not None
            for line in pipes.stdout:
                log.write(line)
                lines.append(line.rstrip())
                if not total:
                    continue
                fetch = re.match(r"\s+Downloading (\S+?)-\d\S* \((\d{2,}\S*) MB\)", line)
                if fetch:
                    say(f"  fetching {fetch[1]}, {fetch[2]} MB")
                elif ONE_PIN.match(line):
                    count += 1
                    if count % 10 == 0:
                        say(f"  {min(count, total)} of {total} libraries")
                elif line.startswith("Installing collected packages"):
                    say("  all fetched; unpacking (the longest quiet stretch)")
    if pipes.returncode != 0:
        telling = [line for line in lines if line and not line.startswith("WARNING: ")]
        tail = "\n".join(f"    {line[:200]}" for line in telling[-8:])
        raise Stop(
            f"{what} failed. The end of what pip said:\n{tail}\n"
            f"All of it is in {LOG}.\n"
            "The first set-up needs a network connection; later runs do not.\n"
            "Nothing outside .venv was changed: put the cause right and run the same command again."
        )


def pins_in(*locks: Path) -> int:
    """Number of pins in locks, those for other systems included; for the progress display only."""
    lines = (line for lock in locks for line in lock.read_text(encoding="utf-8").splitlines())
    return sum(1 for line in lines if line[:1].isalnum())


def ensure_environment(for_tests: bool = True) -> Path:
    """Make or refresh `.venv` when it is missing, unfinished, moved, or older than the locks; return its Python.

    An environment made for running only is completed in place when the tests ask; one made for tests serves both.
    """
    wanted, found, python = wanted_stamp(for_tests), read_stamp(), venv_program("python")
    if wanted.items() <= found.items() and python_works(python):
        return python
    started = time.monotonic()
    usable = python_works(python) and found.get("place", wanted["place"]) == wanted["place"]
    if not usable:
        say("Setting up Pinproof's own environment in .venv, once only.")
        weight = "250 MB of downloads and 850 MB" if for_tests else "60 MB of downloads and 200 MB"
        say(f"It takes about a minute, {weight} on disk.")
        make_venv(VENV)
        found = {}
    STAMP.unlink(missing_ok=True)  # an interrupted set-up must not look finished
    stale = [part for part in ("run", "lock") if part in wanted and found.get(part) != wanted[part]]
    if stale:
        if usable and "run" not in stale and "lock" not in found:
            say("Adding what the tests need to .venv: 200 MB of downloads, 650 MB on disk.")
        elif usable:
            say("Bringing .venv up to date.")
        locks = [LOCK] if for_tests else [RUN_LOCK, BUILD_LOCK]
        exact = ["--require-hashes", "--only-binary", ":all:", *(word for path in locks for word in ("-r", str(path)))]
        pip(python, "Installing the libraries", exact, pins_in(*locks))
    pip(python, "Installing Pinproof itself", ["--no-deps", "--no-build-isolation", "-e", str(ROOT)])
    # after `demo` the tests' part of an older environment is kept, and still known as older
    STAMP.write_text(json.dumps({**found, **wanted}, indent=1) + "\n", encoding="utf-8")
    say(f"Ready after {time.monotonic() - started:.0f} s.")
    return python


# --- what the tests need from the system ---------------------------------------------------------------------------


def find_chromium() -> str | None:
    """Path of a Chromium-family browser for the page tests, or None. PINPROOF_CHROMIUM overrides the search."""
    named = os.environ.get("PINPROOF_CHROMIUM")
    if named:
        return named if Path(named).is_file() else None
    for name in ("chromium", "chromium-browser", "google-chrome", "google-chrome-stable", "chrome", "msedge"):
        found = shutil.which(name)
        if found:
            return found
    home = Path.home()
    if WINDOWS:
        bases = [os.environ.get(name) for name in ("PROGRAMFILES", "PROGRAMFILES(X86)", "LOCALAPPDATA")]
        tails = ["Chromium/Application/chrome.exe", "Google/Chrome/Application/chrome.exe"]
        tails += ["Microsoft/Edge/Application/msedge.exe", "ms-playwright/chromium-*/chrome-win*/chrome.exe"]
        patterns = [str(Path(base, tail)) for base in bases if base for tail in tails]
    elif sys.platform == "darwin":
        names = ("Chromium", "Google Chrome", "Microsoft Edge")
        patterns = [f"{base}/Applications/{name}.app/Contents/MacOS/{name}" for base in ("", home) for name in names]
        patterns.append(f"{home}/Library/Caches/ms-playwright/chromium-*/chrome-mac*/*.app/Contents/MacOS/*")
    else:
        patterns = ["/usr/lib/chromium/chromium", "/snap/bin/chromium", "/opt/google/chrome/chrome"]
        patterns.append(f"{home}/.cache/ms-playwright/chromium-*/chrome-linux*/chrome")
    hits = (hit for pattern in patterns for hit in sorted(glob.glob(pattern), reverse=True))
    return next((hit for hit in hits if Path(hit).is_file()), None)


def find_pdftoppm() -> str | None:
    """Path of the PDF-to-image program the drawing tests measure with, or None."""
    return shutil.which("pdftoppm")


def missing_programs_advice(missing: Sequence[str]) -> str:
    """What a person does to get the programs that were not found."""
    advice = [f"Not found: {', '.join(missing)}. The tests that need them will fail, not be skipped. To install:"]
    if WINDOWS:
        steps = {
            "chromium": "any Chromium-family browser, or: .venv\\Scripts\\python -m playwright install chromium",
            "pdftoppm": "the poppler tools for Windows, with their folder on PATH",
        }
    elif sys.platform == "darwin":
        steps = {
            "chromium": "any Chromium-family browser, or: .venv/bin/python -m playwright install chromium",
            "pdftoppm": "brew install poppler",
        }
    else:
        steps = {
            "chromium": "sudo apt-get install chromium, or: .venv/bin/python -m playwright install chromium",
            "pdftoppm": "sudo apt-get install poppler-utils",
        }
    return "\n".join(advice + [f"  {name}: {steps[name]}" for name in missing])


def ensure_system_programs() -> None:
    """See to Chromium and pdftoppm: install them where that is ours to do, otherwise say how."""
    finders = {"chromium": find_chromium, "pdftoppm": find_pdftoppm}
    missing = [name for name, finder in finders.items() if finder() is None]
    if missing and may_use_apt():
        packages = [{"chromium": "chromium", "pdftoppm": "poppler-utils"}[name] for name in missing]
        apt_install(packages)
        missing = [name for name, finder in finders.items() if finder() is None]
    if missing:
        say(missing_programs_advice(missing))


def may_use_apt() -> bool:
    """Whether this is root on a Linux with apt-get."""
    is_root = hasattr(os, "geteuid") and os.geteuid() == 0
    return sys.platform.startswith("linux") and is_root and shutil.which("apt-get") is not None


def apt_install(packages: Sequence[str]) -> None:
    """Install Debian packages; a failure is shown and left for the caller to notice."""
    say(f"Installing system packages: {' '.join(packages)} (about a minute)")
    for command in (["apt-get", "update"], ["apt-get", "install", "-y", *packages]):
        done = subprocess.run(
            command,
            env={**os.environ, "DEBIAN_FRONTEND": "noninteractive"},
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            text=True,
            errors="replace",
        )
        if done.returncode != 0:
            say(f"`{' '.join(command)}` failed:\n" + "\n".join(done.stdout.splitlines()[-12:]))


def ensure_test_environment() -> Path:
    """The Python environment and the system programs, for `test` and `check`."""
    if may_use_apt() and not python_works(venv_program("python")) and importlib.util.find_spec("ensurepip") is None:
        apt_install(["python3-venv"])
    python = ensure_environment()
    ensure_system_programs()
    return python


# --- commands ------------------------------------------------------------------------------------------------------


def demo(arguments: Sequence[str]) -> int:
    """Run `pinproof demo` and pass its exit code on."""
    ensure_environment(for_tests=False)
    return run([venv_program("pinproof"), "demo", *arguments])


PARALLEL = ("-n", str(min(os.cpu_count() or 1, 4)), "--dist", "worksteal")


def test(arguments: Sequence[str]) -> int:
    """Run pytest on all tests, browser tests included; without arguments on as many processors as there are."""
    python = ensure_test_environment()
    return run([python, "-m", "pytest", *(arguments or PARALLEL)])


def check(arguments: Sequence[str]) -> int:
    """Run every check, whatever fails on the way, and sum up."""
    if arguments:
        raise Stop(f"`check` takes no arguments, but got: {' '.join(arguments)}. To pass some to pytest use `test`.")
    python = ensure_test_environment()
    steps: dict[str, list[str]] = {
        "format": ["ruff", "format", "--check", "."],
        "lint": ["ruff", "check", "."],
        "types": ["mypy"],
        "tests": ["pytest", "-q", *PARALLEL],
        "docs": ["pytest", "-q", "--doctest-modules", "src", "tests/test_docs.py"],
    }
    rows = []
    for name, command in steps.items():
        say(f"\n== {name}: {' '.join(command)}")
        started = time.monotonic()
        code = run([python, "-m", *command])
        rows.append((name, code, time.monotonic() - started))
    print(f"\n{'check':<8} {'result':<8} {'seconds':>7}")
    for name, code, took_s in rows:
        print(f"{name:<8} {'ok' if code == 0 else 'FAILED':<8} {took_s:>7.1f}")
    failed = [name for name, code, _ in rows if code != 0]
    print(f"{len(failed)} of {len(rows)} failed: {', '.join(failed)}" if failed else "all checks hold")
    return 1 if failed else 0


def format_code(arguments: Sequence[str]) -> int:
    """Apply the safe lint fixes, then the format."""
    python = ensure_environment()
    where = list(arguments) or ["."]
    lint = run([python, "-m", "ruff", "check", "--fix", *where])
    return run([python, "-m", "ruff", "format", *where]) or lint


def bench(arguments: Sequence[str]) -> int:
    """Run the benchmarks."""
    return run([ensure_environment(), ROOT / "benchmarks" / "run.py", *arguments], PYTHONPATH=str(ROOT))


def truth(arguments: Sequence[str]) -> int:
    """Compare the engines with the independent checker on generated trucks."""
    kinds = {
        "--faults": "agree_faults.py",
        "--find": "agree_find.py",
        "--learn": "agree_learn.py",
        "--harness": "agree_harness.py",
        "--inhibit": "agree_inhibit.py",
        "--logs": "agree_logs.py",
        "--drive": "agree_driveline.py agree_driveline_truth.py",  # two checkers
    }
    names = next((files for word, files in kinds.items() if word in arguments), "agree.py").split()
    rest = [each for each in arguments if each not in kinds]
    python, truth = ensure_environment(), ROOT / "tests" / "truth"
    return max(run([python, truth / name, *rest], PYTHONPATH=str(ROOT)) for name in names)


def mutants(arguments: Sequence[str]) -> int:
    """Put small mistakes into one room, one at a time, and tell which of them no test notices."""
    return run([ensure_environment(), ROOT / "tools" / "mutants.py", *arguments], PYTHONPATH=str(ROOT))


def crash(arguments: Sequence[str]) -> int:
    """Kill writers at random instants, fill the disk; count what is lost."""
    return run([ensure_environment(), "-m", "tests.crash.killed", *arguments], PYTHONPATH=str(ROOT))


def fuzz(arguments: Sequence[str]) -> int:
    """Search for input that breaks a reader, guided by the branches it reaches."""
    return run([ensure_environment(), "-m", "tests.fuzz", *arguments], PYTHONPATH=str(ROOT))


def docs(arguments: Sequence[str]) -> int:
    """Write anew what the docs take from the program: outputs of sessions, references, the notebook."""
    if arguments:
        raise Stop(f"`docs` takes no arguments, but got: {' '.join(arguments)}.")
    python = ensure_environment()
    steps = (["tools.sessions", "--write"], ["tools.reference", "--write"], ["tools.notebook"])
    return max(run([python, "-m", *step], PYTHONPATH=str(ROOT)) for step in steps)


def site(arguments: Sequence[str]) -> int:
    """Write the pages of the project as HTML and look at every link."""
    return run([ensure_environment(), "-m", "tools.site.build", *arguments], cwd=Path.cwd(), PYTHONPATH=str(ROOT))


def bundle(arguments: Sequence[str]) -> int:
    """Make a folder that installs without a network; `tools/bundle.py --help` tells the options."""
    python = ensure_environment(for_tests=False)
    return run([python, ROOT / "tools" / "bundle.py", *arguments], cwd=Path.cwd(), PYTHONPATH=str(ROOT))


def lock(arguments: Sequence[str]) -> int:
    """Remake both locks and the record of wheels, in an environment of its own that is thrown away afterwards."""
    unknown = [word for word in arguments if word != "--upgrade"]
    if unknown:
        raise Stop(f"`lock` knows only --upgrade, but got: {' '.join(unknown)}.")
    with tempfile.TemporaryDirectory(prefix="pinproof-lock-") as name:
        folder = Path(name)
        make_venv(folder / "venv")
        python = venv_program("python", folder / "venv")
        if run([python, "-m", "pip", "install", "--quiet", "--disable-pip-version-check", "uv", "packaging"]) != 0:
            raise Stop("Could not install uv, which makes the locks. Is there a network connection?")
        fresh, fresh_run, fresh_build, fresh_record = (folder / p.name for p in (LOCK, RUN_LOCK, BUILD_LOCK, RECORD))
        if LOCK.exists():
            shutil.copy(LOCK, fresh)  # pins that still fit are kept unless --upgrade is given
        project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
        build_tools = folder / "build.in"
        build_tools.write_text("\n".join([*project["build-system"]["requires"], "editables"]), encoding="utf-8")
        options = "--universal --python-version 3.11 --generate-hashes --quiet"
        options += " --no-emit-index-url --no-emit-find-links --no-header --no-annotate"
        steps: list[list[str | Path]] = [
            ["pyproject.toml", "--all-extras", "--group", "dev", *arguments, "-o", fresh],
            ["pyproject.toml", "--extra", "web", "--extra", "logs", "--constraint", fresh, "-o", fresh_run],
            [build_tools, "--constraint", fresh, "-o", fresh_build],
        ]
        for step in steps:
            if run([venv_program("uv", folder / "venv"), "pip", "compile", *options.split(), *step]) != 0:
                raise Stop(
                    "uv found no set of packages that fits pyproject.toml; its message is above. Nothing was changed."
                )
        if any("://" in path.read_text(encoding="utf-8") for path in (fresh, fresh_run, fresh_build)):
            raise Stop("A new lock holds an address. Nothing was changed.")
        say("Looking up the files for each system (half a minute).")
        if run([python, ROOT / "tools" / "wheels.py", fresh_run, fresh_record], PYTHONPATH=str(ROOT)) != 0:
            raise Stop("Some library is not there ready built for some system; see above. Nothing was changed.")
        for made, kept in ((fresh, LOCK), (fresh_run, RUN_LOCK), (fresh_build, BUILD_LOCK), (fresh_record, RECORD)):
            unfinished = kept.with_name(kept.name + ".tmp")
            unfinished.write_text(made.read_text(encoding="utf-8"), encoding="utf-8", newline="\n")
            os.replace(unfinished, kept)
    say(f"{LOCK.name}: {pins_in(LOCK)} pins, {pins_in(RUN_LOCK)} of them to run.")
    say("The next command brings .venv up to date.")
    return 0


COMMANDS: dict[str, Callable[[Sequence[str]], int]] = {
    "demo": demo,
    "test": test,
    "check": check,
    "format": format_code,
    "bench": bench,
    "truth": truth,
    "mutants": mutants,
    "crash": crash,
    "fuzz": fuzz,
    "docs": docs,
    "site": site,
    "bundle": bundle,
    "lock": lock,
}


def main(arguments: Sequence[str]) -> int:
    """Run one command; 2 means that this script itself could not do its part."""
    if not arguments or arguments[0] in ("-h", "--help", "help"):
        print(__doc__)
        return 0 if arguments else 2
    command = COMMANDS.get(arguments[0])
    if command is None:
        say(f'"{arguments[0]}" is not a command of dev.py. There are: {", ".join(COMMANDS)}.')
        return 2
    try:
        return command(arguments[1:])
    except Stop as stop:
        say(str(stop))
        return 2
    except KeyboardInterrupt:
        say("Stopped.")
        return 130


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
