"""One cow being followed: where she is expected next, and when she has gone, turned or stopped."""

from __future__ import annotations

import bisect
from collections import deque
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt
from numpy.lib.stride_tricks import sliding_window_view

from gait.pose import Box
from gait.track.rotation import warp
from gait.track.seen import EDGE_PX, Seen
from gait.track.view import View

FloatArray = npt.NDArray[np.float64]

MEMORY_S = 0.5
"""Time over which motion is fitted to predict the next box."""
LOST_S = 0.6
"""Time without a sighting after which she is lost ..."""
HIDDEN_S = 2.5
"""... unless another cow walks before her: then she is waited for this long."""
STANDS_AFTER_S = 20.0
"""Standing this long ends a pass, so that a cow left standing costs nothing."""
LONGEST_S = 120.0
"""A pass longer than this is ended whatever she does; memory stays flat."""
SMOOTHING = 9
"""Sightings of the running median over her places."""
NEW_SIGHTINGS = 6
"""Until she was seen this often her speed is unknown and a wider box is looked into."""
OPEN_SHARE = 0.2
"""Share of her width added on a side on which she may reach beyond what was looked into."""
TURN_SHARE = 0.4
"""Share of her length she must walk back before she counts as turned."""
JUMP = 0.35
"""Share of her width or height by which a sighting may lie off; farther off it is another cow."""
CLEAR = 0.15
"""Share of her box that another cow may cover while her own motion is still trusted."""
GROWTH = 2.0
"""Times by which her visible area may differ from what is expected; beyond it is another cow."""
GLIMPSE_S = 0.2
"""Time in which a close look must confirm what the finder was not sure of ..."""
SURE_AT_ONCE = 0.5
"""... with this median landmark confidence. Ours: side views 0.57-0.66, other views up to 0.48."""
SURE = 0.2
"""Median landmark confidence under which a sighting is no cow."""


@dataclass(frozen=True, kw_only=True)
class Row:
    """One frame of a followed cow."""

    frame: int
    time_s: float
    seen: Seen
    view: View
    overlap: float
    repeat: bool = False
    outline: npt.NDArray[np.uint8] | None = None


