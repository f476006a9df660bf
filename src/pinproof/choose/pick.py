"""Choosing a line's resistors: the thin join between a design and the search.

Answers: which values, how good, how sure, what is next best, what to solder, and if nothing will do: why.
Units:   ohms.
Touches: nothing. A `Truck` in, a `Choice` out; the clock only within the search's budget.
Beside:  `build` makes the problem, `search` solves it, `pinproof.proof` judges the result, `collide` explains.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

from pinproof.choose.build import Built, build, sites_of, with_resistors
from pinproof.choose.certificate import Budget
from pinproof.choose.collide import TRIAL, collision_of
from pinproof.choose.drawer import Drawer
from pinproof.choose.parts import HIGH_OHM, LOW_OHM, Site, from_series, only_settled
from pinproof.choose.problem import Candidate
from pinproof.choose.results import Choice, ChosenResistor, Piece, RunnerUp, SituationMargin
from pinproof.choose.room import rooms_of
from pinproof.choose.search import Found, solve
from pinproof.design.model import Resistor, Truck
from pinproof.errors import NoSolution, QuantityFault
from pinproof.proof import prove_line
from pinproof.proof.results import LineProof
from pinproof.quantities import plain_number
from pinproof.quantities.markings import bands, letter_code
from pinproof.quantities.preferred import commonest_series
from pinproof.wiring import line_view

NEAR_MISS = 0.1
"""Up to this share of half a window below nothing, values that do not hold are still worth showing: finer parts, or one
figure measured instead of assumed, may carry them. Common practice, no source."""
USUAL_SERIES = "E96"
"""Where nobody said which parts can be bought. Common practice, no source."""


def choose(
    truck: Truck,
    line_id: str,
    *,
    source: str | Drawer | None = None,
    low_ohm: float = LOW_OHM,
    high_ohm: float = HIGH_OHM,
    tolerance: float | None = None,
    budget: Budget | None = None,
    runners_up: int = 3,
    explain: bool = True,
    try_changes: bool = True,
    rooms: bool = True,
) -> Choice:
    """Choose the resistors of a line that are not `fixed`.

    Parameters
    ----------
    truck : Truck
    line_id : str
    source : str or Drawer, optional
        A preferred series ("E12", "E96" …) or the owner's stock; by default the series that the design's [parts]
        names, else E96.
    low_ohm, high_ohm : float
        Range of values to choose from. [Ω]
    tolerance : float, optional
        Of the new parts, as a ratio; by default that of [parts], else what the design states for each resistor. Not for
        a drawer.
    budget : Budget, optional
        For the choice; every runner-up gets an eighth of its boxes.
    runners_up : int
        How many next best sets to find.
    explain : bool
        Whether to say why, where no values will do: which two meanings collide.
    try_changes : bool
        Whether the explanation also tries what would part them. That takes a dozen further searches.
    rooms : bool
        Whether to say how far each value may move alone.

    Returns
    -------
    Choice
        The best values even where they do not hold; then `feasible` is False.

    Raises
    ------
    NoSolution
        If no assignment can be evaluated at all: nothing to choose, no windows, an empty range or drawer.
    KeyError
        If there is no such line.
    OutOfTable
        If there is no such series.
    """
    line = truck.line(line_id)
    source = series_of(truck) if source is None else source
    if tolerance is None and truck.parts.tolerance is not None and not isinstance(source, Drawer):
        tolerance = truck.parts.tolerance.value
    candidates = _candidates(truck, line_id, source, low_ohm, high_ohm, tolerance)
    built = build(truck, line, candidates, source.stock if isinstance(source, Drawer) else ())
    found = solve(built.problem, budget)
    resistors = tuple(
        _chosen(site, _candidate(built, found, k), source, tolerance) for k, site in enumerate(built.sites)
    )
    changed = with_resistors(
        truck, {site.resistor.path: _entry(site, each) for site, each in zip(built.sites, resistors, strict=True)}
    )
    proof = prove_line(changed, changed.line(line_id), drift=False)
    margin = float(found.levels[0])
    own_heat = any(site.resistor.tempco_known for site in built.sites)
    if own_heat and not line.free:
        margin = min(row.margin for row in proof.situations)
    feasible = proof.verdict.holds and margin >= 0.0
    if feasible and rooms:
        around = rooms_of(built.problem, found.choice)
        resistors = tuple(replace(each, room=room) for each, room in zip(resistors, around, strict=True))
    collision = None
    if not feasible and explain:

        def again(other: Truck, part_tolerance: float | None) -> tuple[float, bool]:
            reach = tolerance if part_tolerance is None else part_tolerance
            theirs: str | Drawer = source
            if isinstance(source, Drawer) and part_tolerance is not None:
                theirs = series_of(truck)
            options = _candidates(other, line_id, theirs, low_ohm, high_ohm, reach)
            stock = theirs.stock if isinstance(theirs, Drawer) else ()
            problem = build(other, other.line(line_id), options, stock).problem
            best = solve(problem, TRIAL, only_smallest=True)
            return float(best.levels[0]), best.certificate.settled

        collision = collision_of(truck, built, found, proof, again if try_changes else None)
    return Choice(
        line=line_id,
        resistors=resistors,
        margin=margin,
        margins=_margins(proof),
        feasible=feasible,
        advice=feasible or margin >= -NEAR_MISS,
        verdict=proof.verdict,
        certificate=replace(found.certificate, own_heat=own_heat),
        different_parts=tuple(
            dict.fromkeys(part for k in range(len(built.sites)) for part in _candidate(built, found, k).parts)
        ),
        runners_up=_runners_up(built, found, budget, runners_up),
        collision=collision,
        taught=proof.windows if line.free else {},
        proof=proof,
        truck=changed,
        changes=_changes(built.sites, resistors),
        source="drawer" if isinstance(source, Drawer) else source,
    )


def series_of(truck: Truck) -> str:
    """The series that parts are bought from: what the design's [parts] names, else `USUAL_SERIES`."""
    return truck.parts.series or USUAL_SERIES


