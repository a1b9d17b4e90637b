"""What shows at the frame's edge and is no cow of its own."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from gait.pose import Box
from gait.track import BACK_LINE_POINTS, Pass
from gait.track.cow import Followed
from gait.track.judge import _is_glimpse_of_others, _is_sliver

WIDTH, HEIGHT = 1920, 1080


def strip(wide: float, *, cut: float, overlap: float, sure: float = 0.6, frames: int = 20) -> Pass:
    """A thing of a width (share of the frame) that the edge cuts in a share of its frames."""
    box = np.tile([WIDTH - wide * WIDTH, 300.0, WIDTH, 800.0], (frames, 1))
    return Pass(
        number=1,
        frame=np.arange(frames),
        time_s=np.arange(frames) / 25,
        points=np.zeros((frames, 18, 2)),
        confidence=np.full((frames, 18), sure),
        box=box,
        to_ground=np.tile(np.eye(2, 3), (frames, 1, 1)),
        back_line=np.full((frames, BACK_LINE_POINTS, 2), np.nan),
        cut=np.arange(frames) < cut * frames,
        image_size=(WIDTH, HEIGHT),
        fps=25.0,
        heading="right",
        overlap=np.full(frames, overlap),
    )


@pytest.mark.parametrize(
    ("thing", "sliver"),
    [
        (strip(0.20, cut=0.9, overlap=0.6), True),  # the end of one of two cows close together
        (strip(0.20, cut=0.9, overlap=0.0), False),  # a cow just coming in by herself
        (strip(0.40, cut=0.9, overlap=0.6), False),  # a cow half hidden by another
        (strip(0.20, cut=0.3, overlap=0.6), False),  # small cows abreast, whole in the picture
        (strip(0.20, cut=0.9, overlap=0.0, sure=0.4), True),  # a tail end, hardly made out
    ],
)
def test_a_strip_over_another_cow_at_the_edge_is_no_pass(thing, sliver):
    assert _is_sliver(thing) is sliver


def test_one_wide_frame_does_not_make_a_cow_of_a_strip():
    thing = strip(0.20, cut=0.9, overlap=0.6)
    box = thing.box.copy()
    box[7, 0] = 1000.0
    assert _is_sliver(replace(thing, box=box))


@pytest.mark.parametrize(
    ("found", "likeness", "overlap", "sure", "nothing"),
    [
        (False, [0.37], 0.6, 0.36, True),  # wandered from cow to cow, never clearly one herself
        (True, [0.37], 0.6, 0.36, False),  # found for sure at first
        (False, [0.37, 0.7], 0.6, 0.36, False),  # found for sure later
        (False, [0.37], 0.1, 0.36, False),  # by herself: a cow in the dark, to be told of
        (False, [0.37], 0.6, 0.6, False),  # landmarks clearly seen
    ],
)
def test_what_was_only_glimpsed_over_other_cows_is_no_pass(found, likeness, overlap, sure, nothing):
    thing = strip(0.40, cut=0.3, overlap=overlap, sure=sure)
    place = Box(x0=0.0, y0=0.0, x1=9.0, y1=9.0)
    cow = Followed(order=0, found_s=0.0, found=place, is_glimpse=not found, likeness=likeness)
    assert _is_glimpse_of_others(thing, cow) is nothing
