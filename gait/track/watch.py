"""A cheap look-out that lets the finder rest while nothing moves in the lane."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

Image = npt.NDArray[np.uint8]

_STEP = 16
_LEVELS = 10
"""Grey levels by which a pixel must change to count as changed."""
_SHARE = 0.004
"""Share of changed pixels that counts as motion."""
_AT_LEAST_EVERY_S = 2.0
"""The finder looks even at a still picture this often: a cow may stand there from the start."""


class Watch:
    """Tells whether the picture has changed since the finder last looked at it."""

    def __init__(self) -> None:
        self._last: npt.NDArray[np.int16] | None = None
        self._newest: npt.NDArray[np.int16] | None = None
        self._last_find_s = -np.inf

    def sees_motion(self, image: Image, time_s: float) -> bool:
        """Tell whether it is worth looking for cows in this frame.

        Parameters
        ----------
        image : ndarray of uint8, shape (h, w, 3)
            The frame; only every 16th pixel of every 16th row is read.
        time_s : float
            Its time.
        """
        self._newest = image[::_STEP, ::_STEP, 1].astype(np.int16)
        if self._last is None or self._last.shape != self._newest.shape:
            return True
        if time_s - self._last_find_s >= _AT_LEAST_EVERY_S:
            return True
        changed = np.abs(self._newest - self._last) > _LEVELS
        return bool(changed.mean() > _SHARE)

    def note_find(self, time_s: float) -> None:
        """Take note that the finder looks at the frame just watched."""
        self._last, self._last_find_s = self._newest, time_s
