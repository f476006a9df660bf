"""The public face of the library: one list, loaded when asked for; every engine in a few lines; results to look at."""

from __future__ import annotations

import json
import os
import re
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

import pinproof
from pinproof.drawings.saw_tooth import saw_tooth
from pinproof.pack.shown import _MAKERS, Shown, ShownDrawing
from tests.first_principles.test_log_pages import written
from tools import notebook
from tools.reference import library

ROOT = notebook.ROOT


def test_importing_loads_nothing() -> None:
    """`import pinproof` costs nothing, and still every name is offered."""
    program = (
        "import sys; before = set(sys.modules); import pinproof; "
        "print(*sorted(set(sys.modules) - before)); assert 'prove' in dir(pinproof)"
    )
    paths = os.pathsep.join([str(ROOT / "src"), os.environ.get("PYTHONPATH", "")])
    done = subprocess.run(
        [sys.executable, "-c", program], capture_output=True, text=True, env={**os.environ, "PYTHONPATH": paths}
    )
    assert done.returncode == 0, done.stderr
    assert [name for name in done.stdout.split() if name.startswith(("pinproof.", "numpy", "click"))] == []


@pytest.mark.parametrize("name", pinproof.PUBLIC)
def test_every_public_name_is_there_and_says_what_it_is(name: str) -> None:
    """It loads from where the list says, has a docstring, and collides with no room of the package."""
    thing = getattr(pinproof, name)
    module, _, attribute = pinproof.PUBLIC[name].rpartition(".")
    assert getattr(sys.modules[module], attribute) is thing
    assert thing.__doc__
    assert not (ROOT / "src" / "pinproof" / name).exists() and not (ROOT / "src" / "pinproof" / f"{name}.py").exists()
    assert name in pinproof.__all__


def test_an_unknown_name_is_told_with_what_there_is() -> None:
    """An AttributeError, as of any module."""
    with pytest.raises(AttributeError, match="no public name 'proof_of'. There are: load, "):
        _ = pinproof.proof_of  # type: ignore[attr-defined]


def test_there_is_one_version(project_root: Path) -> None:
    """The package has it; the command says it; the project's file takes it from there; the list of changes knows it."""
    done = subprocess.run(
        [sys.executable, "-m", "pinproof", "--version"], capture_output=True, text=True,
        env={**os.environ, "PYTHONPATH": str(project_root / "src")},
    )  # fmt: skip
    assert pinproof.__version__ in done.stdout
    assert re.fullmatch(r"\d+\.\d+\.\d+(?:[a-z.]+\d+)?", pinproof.__version__)
    assert 'dynamic = ["version"]' in (project_root / "pyproject.toml").read_text(encoding="utf-8")
    heads = re.findall(r"^## (.+)$", (project_root / "CHANGELOG.md").read_text(encoding="utf-8"), flags=re.MULTILINE)
    assert pinproof.__version__ in heads[0]


@pytest.fixture(scope="module")
def space(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Any]:
    """The trucks that the uses on the library page speak of."""
    folder = tmp_path_factory.mktemp("uses")
    written(folder)
    (folder / "day.csv").rename(folder / "day1.csv")
    return {
        "pinproof": pinproof, "folder": folder, "truck": pinproof.load(pinproof.example_path("sandpiper")),
        "whole": pinproof.load(pinproof.example_path("dunlin")),
    }  # fmt: skip


@pytest.mark.parametrize(
    "name", [pytest.param(each, marks=[pytest.mark.slow] if each == "prove_inhibit" else []) for each in library.USES]
)
def test_every_engine_in_three_lines(name: str, space: dict[str, Any], monkeypatch: pytest.MonkeyPatch) -> None:
    """What the library page shows runs, and what comes out shows itself as HTML and as words."""
    monkeypatch.chdir(space["folder"])
    lines = library.USES[name].split("\n")
    assert len(lines) <= 3
    outputs = notebook.run_cell(library.USES[name], dict(space))
    (data,) = [each["data"] for each in outputs if "data" in each]
    html, text = "".join(data["text/html"]), "".join(data["text/plain"])
    assert html.startswith('<div class="pinproof">') and len(text.splitlines()) >= 3
    assert "<script" not in html and "http" not in re.sub(r"http://www\.w3\.org/\S+", "", html)


def test_show_takes_drawings_results_and_nothing_else(space: dict[str, Any]) -> None:
    """A drawing shows as SVG with its words; a line's proof as a chart; what is no result is refused."""
    sums = pinproof.drive_sums(space["truck"])
    drawn = pinproof.show(saw_tooth(sums))
    assert isinstance(drawn, ShownDrawing) and drawn._repr_svg_().startswith("<svg")
    assert "Engine speed" in str(drawn)
    proof = pinproof.prove(space["truck"], samples=0)
    line = pinproof.show(proof.lines[0], space["truck"])
    assert isinstance(line, Shown) and "<figure" in line._repr_html_()
    assert "<figure" not in pinproof.show(proof)._repr_html_(), "without the truck there is no chart"
    with pytest.raises(TypeError, match=r"show takes the result of an engine, not str. Right: show\(prove\(truck\)\)"):
        pinproof.show("proof")
    assert len(_MAKERS) >= 10


def test_what_users_wrote_cannot_become_markup() -> None:
    """A name from the design file is text in the HTML."""
    text = pinproof.example_path("heron").read_text(encoding="utf-8")
    truck = pinproof.loads(re.sub(r'^name = ".*"', 'name = "<script>alert(1)</script>"', text, count=1, flags=re.M))
    proof = pinproof.prove(truck, samples=0)
    for result in (proof, pinproof.chain_of(truck, proof), pinproof.faults_of(truck)):
        assert "<script" not in pinproof.show(result, truck)._repr_html_()


def test_as_json_is_what_the_command_prints(space: dict[str, Any]) -> None:
    """Plain values for every engine, numbers that JSON does not know as words."""
    proof = pinproof.prove(space["truck"], samples=0)
    plain = pinproof.as_json(proof)
    assert plain["verdict"] == "pass" and len(plain["situations"]) == 32
    for result in (proof, pinproof.faults_of(space["truck"]), pinproof.drive_sums(space["truck"]),
                   pinproof.bench_sheet(space["truck"], pinproof.usual_meter())):  # fmt: skip
        json.dumps(pinproof.as_json(result), allow_nan=False)


def test_the_notebook_prints_what_it_shows() -> None:
    """Its code cells, in order, in one namespace, without Jupyter; texts compared."""
    cells = json.loads(notebook.NOTEBOOK.read_text(encoding="utf-8"))["cells"]
    assert [("".join(each["source"]), each["cell_type"]) for each in cells] == [
        (text, kind) for kind, text in notebook.CELLS
    ]
    space: dict[str, Any] = {"__name__": "__main__"}
    for cell in cells:
        if cell["cell_type"] == "code":
            shown = [_texts(each) for each in cell["outputs"]]
            real = [_texts(each) for each in notebook.run_cell("".join(cell["source"]), space)]
            assert shown == real, "stale; `python3 dev.py docs` writes it anew"


def _texts(output: dict[str, Any]) -> str:
    return "".join(output.get("text") or output["data"]["text/plain"])


def test_a_cell_shows_its_prints_and_its_last_value() -> None:
    """As a notebook does, and nothing where the last line is no value."""
    told, value = notebook.run_cell("print('a')\n1 + 1", {})
    assert (told["text"], value["data"]["text/plain"]) == (["a\n"], ["2"])
    assert notebook.run_cell("x = 1", {}) == []
    with pytest.raises(ZeroDivisionError):
        notebook.run_cell("1 / 0", {})
