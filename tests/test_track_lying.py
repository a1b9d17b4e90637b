"""A cow that lies is no photo to judge a back by."""

from __future__ import annotations

import os
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from gait.clip import read_info
from gait.errors import ClipUnusable
from gait.landmarks import HOOVES, INDEX
from gait.pose import Box, CarefulNetwork, CowNetwork, Silhouette
from gait.track import photo_pass
from gait.track.photo import air_under_belly, lies
from gait.track.seen import Seen

SHARED = Path(os.environ.get("EXITLANE_SHARED", Path(__file__).parents[1].parent / "shared"))
TILES = SHARED / "data" / "cows" / "yard_tiles"
BACK, FLOOR = 20, 80
"""Rows of the drawn outline, one px each."""


def cow(belly: int, sure: float = 0.4) -> Seen:
    """A cow drawn as a block down to the row of her belly, on two legs."""
    outline = np.zeros((96, 160), np.float32)
    outline[BACK:belly, 30:120] = 1.0
    outline[belly:FLOOR, 36:42] = outline[belly:FLOOR, 106:112] = 1.0
    points = np.full((18, 2), np.nan)
    points[INDEX["withers"]], points[INDEX["tailhead"]] = (110.0, BACK), (40.0, BACK)
    for hoof in HOOVES:
        points[INDEX[hoof]] = (109.0 if "fore" in hoof else 39.0, FLOOR)
    return Seen(
        points=points,
        confidence=np.full(18, sure),
        box=Box(x0=30.0, y0=BACK, x1=120.0, y1=FLOOR, confidence=sure),
        back_line=np.full((64, 2), np.nan),
        silhouette=Silhouette(probability=outline, to_frame=np.eye(2, 3)),
        cut=False,
        faces=1,
        brightness=90.0,
        sharpness=0.5,
        extra_hooves=0,
        open=(False, False),
    )


@pytest.mark.parametrize(("belly", "free"), [(50, 0.5), (56, 0.4), (74, 0.1)])
def test_the_room_under_the_belly_is_its_share_of_the_height(belly, free):
    # by hand: from the belly's row to the floor's over from the back's to the floor's
    assert air_under_belly(cow(belly)) == pytest.approx(free, abs=0.02)


def test_a_leg_before_the_belly_does_not_fill_the_room():
    seen = cow(50)
    seen.silhouette.probability[50:FLOOR, 60:90] = 1.0
    assert air_under_belly(seen) == pytest.approx(0.5, abs=0.02)


def test_room_is_unknown_without_hooves():
    seen = cow(74)
    unseen = seen.points.copy()
    unseen[[INDEX[hoof] for hoof in HOOVES]] = np.nan
    without = replace(seen, points=unseen)
    assert np.isnan(air_under_belly(without))
    assert not lies(without)


@pytest.mark.parametrize(
    ("belly", "sure", "lying"), [(50, 0.4, False), (68, 0.4, True), (68, 0.6, False)]
)
def test_little_room_and_unsure_legs_are_a_cow_that_lies(belly, sure, lying):
    assert lies(cow(belly, sure)) is lying


@pytest.fixture(scope="module")
def network():
    with CowNetwork() as opened:
        yield CarefulNetwork(opened)


@pytest.mark.skipif(not TILES.exists(), reason=f"the shared photos of cows are not at {TILES}")
@pytest.mark.parametrize("name", ["tile_h04", "tile_h13", "tile_v31"])
def test_cows_that_lie_in_real_photos_are_refused(network, name):
    with pytest.raises(ClipUnusable):
        photo_pass(read_info(TILES / f"{name}.png"), network)


@pytest.mark.skipif(not TILES.exists(), reason=f"the shared photos of cows are not at {TILES}")
@pytest.mark.parametrize("name", ["tile_h02", "tile_h10", "tile_v11", "tile_v21", "tile_v32"])
def test_cows_that_stand_in_real_photos_are_not(network, name):
    assert len(photo_pass(read_info(TILES / f"{name}.png"), network)) == 1
