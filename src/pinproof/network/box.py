"""Sources driven by causes, readings, and the corners of the box of causes.

Answers: which rail potentials and divisors can occur, and in which order the rails can stand.
Units:   volts for rails; a cause may have any unit, its gain is then V per that unit.
Touches: nothing.
Beside:  `spans`, `excursion` and `slices` take these as arguments.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from itertools import product

import numpy as np
import numpy.typing as npt

from pinproof.network.netlist import FloatArray, Netlist, NetworkFault
from pinproof.network.signs import top_sets

CORNER_CAUSES = 8
"""Up to this many varying causes all their corners are listed (256); above, each conductance corner is optimised."""


@dataclass(frozen=True, eq=False)
class Sources:
    """Rail potentials as affine functions of independent causes: ``rail_v = base_v + gain @ cause``.

    Parameters
    ----------
    cause_low, cause_high : (c,)
        Range of each cause. Equal ends mean a known cause.
    base_v : (r,)
        Potentials with all causes at zero, in the order of the netlist's rails. [V]
    gain : (r, c)
        Change of each rail with each cause. [V per unit of the cause]
    """

    cause_low: FloatArray
    cause_high: FloatArray
    base_v: FloatArray
    gain: FloatArray

    def __init__(
        self, cause_low: npt.ArrayLike, cause_high: npt.ArrayLike, base_v: npt.ArrayLike, gain: npt.ArrayLike
    ) -> None:
        put = object.__setattr__
        low = np.array(cause_low, dtype=np.float64).reshape(-1)
        high = np.array(cause_high, dtype=np.float64).reshape(-1)
        base = np.array(base_v, dtype=np.float64).reshape(-1)
        if low.shape != high.shape or not np.isfinite(low).all() or not np.isfinite(high).all() or (low > high).any():
            raise NetworkFault(
                "sources, causes", f"low {low.tolist()}, high {high.tolist()}", "equal lengths, low not above high"
            )
        try:
            slope = np.array(gain, dtype=np.float64).reshape(base.size, low.size)
        except ValueError:
            raise NetworkFault("sources, gain", f"shape {np.shape(gain)}", f"({base.size}, {low.size})") from None
        if not np.isfinite(slope).all() or not np.isfinite(base).all():
            raise NetworkFault("sources", "a base or gain that is not a finite number", "finite numbers")
        for name, value in (("cause_low", low), ("cause_high", high), ("base_v", base), ("gain", slope)):
            value.setflags(write=False)
            put(self, name, value)

    @classmethod
    def fixed(cls, rail_v: npt.ArrayLike) -> Sources:
        """Known potentials, no causes."""
        base = np.array(rail_v, dtype=np.float64).reshape(-1)
        return cls([], [], base, np.zeros((base.size, 0)))

    @classmethod
    def ranges(cls, low_v: npt.ArrayLike, high_v: npt.ArrayLike) -> Sources:
        """Each rail is its own independent cause between two potentials."""
        low = np.array(low_v, dtype=np.float64).reshape(-1)
        return cls(low, high_v, np.zeros(low.size), np.eye(low.size))

    def rail_v(self, cause: npt.ArrayLike) -> FloatArray:
        """Rail potentials (..., r) for causes (..., c). [V]"""
        out: FloatArray = self.base_v + np.asarray(cause, dtype=np.float64) @ self.gain.T
        return out

    @cached_property
    def varying(self) -> tuple[int, ...]:
        """Positions of the causes that are not known exactly."""
        return tuple(np.flatnonzero(self.cause_low < self.cause_high).tolist())

    @cached_property
    def corners(self) -> FloatArray:
        """All corners of the causes, (C, c). With more than CORNER_CAUSES varying ones: only the two outer ones."""
        ends = np.stack([self.cause_low, self.cause_high])
        if len(self.varying) > CORNER_CAUSES:
            return ends
        corners = np.tile(self.cause_low, (2 ** len(self.varying), 1))
        for row, sides in enumerate(product((0, 1), repeat=len(self.varying))):
            for position, side in zip(self.varying, sides, strict=True):
                corners[row, position] = ends[side, position]
        return corners

    @cached_property
    def corner_rail_v(self) -> FloatArray:
        """Rail potentials at `corners`, (C, r). [V]"""
        return self.rail_v(self.corners)

    @cached_property
    def all_corners(self) -> bool:
        """Whether `corners` lists every corner."""
        return len(self.varying) <= CORNER_CAUSES

    @cached_property
    def orders(self) -> tuple[tuple[tuple[int, ...], ...], ...]:
        """Distinct orders of the rails over the corners, as in `signs.top_sets`; one loose order if not all listed.

        The loose order holds every set of rails that could be the higher ones: a proof for it is a proof for all.
        """
        if self.all_corners:
            return tuple(dict.fromkeys(top_sets(rail_v) for rail_v in self.corner_rail_v))
        rails = len(self.base_v)
        sets = (
            tuple(tuple(i for i in range(rails) if bits >> i & 1) for bits in range(1, 2**rails - 1))
            if rails <= 8
            else ()
        )
        return (sets,)


@dataclass(frozen=True, eq=False)
class Reading:
    """What is read: ``(V_node - V_minus) / divisor``.

    Parameters
    ----------
    node : str
    minus : str, optional
        Reference point; without it the potential itself is read.
    divisor : None or (base, gain (c,))
        Affine in the causes, ``base + gain @ cause``, and above zero over the whole box. None means 1.
    """

    node: str
    minus: str | None = None
    divisor: tuple[float, npt.ArrayLike] | None = None

    def divisors(self, sources: Sources, cause: FloatArray) -> FloatArray:
        """Divisor for causes (..., c)."""
        if self.divisor is None:
            return np.ones(cause.shape[:-1])
        base, gain = self.divisor
        slope = np.asarray(gain, dtype=np.float64).reshape(-1)
        if slope.size != sources.cause_low.size:
            raise NetworkFault("reading, divisor", f"{slope.size} gains", f"{sources.cause_low.size}, one per cause")
        least = base + np.minimum(slope * sources.cause_low, slope * sources.cause_high).sum()
        if not least > 0.0:
            raise NetworkFault(
                "reading, divisor",
                f"falls to {least:g} inside the box",
                "above zero everywhere",
                "Narrow the causes or read the plain voltage.",
            )
        out: FloatArray = base + cause @ slope
        return out

    def indices(self, net: Netlist) -> tuple[int, int | None]:
        """Columns of the node and of the reference."""
        return net.node_index(self.node), None if self.minus is None else net.node_index(self.minus)
