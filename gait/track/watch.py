"""A cheap look-out that lets the finder rest while nothing moves in the lane."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from gait.pose import Box

Image = npt.NDArray[np.uint8]

_STEP = 16
_LEVELS = 10
"""Grey levels by which a pixel must change to count as changed."""
_SHARE = 0.004
"""Share of changed pixels that counts as motion."""
_MARGIN = 0.1
"""Share of her width or height around a followed cow in which motion is taken as her own."""
EMPTY_S, FOLLOWED_S = 2.0, 1.0
"""The finder looks this often even at a still picture: a cow may stand there from the start; and
this often beside cows that are followed, for one that hides behind them."""


class Watch:
    """Tells whether the picture has changed, beside the cows that are followed."""

    def __init__(self) -> None:
        self._last: npt.NDArray[np.int16] | None = None
        self._last_cows: Sequence[Box] = ()
        self._last_find_s = -np.inf

    def is_worth_a_find(self, image: Image, time_s: float, cows: Sequence[Box] = ()) -> bool:
        """Tell whether it is worth looking for cows in this frame; if so, it is taken as done.

        Parameters
        ----------
        image : ndarray of uint8, shape (h, w, 3)
            The frame; only every 16th pixel of every 16th row is read.
        time_s : float
            Its time.
        cows : sequence of Box
            Where the cows are that are surely followed, px. With none the picture is compared with
            the one last looked at, else with the one last asked about, in which they were near.
        """
        newest = image[::_STEP, ::_STEP, 1].astype(np.int16)
        due = time_s - self._last_find_s >= (FOLLOWED_S if cows else EMPTY_S)
        fewer = len(cows) < len(self._last_cows)  # one no longer followed may still be there
        worth = due or fewer or self._has_changed(newest, [*cows, *self._last_cows])
        if worth:
            self._last_find_s = time_s
        if worth or cows:
            self._last, self._last_cows = newest, tuple(cows)
        return worth

    def _has_changed(self, newest: npt.NDArray[np.int16], hidden: Sequence[Box]) -> bool:
        if self._last is None or self._last.shape != newest.shape:
            return True
        changed = np.abs(newest - self._last) > _LEVELS
        for box in hidden:
            dx, dy = _MARGIN * box.width, _MARGIN * box.height
            x0, y0 = (max(int(v // _STEP), 0) for v in (box.x0 - dx, box.y0 - dy))
            x1, y1 = (max(int(v // _STEP) + 1, 0) for v in (box.x1 + dx, box.y1 + dy))
            changed[y0:y1, x0:x1] = False
        return bool(changed.mean() > _SHARE)
