"""The shipped network on one real cow: a public-domain photo of a black and white dairy cow.

The photo is ``File:Cow-IMG_2050.JPG`` by Dohduhdah, public domain, as Debian's
gcompris-qt-data ships it; here at half size. It is one of the held-back test photos.
"""

from __future__ import annotations

from pathlib import Path

import cv2
import numpy as np
import pytest

from gait.landmarks import INDEX, LANDMARKS
from gait.pose import Box, CowNetwork

PHOTO = Path(__file__).resolve().parent / "data" / "holstein_side.jpg"


@pytest.fixture(scope="module")
def photo() -> np.ndarray:
    return np.asarray(cv2.imread(str(PHOTO)), np.uint8)


@pytest.fixture(scope="module")
def network():
    with CowNetwork(tasks=1) as opened:
        yield opened


@pytest.fixture(scope="module")
def cow(network, photo) -> Box:
    return max(network.find(photo), key=lambda box: box.area)


def trunk(points: np.ndarray) -> float:
    return float(np.linalg.norm(points[INDEX["withers"]] - points[INDEX["tailhead"]]))


def test_the_cow_is_found_about_where_she_stands(cow):
    # Read off the photo by eye (half size): muzzle 117, tail 463, poll 144, hooves 347.
    assert cow.iou(Box(x0=117, y0=144, x1=463, y1=347)) > 0.8
    assert cow.confidence > 0.5


def test_the_back_points_lie_in_order_on_her_upper_edge(network, photo, cow):
    sighting = network.look(photo, cow)
    mask = sighting.silhouette.mask(photo.shape) > 0
    order = [sighting.point(n)[0] for n in ("withers", "mid_back", "loin", "tailhead")]
    assert order == sorted(order) or order == sorted(order, reverse=True)
    for name in ("withers", "mid_back", "loin"):
        x, y = sighting.point(name)
        top = np.nonzero(mask[:, round(x)])[0][0]
        assert abs(top - y) < 0.05 * trunk(sighting.points)


def test_a_mirrored_cow_has_mirrored_landmarks(network, photo, cow):
    straight = network.look(photo, cow)
    width = photo.shape[1]
    mirrored_box = Box(x0=width - cow.x1, y0=cow.y0, x1=width - cow.x0, y1=cow.y1)
    turned = network.look(np.ascontiguousarray(photo[:, ::-1]), mirrored_box)
    back = turned.points.copy()
    back[:, 0] = width - 1 - back[:, 0]
    sure = np.minimum(straight.confidence, turned.confidence) > 0.4
    assert sure.sum() >= 12
    apart = np.linalg.norm(straight.points - back, axis=1)[sure] / trunk(straight.points)
    assert apart.max() < 0.08


@pytest.mark.parametrize("scale", [0.8, 1.5])
def test_landmarks_follow_the_size_of_the_photo(network, photo, cow, scale):
    straight = network.look(photo, cow)
    resized = cv2.resize(photo, None, fx=scale, fy=scale)
    box = Box(*(), **{k: getattr(cow, k) * scale for k in ("x0", "y0", "x1", "y1")})
    other = network.look(resized, box)
    sure = straight.confidence > 0.4
    apart = np.linalg.norm(straight.points * scale - other.points, axis=1)[sure]
    assert np.median(apart) < 0.03 * trunk(other.points)


def test_a_shifted_box_moves_the_landmarks_little(network, photo, cow):
    straight = network.look(photo, cow)
    shifted = network.look(photo, cow.moved(0.03 * cow.width, -0.02 * cow.height))
    sure = straight.confidence > 0.4
    apart = np.linalg.norm(straight.points - shifted.points, axis=1)[sure]
    assert np.median(apart) < 0.03 * trunk(straight.points)


def test_the_head_and_a_hoof_are_surely_seen(network, photo, cow):
    confidence = dict(zip(LANDMARKS, network.look(photo, cow).confidence, strict=True))
    assert min(confidence[n] for n in ("poll", "withers", "tailhead")) > 0.4
    assert max(v for n, v in confidence.items() if n.endswith("hoof")) > 0.4


@pytest.mark.parametrize("shade", [0, 127, 255])
def test_an_empty_frame_has_no_cow(network, shade):
    assert network.find(np.full((360, 640, 3), shade, np.uint8)) == []