@dataclass
class Followed:
    """A cow being followed, from the first box of the finder to the end of her pass.

    Parameters
    ----------
    order : int
        Order of appearance among all that were ever followed.
    found_s : float
        When the finder found her.
    found : Box
        Where.
    is_glimpse : bool
        True when the finder was not sure; the first close look must then be.
    """

    order: int
    found_s: float
    found: Box
    is_glimpse: bool = False
    rows: list[Row] = field(default_factory=list)
    likeness: list[float] = field(default_factory=list)  # how sure the finder was each time
    missed: int = 0
    ended: str = ""
    doubled: int = 0
    _boxes: deque[tuple[float, Box]] = field(default_factory=deque)
    _hidden: bool = False
    _clear: tuple[float, Box, float] | None = None
    _widest: float = 0.0
    _middles: list[float] = field(default_factory=list)  # of her in each frame, px from its middle
    _places: list[float] = field(default_factory=list)  # the way she has come along the lane, px

    @property
    def last_s(self) -> float:
        """Time of the last sighting."""
        return self.rows[-1].time_s if self.rows else self.found_s

    @property
    def last_box(self) -> Box:
        """Where she was seen last, px."""
        return self._boxes[-1][1] if self._boxes else self.found

    @property
    def is_unsettled(self) -> bool:
        """True while her motion is not known yet or she reaches beyond what was looked into."""
        is_new = not self.rows or len(self._boxes) < NEW_SIGHTINGS
        return is_new or any(self.rows[-1].seen.open)

    @property
    def is_held(self) -> bool:
        """True while her motion is known and the last close look has seen her."""
        return not self.is_unsettled and not self.missed

    def predict(self, time_s: float) -> Box:
        """Return the box in which she is expected at a time, px.

        Each side is carried on by its own straight line through the last half second, since one
        side stands still at the frame's edge while she enters or leaves. While another cow covers
        her, the last clear box goes on at her last clear pace instead.
        """
        if self._clear is not None and (self.missed or self.rows[-1].overlap > CLEAR):
            clear_s, box, pace = self._clear
            if time_s - clear_s < HIDDEN_S:
                return box.moved(pace * (time_s - clear_s))
        if len(self._boxes) < NEW_SIGHTINGS:
            return _wider(self.last_box, True, True)
        middle_s, middle, slope = self._trend()
        x0, y0, x1, y1 = (middle + slope * (time_s - middle_s)).tolist()
        if x1 - x0 < 8 or y1 - y0 < 8:
            return self._boxes[-1][1]
        open_left, open_right = self.rows[-1].seen.open if self.rows else (True, True)
        return _wider(Box(x0=x0, y0=y0, x1=x1, y1=y1), open_left, open_right)

    def _trend(self) -> tuple[float, FloatArray, FloatArray]:
        """Return the mean time, and mean and slope of the four sides over the last half second."""
        times = np.array([t for t, _ in self._boxes])
        sides = np.array([[b.x0, b.y0, b.x1, b.y1] for _, b in self._boxes])
        spread = times - times.mean()
        slope = (spread @ (sides - sides.mean(0))) / max(float(spread @ spread), 1e-9)
        return float(times.mean()), sides.mean(0), slope

    def refresh(self, time_s: float, box: Box) -> None:
        """Take note that the finder confirms her, and of where when the close look has lost her."""
        if self.rows and self.rows[-1].overlap <= CLEAR:
            self.likeness.append(box.confidence)
        if self.missed and time_s > self.last_s:
            self._boxes.clear()
            self._boxes.append((time_s, box))

    def accepts(self, seen: Seen, expected: Box, faces: int) -> bool:
        """Tell whether a sighting is this cow and not one that crosses her."""
        if seen.box.confidence < SURE:
            return False
        if not self.rows:
            return not self.is_glimpse or seen.box.confidence >= SURE_AT_ONCE
        (x, y), (expected_x, expected_y) = seen.box.centre, expected.centre
        step, climb = abs(x - expected_x), abs(y - expected_y)
        if seen.cut:  # only one of her sides moves on while she comes in or leaves
            sides = abs(seen.box.x0 - expected.x0), abs(seen.box.x1 - expected.x1)
            step = min(step, *sides)
        if step > JUMP * max(expected.width, seen.box.width):
            return False
        if climb > JUMP * max(expected.height, seen.box.height):
            return False
        if not seen.cut and max(seen.box.area, expected.area) > GROWTH * min(
            seen.box.area, expected.area
        ):
            return False
        turned = faces != 0 and seen.faces == -faces
        return not (turned and self.rows[-1].overlap > 0.2)

    def add(self, row: Row, image_width: int) -> None:
        """Add a sighting in a frame of the given width, px."""
        self.rows.append(row)
        box = row.seen.box
        self._widest = max(self._widest, box.width)
        middle = middle_x(box, self._widest, image_width) - image_width / 2
        self._places.append(self._way_to(middle, row.view, image_width))
        self._middles.append(middle)
        self.missed, self._hidden = 0, False
        self._boxes.append((row.time_s, row.seen.box))
        while row.time_s - self._boxes[0][0] > MEMORY_S and len(self._boxes) > NEW_SIGHTINGS:
            self._boxes.popleft()
        if row.overlap <= CLEAR and not row.seen.cut and len(self._boxes) >= NEW_SIGHTINGS:
            slope = self._trend()[2]
            pace = float(max(slope[0], slope[2], key=abs))  # the side not held by the frame's edge
            self._clear = (row.time_s, box, pace)

    def _way_to(self, middle: float, view: View, image_width: int) -> float:
        """Return how far she has come when she is now seen at a place, px from the middle.

        Added up from frame to frame: against the first view alone, a camera that goes along with
        her would in the end have turned by more than a right angle, where no ground px are left.
        """
        if not self._middles:
            return middle
        scale = view.width / image_width
        between = np.linalg.inv(self.rows[-2].view.to_ground) @ view.to_ground
        as_before = warp(between, scale * np.array([middle, 0.0]))[0] / scale
        return self._places[-1] + float(as_before) - self._middles[-1]

    def forget(self, count: int) -> None:
        """Take back the newest sightings: of another cow, or of her way back after a turn."""
        kept = len(self.rows) - count
        del self.rows[kept:], self._places[kept:], self._middles[kept:]

    def miss(self, *, hidden: bool) -> None:
        """Take note of a frame in which she was not seen; ``hidden`` by another cow or not."""
        self.missed += 1
        self._hidden = hidden or (self._hidden and self.missed > 1)

    @property
    def faces(self) -> int:
        """1 when her head has been to the right lately, -1 to the left, 0 unknown."""
        return int(np.sign(sum(row.seen.faces for row in self.rows[-15:])))

    def has_ended(self, time_s: float, image_width: int) -> bool:
        """Tell whether her pass is over at a time, and note why in ``ended``."""
        patience = GLIMPSE_S if self.is_glimpse and not self.rows else LOST_S
        if time_s - self.last_s > (HIDDEN_S if self._hidden else patience):
            self.ended = "lost"
        elif self.rows and self._has_left(image_width):
            self.ended = "left"
        elif self.rows and self.rows[-1].time_s - self.rows[0].time_s > LONGEST_S:
            self.ended = "long"
        elif self._stands(STANDS_AFTER_S):
            self.ended = "stands"
        elif self._has_turned():
            self.ended = "turned"
        return bool(self.ended)

    def _has_left(self, image_width: int) -> bool:
        row = self.rows[-1]
        if len(self.rows) < 10 or not row.seen.cut:
            return False
        widest = max(r.seen.box.width for r in self.rows[-60:])
        at_edge = row.seen.box.x0 < 4 or row.seen.box.x1 > image_width - 5
        going = row.seen.box.width < self.rows[-5].seen.box.width
        return at_edge and going and row.seen.box.width < 0.3 * widest

    def _stands(self, span_s: float) -> bool:
        if not self.rows or self.rows[-1].time_s - self.rows[0].time_s < span_s:
            return False
        start = self.rows[-1].time_s - span_s
        first = bisect.bisect_left(self.rows, start, key=lambda row: row.time_s)
        places = self._places[first:]
        return max(places) - min(places) < 0.15 * self.rows[-1].seen.box.width

    def _has_turned(self) -> bool:
        """Tell whether she walks back; her rows are cut off at the turning point.

        Judged on frames that hold her whole, by a running median against single wild boxes.
        """
        if len(self.rows) % 5:
            return False
        whole = [i for i, row in enumerate(self.rows) if not row.seen.cut]
        if len(whole) < 2 * SMOOTHING:
            return False
        places = np.array(self._places)[whole]
        places = np.median(sliding_window_view(places, SMOOTHING), axis=1)
        length = float(np.median([row.seen.box.width for row in self.rows[-60:]]))
        for direction in (1, -1):
            along = places * direction
            peak = int(along.argmax())
            gone, back = along[peak] - along[0], along[peak] - along[-1]
            if back > TURN_SHARE * length and gone > TURN_SHARE * length:
                last = whole[peak + SMOOTHING // 2]
                self.forget(len(self.rows) - last - 1)
                return True
        return False


def middle_x(box: Box, length: float, image_width: int) -> float:
    """Return the middle of a cow along x, px, also while the frame's edge cuts her.

    Parameters
    ----------
    box : Box
        Her visible part.
    length : float
        Her whole length, nose to tail, px.
    image_width : int
        Of the frame, px.
    """
    cut_left, cut_right = box.x0 < EDGE_PX, box.x1 > image_width - 1 - EDGE_PX
    if cut_left and not cut_right:
        return box.x1 - length / 2
    if cut_right and not cut_left:
        return box.x0 + length / 2
    return box.centre[0]


def _wider(box: Box, left: bool, right: bool) -> Box:
    return Box(
        x0=box.x0 - left * OPEN_SHARE * box.width,
        y0=box.y0,
        x1=box.x1 + right * OPEN_SHARE * box.width,
        y1=box.y1,
    )
