"""The shipped network following drawn cows: found, headed, boxed, and abreast refused.

Drawn cows show that the parts fit together; they say nothing of accuracy on real cows.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import numpy as np
import pytest

from gait import places
from gait.clip import Frame
from gait.pose import CowNetwork
from gait.track import follow, problems
from synthetic_clips.cases import CASES
from synthetic_clips.draw import draw_frame
from synthetic_clips.scene import Scene

pytestmark = pytest.mark.skipif(
    not (places.models() / "cow_side.tflite").is_file(), reason="the network is not there"
)
FPS, SEED = 15.0, 3


def small(name: str) -> Scene:
    scene = CASES[name](SEED)
    return replace(scene, camera=replace(scene.camera, width=640, height=360, fps=FPS))


def frames_of(scene: Scene, start_s: float, seconds: float, boxes: list) -> Iterator[Frame]:
    for index in range(round(seconds * FPS)):
        image, truth = draw_frame(scene, start_s + index / FPS)
        boxes.append(truth.cows[-1].box if truth.cows else None)
        yield Frame(index=index, time_s=index / FPS, image=image)


@pytest.fixture(scope="module")
def network():
    with CowNetwork() as opened:
        yield opened


def test_a_drawn_cow_is_followed_where_she_is(network):
    scene, boxes = small("sound"), []
    (only,) = follow(frames_of(scene, 1.5, 3.5, boxes), network)
    assert only.heading == scene.cows[0].heading
    assert only.usable
    assert len(only) > 30
    true = np.array([boxes[frame] for frame in only.frame])[~only.cut]
    found = only.box[~only.cut]
    width = true[:, 2] - true[:, 0]
    assert np.median(np.abs(found - true).max(1) / width) < 0.08
    assert (only.to_ground == np.eye(3)).all()


def test_drawn_cows_abreast_are_refused(network):
    found = list(follow(frames_of(small("two_abreast"), 1.5, 4.0, []), network))
    assert found
    assert all(not one.usable and problems.OVERLAP in one.problems for one in found)


def test_an_empty_lane_gives_nothing(network):
    assert list(follow(frames_of(small("no_cow"), 0.0, 1.0, []), network)) == []
