"""The lane behind the cows: when it is known, and what it does for the back line."""

from __future__ import annotations

import numpy as np
import pytest

from gait.measure import trace_back_line
from gait.pose import Box
from gait.track.behind import REFRESH_S, SETTLE_S, Behind, EmptyLane
from gait.track.rotation import USUAL_FOCAL
from gait.track.view import View
from tests.measure_picture import BackPicture, draw
from tests.test_measure_back_line import distance_to

COW = Box(x0=200, y0=80, x1=400, y1=200, confidence=0.9)
HER_BACK = np.array([[260.0, 90.0], [340.0, 90.0]])
ASIDE = np.array([[20.0, 20.0], [60.0, 20.0]])
STILL = View(width=320)
PAN_PX = 24.0
MOVED = View(
    width=320,
    turn=np.array([0.0, PAN_PX / 2 / (USUAL_FOCAL * 320), 0.0, 0.0]),
    seen=np.zeros((1, 2), np.float32),
    reference=np.zeros((1, 2), np.float32),
)
"""Seen from here, the middle of the picture lies 24 px of the frame beside where it was."""


def frame(level: int) -> np.ndarray:
    return np.full((240, 640, 3), level, np.uint8)


def test_the_lane_is_known_once_it_was_seen_without_her():
    behind = Behind()
    assert behind.update(frame(10), 0.0, [], STILL) is None
    lane = behind.update(frame(20), REFRESH_S, [COW], STILL)
    assert lane is not None
    assert lane.covers(HER_BACK)
    assert (lane.picture == 10).all()


def test_a_cow_in_the_first_frame_hides_the_lane():
    behind = Behind()
    behind.update(frame(10), 0.0, [COW], STILL)
    lane = behind.update(frame(10), 0.1, [COW], STILL)
    assert lane is not None
    assert not lane.covers(HER_BACK)
    assert lane.covers(ASIDE)


def test_the_lane_beside_her_is_kept_up_to_date_and_behind_her_as_it_was():
    behind = Behind()
    behind.update(frame(10), 0.0, [], STILL)
    behind.update(frame(30), REFRESH_S, [COW], STILL)
    lane = behind.update(frame(50), REFRESH_S + 0.1, [COW], STILL)
    assert lane is not None
    assert lane.picture[90, 300, 0] == 10
    assert lane.picture[20, 20, 0] == 30


def test_a_camera_that_moves_still_knows_the_lane_it_came_from():
    behind = Behind()
    behind.update(frame(10), 0.0, [], STILL)
    lane = behind.update(frame(20), 0.2, [COW], MOVED)
    assert lane is not None
    assert (lane.picture == 10).all()
    middle = np.array([[319.5, 119.5]])
    assert np.abs(lane.places(middle) - middle).max() == pytest.approx(PAN_PX, rel=0.01)
    # at one side the camera now sees what was outside the picture
    sides = [lane.covers(np.array([[x, 20.0], [x, 60.0]])) for x in (2.0, 637.0)]
    assert sorted(sides) == [False, True]


def test_a_lane_seen_before_the_camera_moved_is_let_go_when_the_cows_are_gone():
    behind = Behind()
    behind.update(frame(10), 0.0, [], STILL)
    behind.update(frame(20), 0.2, [COW], MOVED)
    # without cows the camera's motion is not followed: this view says nothing of the old picture
    assert behind.update(frame(30), 1.3, [], STILL) is None
    lane = behind.update(frame(40), 1.4, [COW], STILL)
    assert lane is not None
    assert (lane.picture == 30).all()


def test_a_camera_that_came_back_waits_before_it_looks_at_the_lane_anew():
    behind = Behind()
    behind.update(frame(10), 0.0, [], STILL)
    behind.update(frame(10), 0.2, [COW], MOVED)
    behind.update(frame(20), 0.2 + SETTLE_S / 2, [COW], STILL)
    lane = behind.update(frame(30), 0.3 + SETTLE_S / 2, [COW], STILL)
    assert lane is not None
    assert lane.picture[20, 20, 0] == 10


