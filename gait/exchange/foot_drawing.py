"""Our own drawing of the foot from below, as lines that HTML and PDF draw alike.

One foot is drawn in a box 120 wide and 120 high, y downwards: two claws, toes at the top, the
heels at the bottom, as seen when the foot is lifted and one looks at the sole. Seen so, the outer
claw of a left foot is on the right.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Literal

Point = tuple[float, float]
WIDTH, HEIGHT = 120.0, 120.0

# The right-hand claw, from the toe down the outer side and back up along the gap.
_CLAW: tuple[Point, ...] = (
    (72, 6), (84, 13), (97, 32), (104, 55), (103, 78), (94, 98), (81, 105), (70, 97), (67, 75),
    (68, 50), (67, 26), (68, 11),
)  # fmt: skip
_MIDDLE: Point = (85, 56)
_ACROSS: tuple[float, ...] = (66.0, 77.0)
"""Heights at which the sole ends and the heel begins; the typical place lies between."""
_TOE_LINE = 31.0

LETTERS: dict[str, str] = {
    "toe": "T",
    "wall_abaxial": "W",
    "wall_axial": "X",
    "sole": "S",
    "typical_place": "P",
    "heel": "H",
    "gap": "G",
    "pastern": "K",
    "coronet": "C",
    "front_wall": "F",
}
"""Letters of the zones of :data:`gait.herd.feet.ZONES`; C and F cannot be seen from below."""

_LETTER_PLACES: dict[str, Point] = {
    "T": (80, 24),
    "W": (111, 60),
    "X": (63.7, 66),
    "S": (85, 49),
    "P": (85, 72.5),
    "H": (84, 86.5),
}
_MIDDLE_LETTERS: dict[str, Point] = {"G": (60, 34), "K": (60, 106)}


@dataclass(frozen=True, kw_only=True)
class Drawing:
    """Closed outlines, open lines and letters (text, middle point) of a picture in a box."""

    outlines: tuple[tuple[Point, ...], ...]
    lines: tuple[tuple[Point, ...], ...]
    letters: tuple[tuple[str, Point], ...]
    dashed: tuple[tuple[Point, ...], ...] = ()
    shaded: tuple[tuple[Point, ...], ...] = ()
    width: float = WIDTH
    height: float = HEIGHT

    def said(self, say: Callable[[str], str]) -> Drawing:
        """Return the same picture with its letters in another language."""
        return replace(self, letters=tuple((say(text), at) for text, at in self.letters))


def smooth(points: tuple[Point, ...], pieces: int = 6) -> tuple[Point, ...]:
    """Return a closed curve through the points (Catmull-Rom), as many short straight pieces."""
    count = len(points)
    curve = []
    for i in range(count):
        a, b, c, d = (points[(i + k) % count] for k in (-1, 0, 1, 2))
        for step in range(pieces):
            u = step / pieces
            curve.append((_spline(a[0], b[0], c[0], d[0], u), _spline(a[1], b[1], c[1], d[1], u)))
    return tuple(curve)


def _spline(a: float, b: float, c: float, d: float, u: float) -> float:
    return 0.5 * (
        2 * b + (c - a) * u + (2 * a - 5 * b + 4 * c - d) * u**2 + (3 * b - a - 3 * c + d) * u**3
    )


def _shrunk(points: tuple[Point, ...], share: float) -> tuple[Point, ...]:
    cx, cy = _MIDDLE
    return tuple((cx + (x - cx) * share, cy + (y - cy) * share) for x, y in points)


def _crossings(curve: tuple[Point, ...], y: float) -> list[float]:
    found = []
    for (x0, y0), (x1, y1) in pairwise((*curve, curve[0])):
        if (y0 - y) * (y1 - y) < 0 or y0 == y:
            share = 0.0 if y1 == y0 else (y - y0) / (y1 - y0)
            found.append(x0 + share * (x1 - x0))
    return sorted(found)


def _mirrored(points: tuple[Point, ...]) -> tuple[Point, ...]:
    return tuple((WIDTH - x, y) for x, y in points)


def foot_from_below(side: Literal["left", "right"], *, with_letters: bool = True) -> Drawing:
    """Return the drawing of one foot, both claws with their zones.

    Parameters
    ----------
    side : str
        Side of the animal: tells the outer claw from the inner one.
    with_letters : bool
        False draws the bare outlines.
    """
    outer = smooth(_CLAW)
    inner = _shrunk(outer, 0.80)
    lines = []
    for y in (*_ACROSS, _TOE_LINE):
        left, right = _crossings(inner, y)[0], _crossings(inner, y)[-1]
        bend = 3.0 if y != _TOE_LINE else -2.0
        lines.append(((left, y), ((left + right) / 2, y + bend), (right, y)))
    outlines = (outer, _mirrored(outer))
    white_lines = (inner, _mirrored(inner))
    letters: list[tuple[str, Point]] = []
    if with_letters:
        for letter, (x, y) in _LETTER_PLACES.items():
            letters += [(letter, (x, y)), (letter, (WIDTH - x, y))]
        letters += list(_MIDDLE_LETTERS.items())
        names = ("outer", "inner") if side == "left" else ("inner", "outer")
        letters += [(names[0], (86, 114)), (names[1], (WIDTH - 86, 114))]
    return Drawing(
        outlines=(*outlines, *white_lines),
        lines=tuple(lines) + tuple(_mirrored(line) for line in lines),
        letters=tuple(letters),
    )


GuideStep = Literal["length", "sole", "balance", "modelling"]


def guide_drawing(step: GuideStep) -> Drawing:
    """Return the small picture beside one step of the functional-trim guide."""
    return {
        "length": _side_view,
        "sole": _sole_block,
        "balance": _from_behind,
        "modelling": _modelled,
    }[step]()


_SIDE: tuple[Point, ...] = ((30, 20), (84, 88), (12, 88), (10, 58), (16, 30))


def _side_view() -> Drawing:
    """Show the front wall with the length that is measured along it."""
    start, end = (36.0, 14.0), (92.0, 85.0)
    ticks = tuple(_tick(point, start, end) for point in (start, end))
    return Drawing(
        outlines=(_SIDE,),
        lines=((start, end), *ticks),
        letters=(("83 mm", (86, 29)), ("(3 1/4 in)", (88, 40))),
        dashed=(((16, 30), (30, 20)),),
        width=110,
        height=95,
    )


def _tick(at: Point, start: Point, end: Point) -> tuple[Point, ...]:
    length = math.hypot(end[0] - start[0], end[1] - start[1])
    across = (-(end[1] - start[1]) / length * 5, (end[0] - start[0]) / length * 5)
    return ((at[0] - across[0], at[1] - across[1]), (at[0] + across[0], at[1] + across[1]))


def _sole_block() -> Drawing:
    """Show the sole left at the toe, thickness between two dashed lines."""
    return Drawing(
        outlines=(_SIDE,),
        lines=(((68, 81), (68, 88)),),
        letters=(("sole at the toe", (50, 101)), ("6.4 mm (1/4 in)", (50, 112))),
        dashed=(((12, 81), (79, 81)),),
        width=110,
        height=120,
    )


def _from_behind() -> Drawing:
    """Show two claws from behind, bearing on one level line square to the leg."""
    right = ((63, 40), (90, 42), (96, 86), (64, 86))
    return Drawing(
        outlines=(right, _mirrored(right)),
        lines=(((10, 86), (110, 86)), ((60, 8), (60, 38))),
        letters=(("level", (60, 98)),),
        dashed=(((60, 38), (60, 86)),),
        height=105,
    )


def _modelled() -> Drawing:
    """Show the sole from below with the hollow beside the gap shaded."""
    foot = foot_from_below("left", with_letters=False)
    hollow = smooth(((69, 50), (82, 54), (86, 66), (80, 78), (68, 80)))
    return Drawing(
        outlines=foot.outlines[:2],
        lines=(),
        letters=(("hollow", (60, 112)),),
        shaded=(hollow, _mirrored(hollow)),
    )
