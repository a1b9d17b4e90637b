"""Look at a photo several times, mirrored and closer or farther, and take the mean.

A film shows a cow many times; a photo only once, so what the network says of it is steadied by
looking anew with small changes that should not matter. Never used on film, where it would be slow.
"""

from __future__ import annotations

import cv2
import numpy as np

from gait.pose.crop import apply
from gait.pose.decode import Maps, find_peaks, sigmoid
from gait.pose.network import CowNetwork
from gait.pose.sighting import Box, FloatArray, Image, Sighting, Silhouette

GROWTHS: tuple[float, ...] = (1.0, 0.93, 1.08, 0.87, 1.15)
"""The box is looked into at these sizes; the first gives the grid of the result."""
FINER = 2
"""The mean is kept on a grid so many times finer than the network's."""


class CarefulNetwork:
    """The same network with the same questions, answered from several looks.

    Parameters
    ----------
    network : CowNetwork
        Open; closed by whoever opened it.
    """

    def __init__(self, network: CowNetwork) -> None:
        self._network = network

    def find(self, image: Image) -> list[Box]:
        """Find the cows in a frame, as the network does."""
        return self._network.find(image)

    def look(self, image: Image, box: Box) -> Sighting:
        """Look at one cow ten times and return the mean.

        Parameters
        ----------
        image : ndarray of uint8, shape (h, w, 3)
            Upright frame, BGR.
        box : Box
            Around the cow, px.

        Returns
        -------
        Sighting
            With the silhouette on a finer grid.
        """
        mirrored = np.ascontiguousarray(image[:, ::-1])
        width = image.shape[1]
        looks = [self._network.look_maps(image, _grown(box, g)) for g in GROWTHS]
        for growth in GROWTHS:
            maps, grid = self._network.look_maps(mirrored, _mirrored(_grown(box, growth), width))
            looks.append((maps, _mirror_grid(grid, width)))
        mean, to_frame = _mean_maps(looks)
        places, heights = find_peaks(mean[:-1])
        return Sighting(
            box=box,
            points=apply(to_frame, places),
            confidence=heights,
            silhouette=Silhouette(probability=mean[-1], to_frame=to_frame),
        )


def _grown(box: Box, factor: float) -> Box:
    x, y = box.centre
    half_w, half_h = box.width * factor / 2, box.height * factor / 2
    return Box(
        x0=x - half_w, y0=y - half_h, x1=x + half_w, y1=y + half_h, confidence=box.confidence
    )


def _mirrored(box: Box, width: int) -> Box:
    x0, x1 = width - 1 - box.x1, width - 1 - box.x0
    return Box(x0=x0, y0=box.y0, x1=x1, y1=box.y1, confidence=box.confidence)


def _mirror_grid(grid: FloatArray, width: int) -> FloatArray:
    """Return the affine of a mirrored picture's cells to px of the picture itself."""
    back: FloatArray = grid.copy()
    back[0] = -back[0]
    back[0, 2] += width - 1
    return back


def _mean_maps(looks: list[tuple[Maps, FloatArray]]) -> tuple[Maps, FloatArray]:
    """Average heat maps and silhouette on the first look's grid, made finer."""
    count, height, width = looks[0][0].shape
    finer = np.diag([1 / FINER, 1 / FINER, 1.0])
    finer[:2, 2] = (1 / FINER - 1) / 2
    to_frame: FloatArray = np.vstack([looks[0][1], [0, 0, 1]]) @ finer
    total = np.zeros((count, height * FINER, width * FINER), np.float32)
    for maps, grid in looks:
        back = (np.linalg.inv(np.vstack([grid, [0, 0, 1]])) @ to_frame)[:2]
        for k in range(count):
            one = maps[k] if k < count - 1 else sigmoid(maps[k])
            total[k] += cv2.warpAffine(
                one,
                back,
                (width * FINER, height * FINER),
                flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP,
            )
    mean: Maps = (total / len(looks)).astype(np.float32)
    return mean, to_frame[:2]
