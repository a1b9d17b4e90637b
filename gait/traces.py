"""What a page needs to show a pass: head trace, hoof contacts, back lines; plain numbers."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

import numpy as np

from gait.landmarks import INDEX
from gait.measure.head_bob import steady_poll
from gait.measure.hoof_events import find_swings
from gait.measure.lane import Lane, see_in_lane
from gait.overlay import SURE

if TYPE_CHECKING:
    from gait.track import Pass

DECIMALS = 3
BACK_POINTS_KEPT = 4
"""Every so-manieth point of the traced back line is kept."""


def make_traces(pass_: Pass) -> dict[str, Any]:
    """Return the traces of one pass as plain JSON values.

    Parameters
    ----------
    pass_ : Pass
        With near and far legs settled.

    Returns
    -------
    dict
        ``time_s`` and ``head_pct`` (poll over withers, % of withers height), one value a look,
        null where not surely seen or, unless that is most of the time, where the edge of the
        picture cuts her; ``arch``, one value a look; ``hooves``: for each leg the contacts
        [on, off] in s, null for an end that was not seen; ``still``: the frame with the median
        arch, its time and its back line [x, y] in px.
    """
    lane = see_in_lane(pass_)
    head = 100 * (steady_poll(lane) - lane.of("withers")[1]) / lane.withers_height_px
    head = np.where(_shown(lane, _both_sure(pass_, "poll", "withers")), head, np.nan)
    arch = frame_arch(pass_)
    return {
        "time_s": _plain(pass_.time_s),
        "head_pct": _plain(head),
        "arch": _plain(arch),
        "hooves": {leg: _contacts(swings) for leg, swings in find_swings(lane).items()},
        "still": _still(pass_, arch),
    }


def frame_arch(pass_: Pass) -> np.ndarray:
    """Return the back arch of each frame, curvature times chord, NaN where not traced."""
    from gait.measure.back_arch import arch_of_line

    return np.asarray(arch_of_line(pass_.back_line), float)


def _shown(lane: Lane, sure: np.ndarray) -> np.ndarray:
    whole = sure & lane.whole
    return whole if 2 * whole.sum() > sure.sum() else sure


def _both_sure(pass_: Pass, *names: str) -> np.ndarray:
    """Return in which frames the network was sure of these landmarks, as for drawing them."""
    sure = pass_.confidence[:, [INDEX[name] for name in names]] >= SURE
    return np.asarray(sure.all(axis=1))


def _contacts(swings: Any) -> list[list[float | None]]:
    """Return the stances between swings as [hoof on, hoof off]."""
    ordered = sorted(swings, key=lambda s: s.on_s if math.isfinite(s.on_s) else s.off_s)
    spans: list[list[float | None]] = []
    before: float | None = None
    for swing in ordered:
        spans.append([before, _number(swing.off_s)])
        before = _number(swing.on_s)
    return [*spans, [before, None]] if ordered else []


def _still(pass_: Pass, arch: np.ndarray) -> Mapping[str, Any] | None:
    if not np.isfinite(arch).any():
        return None
    middle = int(np.nanargmin(np.abs(arch - np.nanmedian(arch)) + 10.0 * pass_.cut))
    line = pass_.back_line[middle][::BACK_POINTS_KEPT]
    return {
        "frame": int(pass_.frame[middle]),
        "time_s": _number(pass_.time_s[middle]),
        "box": _plain(pass_.box[middle]),
        "back_line": [_plain(point) for point in line if np.isfinite(point).all()],
    }


def _plain(values: Any) -> list[float | None]:
    return [_number(v) for v in values]


def _number(value: float) -> float | None:
    return round(float(value), DECIMALS) if math.isfinite(value) else None
