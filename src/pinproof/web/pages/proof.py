"""The proof of one line: chart, any situation asked for, what if, drift, the other checks, what it rests on."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from markupsafe import Markup

from pinproof.chain import what_if
from pinproof.chain.measures import measure_of
from pinproof.design import Truck
from pinproof.drawings import Drawing, reading_chart, words
from pinproof.drawings.axis import axis_of
from pinproof.drawings.fold import fold
from pinproof.pack import sections, sentences
from pinproof.pack.figures import groups_of, line_figures
from pinproof.proof.results import LineProof, SituationProof, TruckProof
from pinproof.verdict import Verdict
from pinproof.web.finding import Finding
from pinproof.web.page import Action, Ask, Done, Page, Parameter
from pinproof.web.pages.live import panel_html
from pinproof.wiring import line_view

MOST_ROWS = 20
MOST_BUDGETS = 6
KNOBS = ("wear", "ground", "plus", "low", "high")


def result(ask: Ask) -> dict[str, Any]:
    """The whole proof; with knobs in the address, also what the windows say with them."""
    truck = ask.truck
    proof = ask.site.work.proof(truck)
    found: dict[str, Any] = {"design": ask.design.name, "hash": ask.design.hash, "proof": proof, "what_if": None}
    settings = {name: _step(ask.values.get(name, "0"), name) for name in KNOBS if ask.values.get(name, "0") != "0"}
    if settings and proof.lines:
        line_id = _line(ask, proof).line
        found["what_if"] = {
            "line": line_id,
            "settings": settings,
            "proof": _turned_proof(ask, truck, line_id, settings),
        }
    return found


def _step(text: Any, name: str) -> int:
    try:
        return int(text)
    except (TypeError, ValueError):
        raise Finding(400, f'"{text}" is no step of {name}.', "Steps are whole numbers from 0.", name) from None


def _turned_proof(ask: Ask, truck: Truck, line_id: str, settings: Mapping[str, int]) -> TruckProof:
    changed = what_if.turned(truck, line_id, settings)
    key = ("what", truck.text_hash, line_id, repr(sorted(settings.items())))
    proof: TruckProof = ask.site.work.once(key, lambda: _quick(changed))
    return proof


def _quick(truck: Truck) -> TruckProof:
    from pinproof.proof import prove

    return prove(truck, samples=0, drift=False)


def _line(ask: Ask, proof: TruckProof) -> LineProof:
    """The line that the address names; else the one that decides."""
    wanted = ask.values.get("line", "")
    named = next((each for each in proof.lines if each.line == wanted), None)
    if named is not None:
        return named
    if wanted:
        raise Finding(404, f'There is no line "{wanted[:60]}".', f"There are {', '.join(x.line for x in proof.lines)}.")
    return min(proof.lines, key=lambda each: each.verdict.rank)


def row_id(row: SituationProof) -> str:
    """Name of a situation in addresses."""
    return f"{row.key_state}/{row.space}/{'+'.join(row.operated)}"


def context(ask: Ask, found: Any) -> Mapping[str, Any]:
    """One line drawn and told."""
    truck, proof = ask.truck, found["proof"]
    told: dict[str, Any] = {
        "proof": proof, "headline": sentences.headline(proof.verdict, proof.rests_on),
        "decides": sentences.what_decides(proof), "line": None,
        "first": sentences.measure_first(proof.rests_on, proof.verdict),
    }  # fmt: skip
    if not proof.lines:
        return told
    line = _line(ask, proof)
    if not line.situations:  # nothing of it can be drawn or told yet, but why
        return told | {"line": line, "reason": words.sentence(line.reason)}
    picked = _picked(ask, line)
    groups = groups_of(line)
    state, space = (picked.key_state, picked.space) if picked is not None else groups[0]
    wanted = next((each for each in groups if "/".join(each) == ask.values.get("state", "")), None)
    if wanted is not None:
        state, space = wanted
    rows = [row for row in line.situations if (row.key_state, row.space) == (state, space)]
    key = (truck.text_hash, line.line)
    charts = ask.site.work.once(("charts", *key, state, space), lambda: _charts(truck, line, state, space))
    figures = ask.site.work.once(("figures", *key), lambda: _figures(truck, line))
    axis = axis_of(truck, truck.line(line.line), space, "as given")
    return told | {
        "line": line, "groups": [(f"{a}/{b}", _group_words(groups, a, b)) for a, b in groups],
        "group": f"{state}/{space}",
        "charts": charts, "chart_rows": [row_id(row) for row in fold(rows, MOST_ROWS).rows],
        "reason": words.sentence(line.reason), "decided": sections.decides(truck, line),
        "picked": _told(truck, line, picked) if picked is not None else None,
        "rows": [_cells(row, axis) for row in rows], "axis": axis.words,
        "figures": figures,
        "drifts": sentences.drift_sentences(line, MOST_BUDGETS),
        "findings": [
            (verdict, name, [each for each in line.findings if each.verdict is verdict])
            for verdict, name in sections.FINDING_GROUPS
        ],
        "rests": Markup(sections.rests_section(proof.rests_on).replace("<h2>What it rests on</h2>", "", 1)),
        "knobs": _knobs(ask, truck, line), "panel": _panel(ask, truck, line, found["what_if"]),
    }  # fmt: skip


def _charts(truck: Truck, line: LineProof, state: str, space: str) -> list[Drawing]:
    """The reading chart in both layouts."""
    return [
        reading_chart(
            line, truck=truck, key_state=state, space=space, layout=layout, ident=f"chart-{layout}", most_rows=MOST_ROWS
        )
        for layout in ("wide", "narrow")
    ]


def _figures(truck: Truck, line: LineProof) -> dict[str, tuple[Drawing, Drawing]]:
    """The other drawings of the line, each in both layouts."""
    view = line_view(truck, line.line)
    wide, narrow = (
        {each.kind: each.drawing for each in line_figures(view, line, 1, layout=layout) if each.kind != "readings"}
        for layout in ("wide", "narrow")
    )
    return {kind: (wide[kind], narrow[kind]) for kind in wide if kind in narrow}


def _group_words(groups: list[tuple[str, str]], state: str, space: str) -> str:
    several = len({each for _, each in groups}) > 1
    return words.key_state(state) + (f", read as {space}" if several else "")


def _picked(ask: Ask, line: LineProof) -> SituationProof | None:
    """The situation that the address asks for; without one, the one that decides."""
    wanted = ask.values.get("situation", "")
    if not wanted:
        return line.worst
    found = next((row for row in line.situations if row_id(row) == wanted), None)
    if found is None:
        raise Finding(404, f'Line {line.line} has no situation "{wanted[:80]}".', "Pick one from the table.")
    return found


def _cells(row: SituationProof, axis: Any) -> Mapping[str, Any]:
    reads = axis.span(row.low, row.high)
    return {
        "id": row_id(row), "operated": words.operated(row.operated), "may": words.either(words.allowed(row)),
        "reads": reads + ("" if row.exact or reads == words.UNSETTLED else " at most"),
        "margin": words.margin(row).removeprefix("margin "), "verdict": row.verdict,
        "weakest": words.parameter(row.weakest) if row.weakest else "–",
    }  # fmt: skip


def _told(truck: Truck, line: LineProof, row: SituationProof) -> Mapping[str, Any]:
    """Everything about one situation, in words."""
    axis = axis_of(truck, truck.line(line.line), row.space, "as given")
    budgets = sorted(row.budgets, key=lambda each: each.urgency)
    measure = measure_of(row.weakest, truck) if row.weakest else None
    same = [each for each in line.situations if each.operated == row.operated and each is not row]
    return {
        "id": row_id(row), "name": words.operated(row.operated), "state": words.key_state(row.key_state),
        "verdict": row.verdict, "sentence": sentences.worst_sentence(row, axis, line.windows.get(row.space, ())),
        "reads": axis.span(row.low, row.high), "axis": axis.words, "exact": row.exact,
        "wanted": words.wanted(row), "margin": words.margin(row), "why": words.sentence(row.why),
        "as": words.either([each for each in row.reads_as if each != words.INVALID]) if row.reads_as else "",
        "weakest": words.parameter(row.weakest) if row.weakest else "", "measure": measure,
        "line": truck.source_lines.get(row.weakest), "path": row.weakest,
        "budgets": [sentences.drift_sentence(each, row) for each in budgets[:MOST_BUDGETS]],
        "same": [(row_id(each), words.key_state(each.key_state), each.space, each.verdict) for each in same],
    }  # fmt: skip


def _knobs(ask: Ask, truck: Truck, line: LineProof) -> list[Mapping[str, Any]]:
    """Sliders with their steps in words and where they stand."""
    return [
        {
            "id": each.id, "name": each.name, "doc": each.doc, "most": len(each.steps),
            "words": [each.words(step) for step in range(len(each.steps) + 1)],
            "step": min(len(each.steps), max(0, _step(ask.values.get(each.id, "0"), each.id))),
        }
        for each in what_if.knobs(truck, line.line)
    ] if line.situations else []  # fmt: skip


def _panel(ask: Ask, truck: Truck, line: LineProof, turned: Any) -> Markup:
    if not line.situations:
        return Markup("")
    proof = turned["proof"] if turned is not None else ask.site.work.quick(truck)
    heading = "What if, not as the file states." if turned is not None else "As the file states."
    return Markup(panel_html(truck, proof, only=line.line, heading=heading))


def _what(ask: Ask) -> Done:
    """The panel with the sliders where they are."""
    truck = ask.truck
    proof = ask.site.work.quick(truck)
    if not proof.lines:
        raise Finding(422, "The design has no coded line.", "Add one in the file.")
    line_id = ask.text("line") or proof.lines[0].line
    if line_id not in {each.line for each in proof.lines}:
        raise Finding(404, f'There is no line "{line_id[:60]}".')
    given = ask.form.get("sliders")
    settings = {str(k): _step(v, str(k)) for k, v in given.items()} if isinstance(given, dict) else {}
    settings = {name: step for name, step in settings.items() if step}
    if settings:
        proof = _turned_proof(ask, truck, line_id, settings)
    heading = "What if, not as the file states." if settings else "As the file states."
    html = panel_html(truck, proof, only=line_id, wide=ask.form.get("wide") is True, heading=heading)
    line = next(each for each in proof.lines if each.line == line_id)
    return Done({"ok": True, "faults": [], "html": html, "verdict": line.verdict, "settings": settings})


def _limits(ask: Ask) -> dict[str, Any]:
    """Where situations are lost along one knob."""
    truck = ask.truck
    line_id, ident = ask.values.get("line", ""), ask.values.get("knob", "")
    if line_id not in {each.id for each in truck.lines}:
        raise Finding(404, f'There is no line "{line_id[:60]}".', f"There are {', '.join(x.id for x in truck.lines)}.")
    knob = next((each for each in what_if.knobs(truck, line_id) if each.id == ident), None)
    if knob is None:
        raise Finding(404, f'There is nothing to turn up called "{ident[:40]}".', f"There are {', '.join(KNOBS)}.")
    key = ("limits", truck.text_hash, line_id, ident)
    return {
        "line": line_id,
        "knob": knob,
        "lost": ask.site.work.once(key, lambda: what_if.lost_along(truck, line_id, knob)),
    }


def _limits_page(ask: Ask, found: Any) -> Mapping[str, Any]:
    """One sentence for each step at which something is lost."""
    by_step: dict[int, list[Any]] = {}
    for each in found["lost"]:
        by_step.setdefault(each.step, []).append(each)
    told = []
    for step, lost in by_step.items():
        names = [
            words.operated(each.operated) + ("" if each.key_state == "run" else f" ({words.key_state(each.key_state)})")
            for each in lost
        ]
        taken = dict.fromkeys(
            meaning for each in lost if each.verdict is Verdict.FAIL for meaning in each.reads_as
            if meaning not in (each.meaning, words.INVALID)
        )  # fmt: skip
        told.append(
            {
                "step": step, "at": lost[0].at, "held_at": lost[0].held_at, "what": names[:4], "more": len(names) - 4,
                "false": words.either(list(taken)) if taken else "",
            }
        )  # fmt: skip
    return {"knob": found["knob"], "told": told, "most": len(found["knob"].steps)}


_KNOB_PARAMETERS = tuple(Parameter(name, "Step of this knob, 0 as stated.", "integer") for name in KNOBS)
PAGE = Page(
    "proof", "/d/{design}/proof", "Proof",
    "Does every situation read what it may at worst, and how far is it from not?",
    result, "proof.html", context, links=("reading",),
    parameters=(
        Parameter("line", "The line to show; without it, the one that decides."),
        Parameter("state", "Key state and reading space of the chart, as run/reference."),
        Parameter("situation", "The situation to tell about, as run/reference/lever_manual+lever_up."),
        *_KNOB_PARAMETERS,
    ),
    actions=(
        Action(
            "what", "Proves the windows with knobs turned up; nothing is written.", _what,
            (
                Parameter("line", "The line."),
                Parameter("sliders", "Knob to step: wear, ground, plus, low, high.", "object"),
            ),
        ),
    ),
)  # fmt: skip
LIMITS = Page(
    "limits", "/d/{design}/limits", "Where meanings are lost", "From which step on is which meaning lost?", _limits,
    "limits.html", _limits_page, menu=False,
    parameters=(
        Parameter("line", "The line.", required=True),
        Parameter("knob", "What is turned up.", required=True, words=KNOBS),
    ),
)  # fmt: skip
