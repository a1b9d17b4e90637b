"""Several looks at a photo agree with one where nothing is unsure, and mirror with the photo."""

from __future__ import annotations

import numpy as np
import pytest

from gait.pose import Box, CarefulNetwork
from gait.pose.crop import cut, grid_to_frame

SIZE, STRIDE, GROWTH = (320, 192), 2, 0.24


class SpotNetwork:
    """Sees one bright spot as every landmark and everything bright as cow."""

    def look_maps(self, image: np.ndarray, box: Box) -> tuple[np.ndarray, np.ndarray]:
        rgb, to_frame = cut(image, box, SIZE, GROWTH)
        grey = rgb[::STRIDE, ::STRIDE, 0].astype(np.float32)
        spot = np.clip((grey - 200) / 55, 0, 1)
        maps = np.stack([spot] * 18 + [(grey - 100) / 20])
        return maps, grid_to_frame(to_frame, STRIDE)

    def find(self, image: np.ndarray) -> list[Box]:
        return []


def picture() -> np.ndarray:
    """Return a grey patch (cow) with a bright soft spot at (300, 150) on black."""
    y, x = np.mgrid[:360, :640]
    image = np.zeros((360, 640), np.float32)
    image[100:260, 200:460] = 150
    image += 105 * np.exp(-((x - 300) ** 2 + (y - 150) ** 2) / (2 * 6.0**2))
    return np.repeat(np.clip(image, 0, 255).astype(np.uint8)[:, :, None], 3, axis=2)


BOX = Box(x0=200, y0=100, x1=460, y1=260)


def test_the_mean_of_the_looks_lies_where_the_spot_is() -> None:
    seen = CarefulNetwork(SpotNetwork()).look(picture(), BOX)  # type: ignore[arg-type]
    assert seen.points[0] == pytest.approx([300, 150], abs=1.5)


def test_the_silhouette_covers_the_patch() -> None:
    seen = CarefulNetwork(SpotNetwork()).look(picture(), BOX)  # type: ignore[arg-type]
    mask = seen.silhouette.mask((360, 640)) > 0
    truth = np.zeros((360, 640), bool)
    truth[100:260, 200:460] = True
    assert (mask & truth).sum() / (mask | truth).sum() > 0.97


def test_a_mirrored_photo_gives_mirrored_landmarks() -> None:
    network = CarefulNetwork(SpotNetwork())  # type: ignore[arg-type]
    plain = network.look(picture(), BOX)
    flipped = np.ascontiguousarray(picture()[:, ::-1])
    other = network.look(flipped, Box(x0=639 - 460, y0=100, x1=639 - 200, y1=260))
    assert 639 - other.points[0, 0] == pytest.approx(plain.points[0, 0], abs=0.5)
    assert other.points[0, 1] == pytest.approx(plain.points[0, 1], abs=0.5)