def _candidates(
    truck: Truck, line_id: str, source: str | Drawer, low_ohm: float, high_ohm: float, tolerance: float | None
) -> Mapping[str, Sequence[Candidate]]:
    out: dict[str, Sequence[Candidate]] = {}
    for site in sites_of(truck, line_view(truck, line_id)):
        if isinstance(source, Drawer):
            found: Sequence[Candidate] = source.candidates(site, low_ohm, high_ohm)
        else:
            found = only_settled(from_series(site, source, low_ohm, high_ohm, tolerance))
        if not found:
            what = "The drawer makes" if isinstance(source, Drawer) else f"{source} has"
            raise NoSolution(
                f"{what} nothing between {low_ohm:g} and {high_ohm:g} ohm for {site.resistor.path}.",
                cure="Widen the range of ohms, or add parts.",
            )
        out[site.resistor.path] = found
    return out


def _candidate(built: Built, found: Found, variable: int) -> Candidate:
    return built.problem.variables[variable].candidates[found.choice[variable]]


def _chosen(site: Site, candidate: Candidate, source: str | Drawer, tolerance: float | None) -> ChosenResistor:
    series = commonest_series(candidate.ohm) or ""
    if isinstance(source, Drawer):
        made = source.find(candidate)
        pieces = tuple(
            _piece(source.parts[i].called, source.parts[i].ohm, source.parts[i].tolerance) for i in made.parts
        )
        return ChosenResistor(
            site.resistor.path, made.ohm, made.tolerance, ohm_text(made.ohm), made.join, pieces, series
        )
    reach = site.resistor.tolerance if tolerance is None else tolerance
    piece = _piece(f"{candidate.ohm:.9g} ohm", candidate.ohm, reach)
    return ChosenResistor(site.resistor.path, candidate.ohm, reach, ohm_text(candidate.ohm), "single", (piece,), series)


def _piece(name: str, ohm: float, tolerance: float | None) -> Piece:
    """A part with its colours and code; 1 % parts carry five bands, wider ones four, where the value allows it."""
    colours: tuple[str, ...] = ()
    code = ""
    if tolerance is not None:
        for count in (5, 4) if tolerance < 0.05 else (4, 5):
            try:
                colours = bands(ohm, tolerance, count=count)
                break
            except QuantityFault:
                continue
        try:
            code = letter_code(ohm, tolerance)
        except QuantityFault:
            code = ""
    if not code:
        try:
            code = letter_code(ohm)
        except QuantityFault:
            code = ""
    return Piece(name, ohm, tolerance if tolerance is not None else float("nan"), colours, code)


def _entry(site: Site, chosen: ChosenResistor) -> Resistor:
    """The design's resistor with the chosen value in it."""
    return replace(
        site.resistor, ohm=float(chosen.ohm), tolerance=chosen.tolerance, text=chosen.text,
        defaulted=tuple(
            name for name in site.resistor.defaulted
            if name != "tolerance" or chosen.tolerance == site.resistor.tolerance
        ),
    )  # fmt: skip


def _changes(sites: Sequence[Site], resistors: Sequence[ChosenResistor]) -> dict[str, str]:
    out: dict[str, str] = {}
    for site, each in zip(sites, resistors, strict=True):
        out[each.path] = each.text
        if each.tolerance != site.resistor.tolerance:
            out[f"{each.path}.tolerance"] = f"{plain_number(each.tolerance * 100.0, 9)} %"
    return out


def ohm_text(ohm: float) -> str:
    """A resistance as the design file writes it: "4.42 kohm"."""
    for scale, unit in ((1e6, "Mohm"), (1e3, "kohm")):
        if ohm >= scale:
            return f"{plain_number(ohm / scale, 9)} {unit}"
    return f"{plain_number(ohm, 9)} ohm"


def _margins(proof: LineProof) -> tuple[SituationMargin, ...]:
    rows = [
        SituationMargin(row.key_state, row.space, row.operated, row.meaning, row.verdict, row.margin)
        for row in proof.situations
    ]
    return tuple(sorted(rows, key=lambda row: row.margin))


def _runners_up(built: Built, found: Found, budget: Budget | None, count: int) -> tuple[RunnerUp, ...]:
    out: list[RunnerUp] = []
    taken = [found.choice]
    met: dict[tuple[int, ...], None] = dict.fromkeys(found.others)
    whole = budget or Budget()
    share = replace(whole, nodes=whole.nodes // 8)
    for _ in range(count):
        try:
            other = solve(built.problem, share, exclude=taken, start=tuple(met))
        except NoSolution:
            break
        taken.append(other.choice)
        met |= dict.fromkeys(other.others)
        chosen = [_candidate(built, other, k) for k in range(len(built.sites))]
        margin = float(other.levels[0])
        out.append(
            RunnerUp(
                {site.resistor.path: each.ohm for site, each in zip(built.sites, chosen, strict=True)},
                margin,
                float(found.levels[0]) - margin + 0.0,
                len({part for each in chosen for part in each.parts}),
                other.certificate.optimal,
            )
        )
    return tuple(out)
