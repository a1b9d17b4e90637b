"""Passes made from the truth of a synthetic scene, without drawing it."""

from __future__ import annotations

from typing import Any

import numpy as np

from gait.track import Pass


def pass_from_truth(found: dict[str, Any]) -> Pass:
    """The pass a perfect network would give; landmarks outside the frame are unseen."""
    width, height = found["image_size"]
    points = found["points"].copy()
    outside = (points < 0).any(-1) | (points > np.array([width, height]) - 1).any(-1)
    points[outside] = np.nan
    line = np.where(outside[:, [2, 5]].any(axis=1)[:, None, None], np.nan, found["back_line"])
    n = len(points)
    return Pass(
        number=1,
        frame=found["frame"],
        time_s=found["time_s"],
        points=points,
        confidence=np.where(outside, 0.0, 0.9),
        box=np.clip(found["box"], 0, [width, height, width, height]),
        to_ground=found["to_reference"][:, :2] if n else np.zeros((0, 2, 3)),
        back_line=line,
        cut=~found["whole"],
        image_size=(width, height),
        fps=found["fps"],
        heading=found["heading"],
    )
