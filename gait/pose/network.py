"""The network that sees cows: finds them in a frame and looks at one closely."""

from __future__ import annotations

import os
import queue
from collections.abc import Iterable, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from pathlib import Path
from types import TracebackType

import numpy as np

from gait import places
from gait.errors import PoseError
from gait.landmarks import INDEX, LANDMARKS
from gait.pose.card import CHANNELS, read_card
from gait.pose.crop import apply, cut, grid_to_frame, whole_box
from gait.pose.decode import Maps, count_hills, find_boxes, find_peaks, sigmoid, smoothed
from gait.pose.segmenter import Segmenter
from gait.pose.sighting import Box, FloatArray, Image, Sighting, Silhouette

GLIMPSE_SHARE = 0.55
"""Share of the card's threshold from which something may be a cow."""
_LOOK = tuple(range(len(LANDMARKS) + 1))
_HOOF_PAIRS = tuple(
    (INDEX[f"near_{end}_hoof"], INDEX[f"far_{end}_hoof"]) for end in ("fore", "hind")
)
_FIND = tuple(CHANNELS.index(n) for n in CHANNELS[len(LANDMARKS) + 1 :])


class CowNetwork:
    """The network, open and ready. Use as a context manager; may be used from several threads.

    Parameters
    ----------
    model_path : path, optional
        The ``.tflite`` with its card beside it; by default the one that comes with the program.
    tasks : int
        How many pictures can be looked at at the same time, one processor core each.

    Raises
    ------
    ModelFileInvalid
        If the file is not the one its card describes, or cannot be run.
    PoseError
        If MediaPipe cannot be loaded.
    """

    def __init__(self, model_path: str | os.PathLike[str] | None = None, tasks: int = 2) -> None:
        path = Path(model_path) if model_path is not None else places.models() / "cow_side.tflite"
        self.card = read_card(path)
        self.tasks = max(tasks, 1)
        self._size = (self.card.width, self.card.height)
        grid = (self.card.width // self.card.stride, self.card.height // self.card.stride)
        self._closed = False
        self._all = [Segmenter(path, grid) for _ in range(self.tasks)]
        self._free: queue.Queue[Segmenter] = queue.Queue()
        for segmenter in self._all:
            self._free.put(segmenter)

    @contextmanager
    def _borrowed(self) -> Iterator[Segmenter]:
        if self._closed:
            raise PoseError("The network has been closed.", "Open it again.")
        segmenter = self._free.get()
        try:
            yield segmenter
        finally:
            self._free.put(segmenter)

    def find(self, image: Image) -> list[Box]:
        """Find the cows in a frame.

        Parameters
        ----------
        image : ndarray of uint8, shape (h, w, 3)
            Upright frame, BGR.

        Returns
        -------
        list of Box
            Frame px, the surest first; may reach beyond the frame where a cow is cut.
        """
        return self._find(image, self.card.finder_threshold)

    def glimpse(self, image: Image) -> list[Box]:
        """Find what may be cows as well, for whoever confirms them by a close look.

        Parameters
        ----------
        image : ndarray of uint8, shape (h, w, 3)
            Upright frame, BGR.

        Returns
        -------
        list of Box
            As `find`, but down to about half its threshold.
        """
        return self._find(image, GLIMPSE_SHARE * self.card.finder_threshold)

    def _find(self, image: Image, threshold: float) -> list[Box]:
        rgb, to_frame = cut(image, whole_box(image), self._size, 0.0)
        with self._borrowed() as segmenter:
            maps = smoothed(segmenter.maps(rgb, _FIND))
        boxes = find_boxes(
            sigmoid(maps[0]),
            maps[1:],
            threshold=threshold,
            cells_per_unit=self.card.width / self.card.stride,
        )
        grid = grid_to_frame(to_frame, self.card.stride)
        return [_to_frame(box, grid) for box in boxes]

    def look(self, image: Image, box: Box) -> Sighting:
        """Look at one cow closely.

        Parameters
        ----------
        image : ndarray of uint8, shape (h, w, 3)
            Upright frame, BGR.
        box : Box
            Around the cow, px; it is grown before it is looked into.

        Returns
        -------
        Sighting
        """
        maps, grid = self.look_maps(image, box)
        cells, heights = find_peaks(maps[:-1])
        return Sighting(
            box=box,
            points=apply(grid, cells),
            confidence=heights,
            silhouette=Silhouette(probability=sigmoid(maps[-1]), to_frame=grid),
            extra_hooves=_extra_hooves(maps),
        )

    def look_maps(self, image: Image, box: Box) -> tuple[Maps, FloatArray]:
        """Return what the network itself gives of one cow, a little smoothed.

        Parameters
        ----------
        image : ndarray of uint8, shape (h, w, 3)
            Upright frame, BGR.
        box : Box
            Around the cow, px; it is grown before it is looked into.

        Returns
        -------
        maps : ndarray of float32, shape (19, h, w)
            Heat maps of the landmarks, then the silhouette as a logit.
        to_frame : ndarray, shape (2, 3)
            Affine from cells to frame px.
        """
        rgb, to_frame = cut(image, box, self._size, self.card.crop_growth)
        with self._borrowed() as segmenter:
            maps = smoothed(segmenter.maps(rgb, _LOOK))
        return maps, grid_to_frame(to_frame, self.card.stride)

    def look_many(self, looks: Iterable[tuple[Image, Box]]) -> list[Sighting]:
        """Look at several cows, as many at a time as there are tasks; results in order."""
        with ThreadPoolExecutor(self.tasks) as pool:
            return list(pool.map(lambda pair: self.look(*pair), looks))

    def close(self) -> None:
        """Free MediaPipe's tasks. Using the network afterwards raises `PoseError`."""
        self._closed = True
        for segmenter in self._all:
            segmenter.close()

    def __enter__(self) -> CowNetwork:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()


def _extra_hooves(maps: Maps) -> int:
    """Count the fore hooves beyond two and the hind hooves beyond two, between nose and tail."""
    columns = np.nonzero((maps[-1] > 0).any(0))[0]
    if not len(columns):
        return 0
    inside = np.zeros(maps.shape[1:], bool)
    inside[:, columns[0] : columns[-1] + 1] = True
    return sum(max(count_hills(maps[list(pair)], inside) - 2, 0) for pair in _HOOF_PAIRS)


def _to_frame(box: Box, grid: np.ndarray[tuple[int, ...], np.dtype[np.float64]]) -> Box:
    corners = apply(grid, np.array([[box.x0, box.y0], [box.x1, box.y1]]))
    (x0, y0), (x1, y1) = corners.tolist()
    return Box(x0=x0, y0=y0, x1=x1, y1=y1, confidence=box.confidence)
