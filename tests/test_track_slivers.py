"""What shows at the frame's edge and is no cow of its own."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from gait.track import BACK_LINE_POINTS, Pass
from gait.track.judge import _is_sliver

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
