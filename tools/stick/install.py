"""Installs Pinproof from this folder, without a network. Needs only the Python that runs it.

    python install.py             asks where to
    python install.py FOLDER      installs into FOLDER

Everything goes into that one folder: `env` holds the program, `designs` your files, `start` starts it. Run again it
renews `env` and leaves `designs` alone. To take Pinproof off the computer delete the folder.
"""

from __future__ import annotations

import hashlib
import json
import os
import platform
import shutil
import subprocess
import sys
import sysconfig
import zipfile
from pathlib import Path
from typing import Any

HERE = Path(__file__).resolve().parent
WHEELS = HERE / "wheels"
WINDOWS = os.name == "nt"
NEEDED_BYTES = 400_000_000  # about what the installed folder and pip's scratch files take together
LONGEST_PATH = 255  # Windows refuses longer ones unless told otherwise
GET_PYTHON = (
    "Get an installer from python.org on a computer with a network (Windows: the 64-bit installer file, macOS: the\n"
    "universal2 package), carry it over on the stick, run it, then start this installation again."
)


class CannotInstall(Exception):
    """Ends the installation with a message for the person at the keyboard."""


def system_here() -> str:
    """Name of this system as a bundle is named for it, or what it says of itself where there is none."""
    machine = platform.machine().lower()
    if sys.platform == "win32":
        built_for = sysconfig.get_platform()
        return {"win-amd64": "windows", "win32": "windows with a 32-bit Python"}.get(built_for, built_for)
    if sys.platform == "darwin":
        return {"arm64": "macos-arm", "x86_64": "macos-intel"}.get(machine, "macos on " + machine)
    if sys.platform.startswith("linux") and machine in ("x86_64", "amd64"):
        return "linux"
    return sys.platform + " on " + machine


def other_python(versions: list[str]) -> list[str] | None:
    """Command of another Python on this computer that the folder has files for, newest first; None without one."""
    for version in reversed(versions):
        names = [["py", "-" + version]] if WINDOWS else [["python" + version]]
        if sys.platform == "darwin":
            names.append([f"/Library/Frameworks/Python.framework/Versions/{version}/bin/python3"])
        for command in names:
            probe = "import sys; sys.exit('%d.%d' % sys.version_info[:2] != '" + version + "')"
            try:
                done = subprocess.run([*command, "-c", probe], capture_output=True, timeout=60)
            except (OSError, subprocess.TimeoutExpired):
                continue
            if done.returncode == 0:
                return command
    return None


def check_files(files: dict[str, str]) -> None:
    """Every file that will be installed is there and is what it was when the folder was made."""
    for name, sha256 in sorted(files.items()):
        path = WHEELS / name
        if not path.is_file():
            raise CannotInstall(f"{path} is missing. Copy the whole folder again from where it was made.")
        if hashlib.sha256(path.read_bytes()).hexdigest() != sha256:
            raise CannotInstall(
                f"{path} is damaged: its content is not what it was when this folder was made.\n"
                "Copy the whole folder again; if the same happens, use another stick."
            )


def ask_where() -> Path:
    """The folder to install into."""
    usual = Path.home() / "Pinproof"
    if not sys.stdin or not sys.stdin.isatty():
        return usual
    print(f"Install into which folder? Enter alone takes {usual}")
    answer = input("> ").strip().strip('"')
    return Path(answer).expanduser() if answer else usual


def check_target(target: Path, files: dict[str, str]) -> None:
    """The folder can be used, and nothing of anyone else's would be overwritten."""
    if target.exists() and not target.is_dir():
        raise CannotInstall(f"{target} is a file. Name a folder.")
    env = target / "env"
    if env.exists() and not (env / "pyvenv.cfg").is_file():
        raise CannotInstall(f"{env} exists and is not from an earlier installation. Name another folder.")
    if WINDOWS:
        longest = max(len(name) for file in files for name in zipfile.ZipFile(WHEELS / file).namelist())
        room = LONGEST_PATH - longest - len(r"\env\Lib\site-packages\__pycache__\.cpython-314")
        if len(str(target)) > room:
            raise CannotInstall(
                f"The name {target} is too long: Windows allows {room} characters here, it has {len(str(target))}.\n"
                r"Name a shorter one, for instance C:\Pinproof"
            )
    try:
        target.mkdir(parents=True, exist_ok=True)
        free = shutil.disk_usage(target).free
    except OSError as fault:
        raise CannotInstall(f"Cannot use {target}: {fault.strerror}. Name another folder.") from fault
    if free < NEEDED_BYTES:
        raise CannotInstall(
            f"{free / 1e6:.0f} MB are free at {target}, {NEEDED_BYTES / 1e6:.0f} MB are needed.\n"
            "Make room and try again."
        )


