"""Which wheel of each library each system and Python version gets.

Answers: does every pin of requirements-run.lock exist ready built for the laptop in the shop, and in which file?
Touches: pip (look-ups only) and requirements-run.wheels.json beside the lock. Called by `dev.py lock`:

    python tools/wheels.py LOCK RECORD

Needs `packaging`. pip itself cannot be asked to read the lock for another system: it picks the wheel for that
system but tests the conditions in the lock ("; sys_platform == ...") against the one it runs on. So the conditions
are tested here, and pip gets plain pins.
"""

from __future__ import annotations

import hashlib
import json
import re
import subprocess
import sys
import tempfile
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path

from packaging.markers import Marker

PYTHONS = ("3.11", "3.12", "3.13", "3.14")
GLIBC = (28, 27, 26, 24, 17)  # minor versions of glibc 2 that wheels name; 2.28 is of 2018


@dataclass(frozen=True)
class System:
    """A system that a folder can be made for: its names for wheels, and what Python there calls it."""

    title: str
    platforms: tuple[str, ...]  # wheel tags, best first
    sys_platform: str
    os_name: str
    platform_system: str
    platform_machine: str


SYSTEMS: dict[str, System] = {
    "windows": System("Windows 10 or newer, 64 bit", ("win_amd64",), "win32", "nt", "Windows", "AMD64"),
    # the oldest macOS that the wheels allow decides; pip adds the older names itself
    "macos-arm": System(
        "macOS 11 or newer on Apple processors", ("macosx_11_0_arm64",), "darwin", "posix", "Darwin", "arm64"
    ),
    "macos-intel": System(
        "macOS 11 or newer on Intel processors", ("macosx_11_0_x86_64",), "darwin", "posix", "Darwin", "x86_64"
    ),
    "linux": System(
        "Linux with glibc 2.28 or newer, 64 bit Intel/AMD",
        (*(f"manylinux_2_{minor}_x86_64" for minor in GLIBC), "manylinux2014_x86_64"),
        "linux",
        "posix",
        "Linux",
        "x86_64",
    ),
}


@dataclass(frozen=True)
class Pin:
    """One entry of a lock: exact version, the condition under which it is wanted, the hashes of its files."""

    name: str
    version: str
    marker: str
    hashes: frozenset[str]

    def wanted_on(self, system: System, python: str) -> bool:
        """Whether that system and Python version needs this pin."""
        return not self.marker or Marker(self.marker).evaluate(marker_environment(system, python))


class CannotResolve(Exception):
    """Some pin has no ready-built file for some system."""


def marker_environment(system: System, python: str) -> dict[str, str]:
    """What the conditions of a lock may ask, answered for another machine."""
    return {
        "implementation_name": "cpython",
        "implementation_version": f"{python}.0",
        "os_name": system.os_name,
        "platform_machine": system.platform_machine,
        "platform_python_implementation": "CPython",
        "platform_release": "",
        "platform_system": system.platform_system,
        "platform_version": "",
        "python_full_version": f"{python}.0",
        "python_version": python,
        "sys_platform": system.sys_platform,
        "extra": "",
    }


def pins_of(lock_text: str) -> list[Pin]:
    """Every pin of a lock with hashes."""
    found = []
    for entry in re.split(r"\n(?=\S)", lock_text.replace("\\\n", " ")):
        head, *hashes = entry.split("--hash=sha256:")
        name, separator, rest = head.strip().partition("==")
        if not separator:
            continue
        version, _, marker = rest.partition(";")
        found.append(Pin(name.strip(), version.strip(), marker.strip(), frozenset(each.strip() for each in hashes)))
    return found


def pip_target(system: System, python: str) -> list[str]:
    """Options that make pip choose files for another system and Python version."""
    options = ["--only-binary", ":all:", "--no-deps", "--implementation", "cp", "--python-version", python]
    for platform in system.platforms:
        options += ["--platform", platform]
    return options


def resolve(pins: list[Pin], system: System, python: str) -> dict[str, str]:
    """File name and SHA-256 of the wheel that pip takes for each pin wanted there; nothing is downloaded."""
    wanted = [pin for pin in pins if pin.wanted_on(system, python)]
    with tempfile.TemporaryDirectory(prefix="pinproof-wheels-") as name:
        plain, report = Path(name, "plain.txt"), Path(name, "report.json")
        plain.write_text("".join(f"{pin.name}=={pin.version}\n" for pin in wanted), encoding="utf-8")
        # --ignore-requires-python: pip compares with its own Python there, not with the one asked for
        command = [sys.executable, "-m", "pip", "install", "--dry-run", "--quiet", "--ignore-installed"]
        command += ["--ignore-requires-python", "--disable-pip-version-check", "--no-input", "--target", name]
        command += [*pip_target(system, python), "--report", str(report), "-r", str(plain)]
        done = subprocess.run(command, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True, errors="replace")
        if done.returncode != 0:
            raise CannotResolve(
                f"{system.title}, Python {python}: not every library is there ready built.\n{done.stdout}"
            )
        entries = json.loads(report.read_text(encoding="utf-8"))["install"]
    allowed = frozenset().union(*(pin.hashes for pin in wanted))
    files = {}
    for entry in entries:
        where = entry["download_info"]
        file = where["url"].rsplit("/", 1)[-1]
        sha256 = where["archive_info"]["hashes"]["sha256"]
        if sha256 not in allowed:
            raise CannotResolve(f"{file} for {system.title} has a hash that the lock does not list.")
        files[file] = sha256
    if len(files) != len(wanted):
        raise CannotResolve(f"{system.title}, Python {python}: {len(wanted)} libraries wanted, {len(files)} found.")
    return dict(sorted(files.items()))


def digest_of(lock_text: str) -> str:
    """Fingerprint of a lock, the same whatever line ends it has on disk."""
    return hashlib.sha256(lock_text.replace("\r\n", "\n").encode("utf-8")).hexdigest()


def record_of(lock_text: str) -> dict[str, object]:
    """The record for a lock: its fingerprint, and for each system and Python version the files."""
    pins = pins_of(lock_text)
    systems = {name: {python: resolve(pins, system, python) for python in PYTHONS} for name, system in SYSTEMS.items()}
    return {"lock": digest_of(lock_text), "systems": systems}


def all_files(systems: Mapping[str, Mapping[str, Mapping[str, str]]]) -> Iterator[tuple[str, str, str, str]]:
    """System, Python version, file name and hash of everything in a record."""
    for system, pythons in systems.items():
        for python, files in pythons.items():
            for file, sha256 in files.items():
                yield system, python, file, sha256


def main() -> None:
    """Make the record."""
    lock, record = Path(sys.argv[1]), Path(sys.argv[2])
    try:
        found = record_of(lock.read_text(encoding="utf-8"))
    except CannotResolve as fault:
        sys.exit(str(fault))
    record.write_text(json.dumps(found, indent=1) + "\n", encoding="utf-8", newline="\n")


if __name__ == "__main__":
    main()
