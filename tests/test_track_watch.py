"""When the finder looks at the whole picture: something has moved that is not a cow followed."""

from __future__ import annotations

import numpy as np

from gait.pose import Box
from gait.track import follow
from gait.track.watch import EMPTY_S, FOLLOWED_S, Watch
from tests.track_world import BlueNetwork, film, walking

STILL = np.full((360, 640, 3), 90, np.uint8)
COW = Box(x0=100.0, y0=100.0, x1=300.0, y1=260.0)


def with_patch(x0: int, x1: int) -> np.ndarray:
    image = STILL.copy()
    image[120:250, x0:x1] = 200
    return image


def test_a_still_empty_lane_is_looked_at_now_and_then():
    watch = Watch()
    asked = np.arange(0, 6, 0.25)
    looked = [t for t in asked if watch.is_worth_a_find(STILL, t)]
    assert looked == [0.0, EMPTY_S, 2 * EMPTY_S]


def test_what_moves_where_no_cow_is_followed_is_looked_at():
    watch = Watch()
    assert watch.is_worth_a_find(STILL, 0.0)
    assert not watch.is_worth_a_find(STILL, 0.25)
    assert watch.is_worth_a_find(with_patch(400, 480), 0.5)


def test_a_followed_cows_own_motion_is_not_looked_at():
    watch = Watch()
    watch.is_worth_a_find(STILL, 0.0, [COW])
    assert not watch.is_worth_a_find(with_patch(120, 280), 0.25, [COW])
    # she has moved on; where she was at the last question counts as her own as well
    moved = COW.moved(60.0)
    assert not watch.is_worth_a_find(with_patch(180, 340), 0.5, [moved])


def test_another_cow_beside_a_followed_one_is_looked_at():
    watch = Watch()
    watch.is_worth_a_find(STILL, 0.0, [COW])
    assert watch.is_worth_a_find(with_patch(400, 480), 0.25, [COW])


def test_beside_a_followed_cow_is_looked_more_often_than_at_an_empty_lane():
    watch = Watch()
    asked = np.arange(0, 3.1, 0.25)
    looked = [t for t in asked if watch.is_worth_a_find(STILL, t, [COW])]
    assert looked == [0.0, FOLLOWED_S, 2 * FOLLOWED_S, 3 * FOLLOWED_S]


def test_when_a_cow_is_no_longer_followed_the_finder_looks_for_her():
    watch = Watch()
    watch.is_worth_a_find(STILL, 0.0, [COW])
    assert watch.is_worth_a_find(STILL, 0.25, [])


def test_one_cow_walking_by_costs_few_looks_at_the_whole_picture():
    network = BlueNetwork()
    assert len(list(follow(film([walking(1)], 6.0), network))) == 1
    assert network.finds < 14  # at every question, four a second, there would be 22


def test_a_cow_walking_close_behind_another_is_found_as_well():
    passes = list(follow(film([walking(1), walking(2, start_s=1.4)], 8.0), BlueNetwork()))
    assert len(passes) == 2
    assert passes[1].time_s[0] < 1.4 + 0.9