def quiet_run(command: list[str], what: str, log: Path) -> str:
    """Run a command that must not reach for a network or for settings of this computer; its output."""
    env = {name: value for name, value in os.environ.items() if not name.upper().startswith(("PIP_", "PYTHON"))}
    # an empty settings file: an index or a list of places named there would be asked first
    env.update(PIP_CONFIG_FILE=os.devnull, PIP_NO_INDEX="1", PYTHONUTF8="1")
    done = subprocess.run(
        command, env=env, cwd=HERE, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, encoding="utf-8", errors="replace"
    )
    with log.open("a", encoding="utf-8") as file:
        file.write(f"\n== {' '.join(command)}\n{done.stdout}")
    if done.returncode != 0:
        tail = "\n".join("    " + line[:200] for line in done.stdout.splitlines()[-8:])
        raise CannotInstall(f"{what} failed. The end of what it said:\n{tail}\nAll of it is in {log}.")
    return done.stdout


def make_env(env: Path, log: Path) -> Path:
    """A new, empty environment; its Python."""
    try:
        import ensurepip  # noqa: F401 - only to see whether it is there
        import venv  # noqa: F401
    except ImportError as fault:
        raise CannotInstall(
            f"This Python ({sys.executable}) lacks its own parts `venv` and `ensurepip`.\n"
            "Debian, Ubuntu and relatives pack them apart: sudo apt-get install python3-venv (needs a network)."
        ) from fault
    if env.exists():
        try:
            shutil.rmtree(env)
        except OSError as fault:
            raise CannotInstall(
                f"The earlier installation in {env} cannot be removed: {fault}\n"
                "Close every window that runs Pinproof and try again."
            ) from fault
    quiet_run([sys.executable, "-m", "venv", str(env)], "Making the environment", log)
    return env / "Scripts" / "python.exe" if WINDOWS else env / "bin" / "python"


def install(target: Path, manifest: dict[str, Any], files: dict[str, str]) -> Path:
    """Install into a folder and try the result; the file that starts it."""
    check_target(target, files)
    log = target / "install.log"
    log.unlink(missing_ok=True)
    started_by = target / manifest["start"]
    started_by.unlink(missing_ok=True)  # what was not finished must not look startable
    print(f"Installing into {target} (less than a minute, no network needed) ...", flush=True)
    python = make_env(target / "env", log)
    command = [str(python), "-m", "pip", "install", "--no-index", "--find-links", str(WHEELS), "--require-hashes"]
    command += ["--only-binary", ":all:", "--no-cache-dir", "--no-input", "--disable-pip-version-check"]
    quiet_run([*command, "-r", str(HERE / "bundle.lock")], "Installing the files", log)
    answer = quiet_run([str(python), "-m", "pinproof", "--version"], "The first start of Pinproof", log)
    if manifest["pinproof"] not in answer:
        raise CannotInstall(
            f"Pinproof {manifest['pinproof']} was to be installed, but what starts says: {answer.strip()}"
        )
    (target / "designs").mkdir(exist_ok=True)
    shutil.copyfile(HERE / manifest["start"], started_by)
    if not WINDOWS:
        started_by.chmod(0o755)
    return started_by


def main(arguments: list[str]) -> int:
    """Check, install, say how it starts."""
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="replace")  # a folder name may hold what this window cannot show
    if len(arguments) > 1 or any(word.startswith("-") for word in arguments):
        print(__doc__)
        return 0 if arguments in (["-h"], ["--help"]) else 2
    try:
        manifest = json.loads((HERE / "bundle.json").read_text(encoding="utf-8"))
        versions = sorted(manifest["pythons"], key=lambda text: int(text.split(".")[1]))
        version = f"{sys.version_info[0]}.{sys.version_info[1]}"
        if system_here() != manifest["system"]:
            raise CannotInstall(
                f"This folder is made for {manifest['system']}; this computer is {system_here()}.\n"
                "Make one for it where there is a network: python3 dev.py bundle --system ..."
            )
        if version not in versions:
            other = other_python(versions)
            if other is not None:
                return subprocess.call([*other, str(Path(__file__).resolve()), *arguments])
            raise CannotInstall(
                f"This is Python {version}; the folder holds files for {', '.join(versions)}, and no such Python was "
                f"found.\n{GET_PYTHON}"
            )
        files = manifest["pythons"][version]
        check_files(files)
        target = Path(arguments[0]).expanduser() if arguments else ask_where()
        started_by = install(target.absolute(), manifest, files)
    except CannotInstall as fault:
        print(f"\nNOT INSTALLED. {fault}", file=sys.stderr)
        return 2
    except OSError as fault:
        print(f"\nNOT INSTALLED. {fault.filename or ''}: {fault.strerror or fault}", file=sys.stderr)
        return 2
    except KeyboardInterrupt:
        print("\nNOT INSTALLED. Stopped.", file=sys.stderr)
        return 130
    how = "type: sh" if manifest["system"] == "linux" else "double-click"
    print(f'Pinproof {manifest["pinproof"]} is installed. To start it {how} "{started_by}"')
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
