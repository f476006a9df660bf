"""Crimped terminals: how hard a good one can be pulled.

Answers: what must a crimp on 20 AWG stand, and by which document?
Units:   N, m², m.
Touches: the data files beside this module.
"""

from __future__ import annotations

from pinproof.errors import OutOfTable
from pinproof.tables.load import Figure, load

_COLUMNS = {"UL 486A": "ul_486a_n", "military": "military_n", "NASA-STD-8739.4": "nasa_n"}


def crimp_pull_standards() -> tuple[str, ...]:
    """Documents with pull-out values by gauge."""
    return tuple(_COLUMNS)


def crimp_pull_n(awg: int, standard: str = "UL 486A") -> Figure:
    """Least pull-out force of a crimp on a wire gauge; OutOfTable if the document has no value for it. [N]"""
    table = load("crimp_pull_awg")
    if standard not in _COLUMNS:
        raise OutOfTable(table.title, f'document "{standard}"', ", ".join(_COLUMNS))
    column = _COLUMNS[standard]
    value = table.row(awg)[column]
    if value == "":
        have = [str(row[0]) for row in table.rows if row[table.columns.index(column)] != ""]
        raise OutOfTable(f"{table.title}, {standard}", f"AWG {awg}", ", ".join(have))
    return Figure(
        value=float(value), unit="N", source=table.source_of(column), seen=table.seen_of(column), note=table.note
    )


def crimp_pull_by_area_n(area_m2: float) -> Figure:
    """Least pull-out force by conductor area, IEC 60352-2 (from memory, disputed); OutOfTable between its sizes. [N]"""
    table = load("iec_60352_2_pull")
    value = float(table.row(float(area_m2 * 1e6))["pull_n"])
    return Figure(value=value, unit="N", source=table.source, seen=table.seen, note=table.note)


def insulation_clearance_m(awg: int) -> tuple[Figure, Figure]:
    """Least and most clearance from insulation to crimp barrel for a wire gauge. [m]"""
    table = load("nasa_8739_4_crimp")
    size = "awg20_and_smaller" if awg >= 20 else "awg18_and_larger"
    ends = (table.facts["least_clearance_mm"], table.facts[f"most_clearance_{size}_mm"])
    low, high = (
        Figure(value=end / 1000.0, unit="m", source=table.source, seen=table.seen, note=table.note) for end in ends
    )
    return low, high
