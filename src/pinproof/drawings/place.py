"""Where labels go: boxes that never overlap and never leave the drawing.

Answers: which place near an anchor is free; how a row of labels spreads so that none touches its neighbour.
Units:   millimetres, x to the right, y downward.
Touches: nothing.
Beside:  `measure` gives the widths; `svg` records a box for every text it writes.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field


@dataclass(frozen=True)
class LabelBox:
    """The space one line of text takes. [mm]"""

    text: str
    left: float
    top: float
    right: float
    bottom: float

    def overlaps(self, other: LabelBox, gap_mm: float = 0.0) -> bool:
        """True if the two come closer than `gap_mm` both ways."""
        return (
            self.left < other.right + gap_mm
            and other.left < self.right + gap_mm
            and self.top < other.bottom + gap_mm
            and other.top < self.bottom + gap_mm
        )

    def inside(self, width_mm: float, height_mm: float) -> bool:
        """True if it lies on the canvas, to a thousandth of a millimetre."""
        slack = 1e-3
        return (
            self.left >= -slack
            and self.top >= -slack
            and self.right <= width_mm + slack
            and self.bottom <= height_mm + slack
        )


@dataclass(frozen=True)
class Drawing:
    """One finished drawing: its SVG, its size, the boxes of its texts, and what it says in words."""

    svg: str
    width_mm: float
    height_mm: float
    labels: tuple[LabelBox, ...]
    title: str
    description: str


def spread(wishes: Sequence[float], widths: Sequence[float], low: float, high: float, gap: float) -> list[float] | None:
    """Centres of labels in one row, in the order of `wishes`, each as near its wish as the others allow.

    Parameters
    ----------
    wishes, widths : sequences of float, equally long, `wishes` ascending
        Where each label would like its centre, and how wide it is.
    low, high : float
        Ends of the row.
    gap : float
        Least space between two labels.

    Returns
    -------
    list of float or None
        None if they do not fit between `low` and `high`.

    Notes
    -----
    Least squares under an order, by joining neighbours that push each other (pool adjacent violators).
    """
    total = sum(widths) + gap * max(len(widths) - 1, 0)
    if total > high - low:
        return None
    starts, at = [], 0.0  # place of each centre if all stood close together from 0
    for width in widths:
        starts.append(at + width / 2.0)
        at += width + gap
    least, most = low, high - total
    blocks: list[list[float]] = []  # sum of shifts, how many
    for wish, start in zip(wishes, starts, strict=True):
        blocks.append([wish - start, 1.0])
        while len(blocks) > 1 and blocks[-2][0] / blocks[-2][1] > blocks[-1][0] / blocks[-1][1]:
            last = blocks.pop()
            blocks[-1][0] += last[0]
            blocks[-1][1] += last[1]
    shifts: list[float] = []
    for total_shift, count in blocks:
        shifts += [min(max(total_shift / count, least), most)] * int(count)
    return [start + shift for start, shift in zip(starts, shifts, strict=True)]


@dataclass
class Placer:
    """Finds free places on a canvas. `taken` holds what is there already: texts, and boxes of drawn parts."""

    width_mm: float
    height_mm: float
    gap_mm: float = 0.6
    taken: list[LabelBox] = field(default_factory=list)

    def block(self, left: float, top: float, right: float, bottom: float) -> None:
        """Keep labels off this rectangle."""
        self.taken.append(LabelBox("", left, top, right, bottom))

    def free(self, box: LabelBox) -> bool:
        """True if nothing is there and it lies on the canvas."""
        return box.inside(self.width_mm, self.height_mm) and not any(
            box.overlaps(other, self.gap_mm) for other in self.taken
        )

    def place(
        self, text: str, width: float, height: float, anchor: tuple[float, float], wishes: Sequence[tuple[float, float]]
    ) -> LabelBox | None:
        """Take the first free place: of the wished top left corners, then in growing rings around the anchor.

        Returns None if the whole canvas has no room; nothing is taken then.
        """
        for left, top in (*wishes, *self._rings(width, height, anchor)):
            box = LabelBox(text, left, top, left + width, top + height)
            if self.free(box):
                self.taken.append(box)
                return box
        return None

    def _rings(self, width: float, height: float, anchor: tuple[float, float]) -> Sequence[tuple[float, float]]:
        step = max(height, 1.0)
        reach = int(max(self.width_mm, self.height_mm) / step) + 1
        spots = []
        for across in range(-reach, reach + 1):
            for down in range(-reach, reach + 1):
                left, top = anchor[0] + across * step - width / 2.0, anchor[1] + down * step - height / 2.0
                if -1e-9 <= left <= self.width_mm - width and -1e-9 <= top <= self.height_mm - height:
                    spots.append((across * across + down * down, -down, across, left, top))
        return [(left, top) for *_, left, top in sorted(spots)]
