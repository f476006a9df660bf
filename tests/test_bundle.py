"""The folder for the stick: made here for this system, installed with the network shut off, and run.

For the other systems the files are those recorded with the lock: pip's choice, made by `dev.py lock`, is compared
with the tags that `packaging` derives for each system and Python version.
"""

from __future__ import annotations

import hashlib
import json
import os
import re
import shutil
import subprocess
import sys
import time
import tomllib
import zipfile
from collections.abc import Sequence
from pathlib import Path

import pytest
from packaging.requirements import Requirement
from packaging.tags import Tag, compatible_tags, cpython_tags, mac_platforms
from packaging.utils import canonicalize_name, parse_wheel_filename

import dev
import pinproof
from tools import bundle, wheels
from tools.stick import install

PYTHON = f"{sys.version_info[0]}.{sys.version_info[1]}"
NOWHERE = "http://127.0.0.1:9/"  # the discard port: nothing answers there

# What the oldest system of each kind takes, written out anew here from the names in the wheel specifications.
PLATFORMS = {
    "windows": ["win_amd64"],
    "macos-arm": list(mac_platforms((11, 0), "arm64")),
    "macos-intel": list(mac_platforms((11, 0), "x86_64")),
    "linux": [f"manylinux_2_{minor}_x86_64" for minor in range(28, 4, -1)] + ["manylinux2014_x86_64"],
}


def shut_off() -> list[str]:
    """Beginning of a command line under which no network interface but the loopback exists; empty where it cannot."""
    if sys.platform.startswith("linux") and shutil.which("unshare"):
        for options in (["-n"], ["-r", "-n"]):  # the second for those who are not root
            if subprocess.run(["unshare", *options, "true"], capture_output=True).returncode == 0:
                return ["unshare", *options]
    return []


def without_network(command: Sequence[str | Path], cwd: Path, stdin: str = "") -> subprocess.CompletedProcess[str]:
    """Run a command with no network, or at least with every address that pip might use leading nowhere."""
    env = {name: value for name, value in os.environ.items() if not name.startswith(("PIP_", "PYTHON", "VIRTUAL_ENV"))}
    env |= dict.fromkeys(("HTTP_PROXY", "HTTPS_PROXY", "ALL_PROXY", "http_proxy", "https_proxy"), NOWHERE)
    env |= {"PIP_INDEX_URL": NOWHERE, "PIP_RETRIES": "0", "PYTHONIOENCODING": "utf-8"}
    words = [*shut_off(), *(str(part) for part in command)]
    return subprocess.run(
        words, cwd=cwd, env=env, input=stdin, capture_output=True, encoding="utf-8", errors="replace", timeout=300
    )


