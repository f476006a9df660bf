"""The report: one HTML page with everything a proof says, in one file.

Answers: does it hold, what does that rest on, what is the worst, what to do next?
Touches: the shipped typefaces; no clock, no network, no script. The same input gives the same bytes.
Beside:  `sections` holds the parts of the page, `style` its look, `sentences` its words.
"""

from __future__ import annotations

from collections.abc import Sequence

from pinproof.design.model import Truck
from pinproof.faults import Against
from pinproof.pack import sections
from pinproof.pack.cures import Cures, cures_on
from pinproof.pack.faults_page import report_section
from pinproof.pack.markup import Html, el
from pinproof.pack.style import page_css
from pinproof.pack.whole_page import whole_page
from pinproof.proof.results import TruckProof


def report_html(
    truck: Truck, proof: TruckProof, *, cures: Cures = (), faults: Sequence[Against] = (),
    generated_on: str | None = None,
) -> str:  # fmt: skip
    """The whole page.

    Parameters
    ----------
    truck : Truck
        The design that was proven.
    proof : TruckProof
    cures : Cures, optional
        What was tried for lines that do not hold; see `pinproof.pack.cures`.
    faults : sequence of Against, optional
        The faults of each line and what is known against them; see `pinproof.pack.faults_page`.
    generated_on : str or None
        Date to print, in the caller's words; None prints none.

    Returns
    -------
    str
        HTML in UTF-8 text, ready to be written to a file.
    """
    name = proof.name or proof.id
    rule = el("div", class_="rule", aria_hidden="true")
    body = [
        el("header", el("h1", f"Proof of {name}"), _identity(proof, generated_on), rule),
        el("main", *_main(truck, proof, cures, faults)),
        el("footer", _foot(proof, generated_on)),
    ]  # fmt: skip
    content = Html("\n".join(body))
    title = f"Proof of {name}: {proof.verdict.value}"
    return whole_page(title, content, page_css())


def _identity(proof: TruckProof, generated_on: str | None) -> Html:
    when = f", {generated_on}" if generated_on else ""
    return el("p", f"Design {proof.id}, file fingerprint {proof.text_hash[:12] or 'none'}{when}", class_="soft")


def _main(truck: Truck, proof: TruckProof, cures: Cures, faults: Sequence[Against]) -> list[Html]:
    parts = [sections.answer(truck, proof)]
    for number, line in enumerate(proof.lines, start=1):
        parts.append(sections.line_section(truck, line, number, cures_on(cures, proof, line.line)))
    parts += [report_section(each) for each in faults]
    parts.append(sections.rests_section(proof.rests_on))
    parts.append(sections.cautions_section())
    parts.append(sections.parts_section(truck))
    if proof.warnings:
        listed = el("ul", *(el("li", each) for each in proof.warnings))
        parts.append(el("section", el("h2", "Odd, but usable"), listed))
    return parts


def _foot(proof: TruckProof, generated_on: str | None) -> Html:
    made = f"Made by Pinproof{f' on {generated_on}' if generated_on else ''}"
    return el(
        "p", f"{made} from design {proof.id}. SHA-256 of the file: ", el("code", proof.text_hash or "not known"), ".",
        class_="soft",
    )  # fmt: skip
