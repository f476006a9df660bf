"""Make docs/examples/sandpiper.ipynb: the library on an invented truck, with the outputs that it really gives.

    .venv/bin/python tools/notebook.py        (Windows: .venv\\Scripts\\python tools\\notebook.py)

The cells are run here, one after the other in one namespace, without Jupyter. A test runs the cells of the file again
and compares what they print.
"""

from __future__ import annotations

import ast
import contextlib
import io
import json
import sys
from pathlib import Path
from typing import Any

ROOT = Path(__file__).resolve().parent.parent
NOTEBOOK = ROOT / "docs" / "examples" / "sandpiper.ipynb"

CELLS: tuple[tuple[str, str], ...] = (
    (
        "markdown",
        "# Sandpiper: from switch to repair, as a library\n\n"
        "The truck is invented. Pinproof is a design aid, not approval: the event's rule book, local law and licensed "
        "practice come first. Nothing here suggests a way around a start inhibit or an over-speed guard.\n\n"
        "Every result is a frozen dataclass. `show` lets you look at it, `as_json` gives it to other programs.",
    ),
    (
        "code",
        "import pinproof\n\n"
        'truck = pinproof.load(pinproof.example_path("sandpiper"))\n'
        "[(line.id, line.form, line.input) for line in truck.lines]",
    ),
    (
        "markdown",
        "## Is it proven?\n\nEvery situation of every line, at every corner of tolerance, heat, wear, supply.",
    ),
    ("code", "proof = pinproof.prove(truck)\npinproof.show(proof, truck)"),
    ("markdown", "What does that rest on? The number to measure first stands at the head."),
    ("code", "for each in proof.rests_on[:5]:\n    print(each.number, each.basis)"),
    ("markdown", "## The chain, and what to do next"),
    ("code", "pinproof.show(pinproof.chain_of(truck, proof))"),
    ("markdown", "## Which resistors?\n\nFor another invented truck, from the E24 series, with a certificate."),
    (
        "code",
        'wagtail = pinproof.load(pinproof.example_path("wagtail"))\n'
        'chosen = pinproof.choose_values(wagtail, "buttons", source="E24", high_ohm=100_000.0)\n'
        "pinproof.show(chosen)",
    ),
    ("markdown", "## What would every fault do?"),
    ("code", "faults = pinproof.faults_of(truck)\npinproof.show(faults)"),
    (
        "markdown",
        "## Find one\n\nA reading in, probabilities of classes of causes out. Before you put a meter to the truck: "
        "wheels chocked, brake on, lever in park, engine off, controller unplugged for ohms.",
    ),
    (
        "code",
        'search = pinproof.Diagnosis(truck, "taps")\n'
        'reading = pinproof.read_look(search, "ohms lever_manual+lever_up=OL")\n'
        "pinproof.show(search.posterior([reading]))",
    ),
    ("markdown", "## An unknown pin\n\nVolts with nothing on the pin, and with a known load: what sits behind it?"),
    (
        "code",
        "readings = [pinproof.PinReading(4.98), pinproof.PinReading(2.41, 1000.0), pinproof.PinReading(3.35, 2200.0)]\n"
        "source = pinproof.fit_source(readings, pinproof.VoltMeter(one_range=True))\n"
        'print(f"{source.volts_v:.2f} V behind {source.ohm:.0f} ohm, give or take {2 * source.u_ohm:.0f} ohm")',
    ),
    ("markdown", "## Gears\n\nSpeeds, safe downshifts, and whether the controller's lines can work."),
    ("code", "pinproof.show(pinproof.drive_sums(truck))"),
    ("markdown", "## For other programs"),
    ("code", 'plain = pinproof.as_json(proof)\nprint(plain["verdict"], len(plain["situations"]))'),
    ("markdown", "## What is refused\n\nAn error says where, what was read, what would be right and what to do next."),
    (
        "code",
        'text = pinproof.example_path("sandpiper").read_text(encoding="utf-8")\n'
        "try:\n"
        '    pinproof.loads(text.replace(\'compares = "battery"\', \'compares = "batery"\'), "sandpiper.toml")\n'
        "except pinproof.DesignFault as fault:\n"
        "    print(fault)",
    ),
)


def run_cell(source: str, space: dict[str, Any]) -> list[dict[str, Any]]:
    """Run one cell as a notebook does: what it prints, and the value of its last line."""
    tree = ast.parse(source)
    last = tree.body.pop() if tree.body and isinstance(tree.body[-1], ast.Expr) else None
    told = io.StringIO()
    value = None
    with contextlib.redirect_stdout(told):
        exec(compile(tree, "<cell>", "exec"), space)
        if isinstance(last, ast.Expr):
            value = eval(compile(ast.Expression(last.value), "<cell>", "eval"), space)
    outputs: list[dict[str, Any]] = []
    if told.getvalue():
        outputs.append({"name": "stdout", "output_type": "stream", "text": _lines(told.getvalue())})
    if value is not None:
        data = {"text/plain": _lines(repr(value))}
        for kind, maker in (("text/html", "_repr_html_"), ("image/svg+xml", "_repr_svg_")):
            made = getattr(value, maker, None)
            if made is not None:
                data[kind] = _lines(made())
        outputs.append({"data": data, "execution_count": None, "metadata": {}, "output_type": "execute_result"})
    return outputs


def _lines(text: str) -> list[str]:
    return text.splitlines(keepends=True)


def made() -> str:
    """The notebook with fresh outputs, as its file holds it."""
    space: dict[str, Any] = {"__name__": "__main__"}
    cells: list[dict[str, Any]] = []
    number = 0
    for at, (kind, source) in enumerate(CELLS, start=1):
        cell: dict[str, Any] = {"cell_type": kind, "id": f"cell-{at:02d}", "metadata": {}, "source": _lines(source)}
        if kind == "code":
            number += 1
            outputs = run_cell(source, space)
            for each in outputs:
                if "execution_count" in each:
                    each["execution_count"] = number
            cell |= {"execution_count": number, "outputs": outputs}
        cells.append(cell)
    whole = {
        "cells": cells,
        "metadata": {
            "kernelspec": {"display_name": "Python 3", "language": "python", "name": "python3"},
            "language_info": {"name": "python", "file_extension": ".py"},
        },
        "nbformat": 4,
        "nbformat_minor": 5,
    }
    return json.dumps(whole, indent=1, ensure_ascii=False) + "\n"


def main() -> int:
    """Write it."""
    NOTEBOOK.parent.mkdir(parents=True, exist_ok=True)
    NOTEBOOK.write_text(made(), encoding="utf-8", newline="\n")
    print(NOTEBOOK.relative_to(ROOT))
    return 0


if __name__ == "__main__":
    sys.path.insert(0, str(ROOT / "src"))
    sys.exit(main())