@pytest.fixture(scope="module")
def stick(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The folder for this system and this Python, under a name with a space and letters beyond ASCII."""
    folder = tmp_path_factory.mktemp("stick") / "USB Stick é" / "pinproof"
    assert install.system_here() in wheels.SYSTEMS, f"no folder can be made for {install.system_here()}"
    assert bundle.main(["--python", PYTHON, "-o", str(folder)]) == 0
    return folder


@pytest.fixture(scope="module")
def installed(stick: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Pinproof as the installer leaves it."""
    target = tmp_path_factory.mktemp("laptop") / "Werkstatt ä 1"
    done = without_network([sys.executable, stick / "files" / "install.py", target], cwd=stick.parent)
    assert done.returncode == 0, done.stdout + done.stderr
    assert str(target) in done.stdout
    return target


@pytest.fixture
def copy_of_stick(stick: Path, tmp_path: Path) -> Path:
    """A copy that a test may spoil."""
    return Path(shutil.copytree(stick, tmp_path / "copy"))


def refusal(stick: Path, target: Path) -> str:
    """What the installer says when it must refuse; nothing may have been installed."""
    done = without_network([sys.executable, stick / "files" / "install.py", target], cwd=stick)
    assert done.returncode == 2, done.stdout + done.stderr
    assert "NOT INSTALLED." in done.stderr
    assert not (target / "start.sh").exists() and not (target / "start.bat").exists()
    return done.stderr


def spoil_manifest(stick: Path, **changes: object) -> None:
    """Change entries of the folder's own description."""
    path = stick / "files" / "bundle.json"
    path.write_text(json.dumps(json.loads(path.read_text(encoding="utf-8")) | changes), encoding="utf-8")


# --- the folder for this system --------------------------------------------------------------------------------------


def test_the_network_is_shut_off(tmp_path: Path) -> None:
    """The way these tests run things reaches no address; 192.0.2.1 is kept for documentation (RFC 5737)."""
    probe = "import socket; socket.create_connection(('192.0.2.1', 9), timeout=2)"
    done = without_network([sys.executable, "-c", probe], cwd=tmp_path)
    assert done.returncode != 0
    if shut_off():
        assert "unreachable" in done.stderr  # at once: there is no way out at all


def test_installs_and_runs_without_a_network(installed: Path) -> None:
    """The program answers, and it is the installed one and not the project's own source."""
    folder = installed / "env"
    program, python = dev.venv_program("pinproof", folder), dev.venv_program("python", folder)
    version = without_network([program, "--version"], cwd=installed)
    assert version.returncode == 0, version.stderr
    assert pinproof.__version__ in version.stdout
    place = without_network([python, "-c", "import pinproof; print(pinproof.__file__)"], cwd=installed)
    assert Path(place.stdout.strip()).is_relative_to(folder)
    demo = without_network([program, "demo"], cwd=installed / "designs")
    assert demo.returncode == 0, demo.stdout + demo.stderr
    assert "PROVEN" in demo.stdout
    report = installed / "designs" / "pinproof-demo" / "sandpiper.html"
    assert "<svg" in report.read_text(encoding="utf-8")
    log = (installed / "install.log").read_text(encoding="utf-8")
    assert "Looking in links" in log and "Looking in indexes" not in log  # settings of this computer are not read


def test_exactly_the_run_lock_is_installed(installed: Path) -> None:
    """Nothing more than the lock says for this system, in its versions."""
    python = dev.venv_program("python", installed / "env")
    done = without_network([python, "-m", "pip", "list", "--format", "json"], cwd=installed)
    found = {canonicalize_name(entry["name"]): entry["version"] for entry in json.loads(done.stdout)}
    system = wheels.SYSTEMS[install.system_here()]
    pins = wheels.pins_of((dev.ROOT / "requirements-run.lock").read_text(encoding="utf-8"))
    wanted = {canonicalize_name(pin.name): pin.version for pin in pins if pin.wanted_on(system, PYTHON)}
    assert {name: v for name, v in found.items() if name not in ("pip", "setuptools", "pinproof")} == wanted


def test_the_start_file_shows_the_demonstration_and_leaves_a_prompt(installed: Path) -> None:
    """After the demonstration `pinproof` is a known command, and a second start does not repeat it."""
    start = "start.bat" if os.name == "nt" else "start.command" if sys.platform == "darwin" else "start.sh"
    command: list[str | Path] = ["cmd", "/c"] if os.name == "nt" else ["sh"]
    command.append(installed / start)
    shutil.rmtree(installed / "designs")
    first = without_network(command, cwd=installed.parent, stdin="pinproof --version\nexit\n")
    assert "PROVEN" in first.stdout and "pinproof, version" in first.stdout, first.stdout + first.stderr
    again = without_network(command, cwd=installed.parent, stdin="pinproof --version\nexit\n")
    assert "PROVEN" not in again.stdout and "pinproof, version" in again.stdout, again.stdout + again.stderr


def test_installing_again_renews_the_program_and_keeps_the_designs(stick: Path, installed: Path) -> None:
    """`designs` belongs to the user."""
    mine = installed / "designs" / "truck.toml"
    mine.parent.mkdir(exist_ok=True)
    mine.write_text("# mine\n", encoding="utf-8")
    left_over = installed / "env" / "left-over.txt"
    left_over.write_text("old", encoding="utf-8")
    done = without_network([sys.executable, stick / "files" / "install.py", installed], cwd=stick)
    assert done.returncode == 0, done.stdout + done.stderr
    assert mine.read_text(encoding="utf-8") == "# mine\n"
    assert not left_over.exists()


# --- what the installer refuses --------------------------------------------------------------------------------------


def test_a_damaged_file_is_refused(copy_of_stick: Path, tmp_path: Path) -> None:
    """One flipped byte in one wheel."""
    victim = next((copy_of_stick / "files" / "wheels").glob("click-*.whl"))
    content = bytearray(victim.read_bytes())
    content[len(content) // 2] ^= 1
    victim.write_bytes(content)
    said = refusal(copy_of_stick, tmp_path / "target")
    assert f"{victim.name} is damaged:" in said


def test_a_file_that_pip_does_not_know_is_refused(copy_of_stick: Path, tmp_path: Path) -> None:
    """Whoever changes wheel and description together still fails at the hashes that pip checks."""
    victim = next((copy_of_stick / "files" / "wheels").glob("click-*.whl"))
    with zipfile.ZipFile(victim, "a") as archive:
        archive.writestr("click/added.py", "print('changed')\n")
    manifest = json.loads((copy_of_stick / "files" / "bundle.json").read_text(encoding="utf-8"))
    manifest["pythons"][PYTHON][victim.name] = hashlib.sha256(victim.read_bytes()).hexdigest()
    spoil_manifest(copy_of_stick, pythons=manifest["pythons"])
    said = refusal(copy_of_stick, tmp_path / "target")
    assert "do not match the hashes" in said.lower() or "hash" in said.lower()


def test_a_missing_file_is_named(copy_of_stick: Path, tmp_path: Path) -> None:
    """A copy that was interrupted."""
    victim = next((copy_of_stick / "files" / "wheels").glob("typst-*.whl"))
    victim.unlink()
    assert victim.name in refusal(copy_of_stick, tmp_path / "target")


def test_another_python_or_system_is_named(copy_of_stick: Path, tmp_path: Path) -> None:
    """A Python without files, then the folder of another system."""
    spoil_manifest(copy_of_stick, pythons={"3.99": {}})
    said = refusal(copy_of_stick, tmp_path / "target")
    assert f"This is Python {PYTHON}" in said and "3.99" in said and "python.org" in said
    spoil_manifest(copy_of_stick, system="windows" if os.name != "nt" else "linux")
    assert "is made for" in refusal(copy_of_stick, tmp_path / "target")


@pytest.mark.parametrize(("windows", "command"), [(True, ["py", "-3.98"]), (False, ["python3.98"])])
def test_another_fitting_python_is_found(windows: bool, command: list[str], monkeypatch: pytest.MonkeyPatch) -> None:
    """Of several Pythons the newest with files in the folder is taken; a broken and an absent one are passed over."""

    def answer(words: list[str], **_: object) -> subprocess.CompletedProcess[bytes]:
        if "3.96" in " ".join(words):
            raise FileNotFoundError(words[0])
        return subprocess.CompletedProcess(words, returncode=1 if "3.99" in " ".join(words) else 0)

    monkeypatch.setattr(install, "WINDOWS", windows)
    monkeypatch.setattr(subprocess, "run", answer)
    assert install.other_python(["3.96", "3.97", "3.98", "3.99"]) == command
    assert install.other_python(["3.96", "3.99"]) is None


def test_a_folder_with_something_else_in_it_is_left_alone(stick: Path, tmp_path: Path) -> None:
    """`env` of another program is not removed."""
    foreign = tmp_path / "target" / "env" / "precious.txt"
    foreign.parent.mkdir(parents=True)
    foreign.write_text("keep", encoding="utf-8")
    assert "not from an earlier installation" in refusal(stick, tmp_path / "target")
    assert foreign.read_text(encoding="utf-8") == "keep"


def test_making_the_folder_leaves_other_folders_alone(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A folder that is not an earlier bundle is not replaced."""
    (tmp_path / "precious.txt").write_text("keep", encoding="utf-8")
    assert bundle.main(["--system", "windows", "-o", str(tmp_path)]) == 2
    assert "Name another folder" in capsys.readouterr().err
    assert [path.name for path in tmp_path.iterdir()] == ["precious.txt"]


# --- Pinproof's own wheel --------------------------------------------------------------------------------------------


def test_own_wheel_is_the_same_bytes_again(tmp_path: Path) -> None:
    """Another folder, other file times: the same wheel."""
    digests: list[str] = []
    for name in ("first", "second with space"):
        source = tmp_path / name
        for part in ("src", "pyproject.toml", "README.md", "LICENSE", ".gitignore"):
            there = dev.ROOT / part
            if there.is_dir():
                shutil.copytree(there, source / part, ignore=shutil.ignore_patterns("__pycache__"))
            else:
                source.mkdir(exist_ok=True)
                shutil.copyfile(there, source / part)
        if digests:
            for path in source.rglob("*"):
                os.utime(path, (time.time() - 1e7, time.time() - 1e7))
        (tmp_path / "out" / name).mkdir(parents=True)
        digests.append(hashlib.sha256(bundle.build_wheel(source, tmp_path / "out" / name).read_bytes()).hexdigest())
    assert digests[0] == digests[1]


def test_own_wheel_holds_the_data_files(stick: Path) -> None:
    """Tables, examples and templates travel with the code."""
    own = next((stick / "files" / "wheels").glob("pinproof-*.whl"))
    inside = set(zipfile.ZipFile(own).namelist())
    source = dev.ROOT / "src"
    files = {path.relative_to(source).as_posix() for path in (source / "pinproof").rglob("*") if path.is_file()}
    wanted = {name for name in files if "__pycache__" not in name and not name.endswith((".prev", ".tmp"))}
    assert wanted - inside == set()


# --- the locks, and the files of every system ------------------------------------------------------------------------


def read_lock(name: str) -> list[wheels.Pin]:
    """Pins of one of the project's locks."""
    return wheels.pins_of((dev.ROOT / name).read_text(encoding="utf-8"))


def read_record() -> dict[str, dict[str, dict[str, str]]]:
    """The recorded files by system and Python version; the record must belong to the lock."""
    record = json.loads((dev.ROOT / "requirements-run.wheels.json").read_text(encoding="utf-8"))
    lock_text = (dev.ROOT / "requirements-run.lock").read_text(encoding="utf-8")
    assert record["lock"] == wheels.digest_of(lock_text), "made from another lock; make both: python3 dev.py lock"
    systems: dict[str, dict[str, dict[str, str]]] = record["systems"]
    return systems


@pytest.mark.parametrize("name", ["requirements-run.lock", "requirements-build.lock"])
def test_small_locks_are_parts_of_the_whole_one(name: str) -> None:
    """The same versions, conditions and hashes, so that tests complete what `demo` installed and change none of it."""
    part, whole = set(read_lock(name)), set(read_lock("requirements.lock"))
    assert part and all(pin.hashes for pin in part)
    assert {pin.name for pin in part - whole} == set()
    assert "://" not in (dev.ROOT / name).read_text(encoding="utf-8")


def test_run_lock_is_what_the_project_declares() -> None:
    """Every dependency of pyproject.toml is pinned for every system, inside its range, and no test library is."""
    project = tomllib.loads((dev.ROOT / "pyproject.toml").read_text(encoding="utf-8"))
    pins = read_lock("requirements-run.lock")
    for system in wheels.SYSTEMS.values():
        for python in wheels.PYTHONS:
            chosen = {canonicalize_name(pin.name): pin.version for pin in pins if pin.wanted_on(system, python)}
            for text in project["project"]["dependencies"]:
                wanted = Requirement(text)
                assert wanted.specifier.contains(chosen[canonicalize_name(wanted.name)]), f"{text} on {system.title}"
    tests_only = {canonicalize_name(Requirement(text).name) for text in project["dependency-groups"]["dev"]}
    assert tests_only & {canonicalize_name(pin.name) for pin in pins} == set()


def test_markers_are_read() -> None:
    """The reader of locks on a small one: conditions, several hashes, two versions of one library."""
    text = (
        "one==1.0 ; sys_platform == 'win32' \\\n    --hash=sha256:aa \\\n    --hash=sha256:bb\n"
        "two==2.0 ; python_full_version < '3.12' \\\n    --hash=sha256:cc\n"
        "two==3.0 ; python_full_version >= '3.12' \\\n    --hash=sha256:dd\n"
    )
    pins = wheels.pins_of(text)
    assert [(pin.name, pin.version, len(pin.hashes)) for pin in pins] == [
        ("one", "1.0", 2),
        ("two", "2.0", 1),
        ("two", "3.0", 1),
    ]
    on = {
        (name, python): [pin.version for pin in pins if pin.wanted_on(wheels.SYSTEMS[name], python)]
        for name in ("windows", "linux")
        for python in ("3.11", "3.12")
    }
    assert on[("windows", "3.11")] == ["1.0", "2.0"] and on[("windows", "3.12")] == ["1.0", "3.0"]
    assert on[("linux", "3.11")] == ["2.0"] and on[("linux", "3.12")] == ["3.0"]


@pytest.mark.parametrize("python", wheels.PYTHONS)
@pytest.mark.parametrize("system", wheels.SYSTEMS)
def test_every_pin_has_a_wheel(system: str, python: str) -> None:
    """One ready-built file for each library, of the pinned version, that fits system and Python, with its hash."""
    files = read_record()[system][python]
    pins = [pin for pin in read_lock("requirements-run.lock") if pin.wanted_on(wheels.SYSTEMS[system], python)]
    version = tuple(int(part) for part in python.split("."))
    platforms = PLATFORMS[system]
    accepted: set[Tag] = set(cpython_tags(version, platforms=platforms))
    accepted |= set(compatible_tags(version, interpreter="cp" + python.replace(".", ""), platforms=platforms))
    assert len(files) == len(pins)
    for pin in pins:
        own = {
            file: parse_wheel_filename(file)[3]
            for file in files
            if parse_wheel_filename(file)[:2]
            == parse_wheel_filename(f"{pin.name.replace('-', '_')}-{pin.version}-py3-none-any.whl")[:2]
        }
        assert len(own) == 1, f"{pin.name} {pin.version}: {list(own)}"
        for file, tags in own.items():
            assert tags & accepted, f"{file} does not fit {system}, Python {python}"
            assert files[file] in pin.hashes, f"{file} is not what the lock lists"


# --- what Windows runs -----------------------------------------------------------------------------------------------


@pytest.mark.parametrize("system", wheels.SYSTEMS)
def test_installer_of_each_system(system: str, tmp_path: Path) -> None:
    """Each system gets what it can double-click, with its own line ends, in letters that every window shows."""
    start = bundle.put_installer(tmp_path, system, "1.2.3", ["3.13"])
    names = {path.relative_to(tmp_path).as_posix() for path in tmp_path.rglob("*") if path.is_file()}
    installer = {"windows": "install-windows.bat", "linux": "install.sh"}.get(system, "install.command")
    assert names == {"START.txt", installer, f"files/{start}", "files/install.py", "python-installer/READ-ME.txt"}
    for name in names:
        content = (tmp_path / name).read_bytes()
        assert content.isascii()
        assert content.count(b"\r\n") == (content.count(b"\n") if system == "windows" else 0), name
    text = (tmp_path / "START.txt").read_text(encoding="ascii")
    assert "1.2.3" in text and installer in text and start in text and "@" not in text


@pytest.mark.parametrize("name", ["start-windows.bat", "tools/stick/install-windows.bat", "tools/stick/start.bat"])
def test_batch_files_are_fit_for_windows(name: str) -> None:
    """Line ends of Windows (labels are missed without), letters of every code page, and no label is missing."""
    content = (dev.ROOT / name).read_bytes()
    assert content.isascii() and content.count(b"\n") == content.count(b"\r\n") > 5
    text = content.decode("ascii").lower()
    used = set(re.findall(r"(?:goto|call) :?(?!:?eof)(\w+)", text))
    assert used and used <= set(re.findall(r"^:(\w+)", text, flags=re.MULTILINE))


@pytest.mark.parametrize("pythons", [list(wheels.PYTHONS), ["3.11"], ["3.12", "3.14"]])
@pytest.mark.parametrize("system", wheels.SYSTEMS)
def test_a_folder_names_the_python_versions_that_it_was_made_for(
    system: str, pythons: list[str], tmp_path: Path
) -> None:
    """What it looks for, what it says when there is none, what to fetch: no version that it has no files for."""
    bundle.put_installer(tmp_path, system, "1.2.3", pythons)
    for name in ("START.txt", "python-installer/READ-ME.txt", *(each.name for each in tmp_path.glob("install*"))):
        text = (tmp_path / name).read_text(encoding="ascii")
        named = set(re.findall(r"\b3\.\d+\b", text.replace("1.2.3", "")))
        named |= {f"3.{minor}" for minor in re.findall(r"\(3, (\d+)\)", text)}
        assert named and named <= set(pythons), (name, named)
        assert not re.search(r"@[A-Z]", text), name
        if name.startswith("install"):
            assert [f"3.{minor}" for minor in re.findall(r"\(3, (\d+)\)", text)] == pythons
            assert named == set(pythons)


@pytest.mark.skipif(sys.platform == "win32", reason="a shell script")
def test_the_shell_installer_refuses_a_python_that_it_has_no_files_for(tmp_path: Path) -> None:
    """With only another one on the computer it says which it wants; with a fitting one it runs."""
    other = next(each for each in wheels.PYTHONS if each != PYTHON)
    path = tmp_path / "bin"
    path.mkdir()
    (path / "python3").symlink_to(sys.executable)
    for word in ("dirname", "sh"):
        (path / word).symlink_to(str(shutil.which(word)))
    for pythons, wanted in (([other], 2), ([PYTHON], 0)):
        bundle.put_installer(tmp_path, "linux", "1.2.3", pythons)
        (tmp_path / "files" / "install.py").write_text("print('installs')\n", encoding="utf-8")
        done = subprocess.run(
            ["sh", str(tmp_path / "install.sh")], capture_output=True, text=True, env={"PATH": str(path)}
        )
        assert done.returncode == wanted, done.stderr
        assert done.stdout == ("installs\n" if wanted == 0 else "")
        assert wanted == 0 or f"No Python {other} was found" in done.stderr


def test_installer_imports_only_the_standard_library(project_root: Path) -> None:
    """It runs before anything is installed, and on Windows."""
    text = (project_root / "tools" / "stick" / "install.py").read_text(encoding="utf-8")
    names = set(re.findall(r"^\s*(?:from|import) (\w+)", text, flags=re.MULTILINE))
    assert names <= set(sys.stdlib_module_names)
    assert not names & {"fcntl", "grp", "posix", "pwd", "resource", "termios", "pty"}
    assert "shell=True" not in text and "os.fork" not in text and "symlink" not in text


def test_a_name_too_long_for_windows_is_refused(stick: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The check that Windows needs, run here: the longest file inside the wheels must still have a path that opens."""
    files = json.loads((stick / "files" / "bundle.json").read_text(encoding="utf-8"))["pythons"][PYTHON]
    monkeypatch.setattr(install, "WINDOWS", True)
    monkeypatch.setattr(install, "WHEELS", stick / "files" / "wheels")
    with pytest.raises(install.CannotInstall, match="too long"):
        install.check_target(tmp_path / ("x" * 150), files)
    monkeypatch.setattr(install, "LONGEST_PATH", 10_000)
    install.check_target(tmp_path / ("x" * 150), files)
    longest = max(len(name) for file in files for name in zipfile.ZipFile(stick / "files" / "wheels" / file).namelist())
    # the usual folder of a person with a long name must fit without a choice: C:, Users, 20 letters, Pinproof
    usual = len("C:/Users/") + 20 + len("/Pinproof")
    assert usual + longest + len("/env/Lib/site-packages/__pycache__/.cpython-314") < 255


# --- dev.py's two environments ---------------------------------------------------------------------------------------


def test_demo_installs_only_what_running_needs(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """`demo` takes the run and build locks; `test` completes the same environment; then `demo` changes nothing."""
    calls: list[list[str]] = []
    made: list[Path] = []
    monkeypatch.setattr(dev, "VENV", tmp_path)
    monkeypatch.setattr(dev, "STAMP", tmp_path / "stamp.json")
    monkeypatch.setattr(dev, "make_venv", made.append)
    monkeypatch.setattr(dev, "python_works", lambda python: bool(made))
    monkeypatch.setattr(dev, "pip", lambda python, what, arguments, total=0: calls.append(list(arguments)))

    def installed_by(for_tests: bool) -> list[str]:
        calls.clear()
        dev.ensure_environment(for_tests)
        return [Path(word).name for words in calls for word in words if word.endswith(".lock")]

    assert installed_by(for_tests=False) == ["requirements-run.lock", "requirements-build.lock"]
    assert installed_by(for_tests=False) == []
    assert installed_by(for_tests=True) == ["requirements.lock"]
    assert installed_by(for_tests=True) == [] and installed_by(for_tests=False) == []
    assert len(made) == 1
    # the run lock moved on, `demo` follows; the tests' part is then known to be old
    stamp = json.loads(dev.STAMP.read_text(encoding="utf-8"))
    dev.STAMP.write_text(json.dumps(stamp | {"run": "older", "lock": "older"}), encoding="utf-8")
    assert installed_by(for_tests=False) == ["requirements-run.lock", "requirements-build.lock"]
    assert installed_by(for_tests=True) == ["requirements.lock"]
    assert len(made) == 1