def filmed(with_cow: np.ndarray, without: np.ndarray, seed: int) -> tuple[np.ndarray, EmptyLane]:
    """What a camera with some grain sees of a cow, and of the lane before she came."""
    rng = np.random.default_rng(seed)
    seen, empty = (
        np.clip(exact + rng.normal(0, 3, exact.shape), 0, 255).astype(np.uint8)
        for exact in (with_cow, without)
    )
    known = np.ones((empty.shape[0] // 8 + 1, empty.shape[1] // 8 + 1), np.uint8)
    return seen, EmptyLane(picture=empty, known=known)


def before_a_wall(light: float = 0.0):
    """A cow whose back lies a little below the upper edge of a dark wall, and that lane empty.

    The silhouette reaches up to the wall's edge, as the network's does where the two meet.
    """
    back = BackPicture(noise=0.0, blur_px=0.5, arch=0.06, silhouette_lift=1.2)
    picture, silhouette, points, true = draw(back)
    cow = picture.mean(axis=2) < 95
    scene = np.full(picture.shape, 190.0)
    scene[round(true[:, 1].min() - 0.018 * back.trunk) :] = (75, 78, 82)
    seen, lane = filmed(np.where(cow[..., None], picture, scene), scene + light, seed=3)
    return seen, silhouette, points, true, lane


def miss(line: np.ndarray, true: np.ndarray) -> float:
    return float(np.sqrt(np.mean(distance_to(line, true) ** 2)))


@pytest.mark.parametrize("light", [0.0, -25.0])
def test_a_wall_s_edge_is_not_her_back_where_the_lane_was_seen_empty(light):
    picture, silhouette, points, true, lane = before_a_wall(light)
    assert miss(trace_back_line(picture, silhouette, points), true) > 2.0
    assert miss(trace_back_line(picture, silhouette, points, lane), true) < 0.7


def hemmed(hem_px: float, hem: float, coat: float):
    """A cow with a hem of another colour along her back before a grey wall, and that lane empty.

    The silhouette leaves the hem out, as the network's does where the wall is hardly lighter.
    """
    back = BackPicture(noise=0.0, blur_px=0.5, arch=0.06, silhouette_lift=-0.8)
    picture, silhouette, points, true = draw(back)
    cow = picture.mean(axis=2) < 95
    up = np.interp(np.arange(picture.shape[1]), true[:, 0], true[:, 1])
    depth = np.arange(picture.shape[0])[:, None] - up[None, :]
    colour = np.where((depth < hem_px)[..., None], hem, coat)
    scene = np.full(picture.shape, 85.0)
    seen, lane = filmed(np.where(cow[..., None], colour, scene), scene, seed=6)
    return seen, silhouette, points, true, lane


@pytest.mark.parametrize(
    ("hem", "coat"),
    [
        pytest.param(35.0, 235.0, id="dark hem of a white cow"),
        pytest.param(105.0, 25.0, id="patch of a black cow, nearly of the wall's colour"),
    ],
)
def test_a_hem_of_another_colour_is_hers_where_the_lane_was_seen_empty(hem, coat):
    picture, silhouette, points, true, lane = hemmed(3.5, hem, coat)
    assert miss(trace_back_line(picture, silhouette, points), true) > 2.0
    assert miss(trace_back_line(picture, silhouette, points, lane), true) < 0.7


def test_a_lane_that_has_changed_is_not_believed():
    # Another cow's flank stood there when the lane was thought empty.
    picture, silhouette, points, _, lane = before_a_wall()
    rng = np.random.default_rng(4)
    strange = EmptyLane(
        picture=rng.integers(0, 255, lane.picture.shape).astype(np.uint8), known=lane.known
    )
    alone = trace_back_line(picture, silhouette, points)
    assert np.array_equal(trace_back_line(picture, silhouette, points, strange), alone)


def test_a_lane_that_was_never_seen_empty_changes_nothing():
    picture, silhouette, points, _, lane = before_a_wall()
    unknown = EmptyLane(picture=lane.picture, known=np.zeros_like(lane.known))
    alone = trace_back_line(picture, silhouette, points)
    assert np.array_equal(trace_back_line(picture, silhouette, points, unknown), alone)
