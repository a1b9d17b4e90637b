"""A photo as a pass of one frame: posture only."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import chain

import cv2
import numpy as np

from gait.clip import ClipInfo, read_frames
from gait.errors import ClipUnusable
from gait.landmarks import BACK_AND_HEAD, HOOVES, INDEX, LANDMARKS
from gait.pose import Box
from gait.pose.sighting import Image
from gait.track import problems
from gait.track.judge import HEAD_ON_ASPECT
from gait.track.passes import Pass
from gait.track.seen import Network, Seen, look_closely

SURE = 0.35
"""Median landmark confidence from which a cow in a photo is believed. Ours: real side views give
0.57-0.66, cows lying or half turned away 0.28-0.42."""
MOST_LOOKED_AT = 3
DRAWN_OUT, SURE_FROM_AFAR = 0.2, 0.6
"""A cow that fills a square photo is now and then found only when the photo's edges are drawn out
by this share of its longer side; the finder must then be so sure. Ours: of 409 photos of cows three
are found only so, with 0.62 or more; of 21 of other animals four find one at 0.53 to 0.62."""
LEGS = [name for name in LANDMARKS if name not in BACK_AND_HEAD]
BELLY_COLUMNS, BELLY_ROWS = 24, 80
AIR_UNDER, UNSURE = 0.23, 0.56
"""Share of the height from floor to back that is free under the belly of a cow that stands, unless
the legs are surer than the second figure: then a calf or grass is before her. Ours: in the photos
at hand cows that lie have 0.20 or less with legs at 0.43-0.50; cows that stand have 0.35 or more,
in grass or half turned away 0.25 or more; a cow with her calf 0.32 with legs at 0.46."""


def photo_pass(info: ClipInfo, network: Network, *, keep_silhouettes: bool = False) -> Pass:
    """Look at the largest cow of a photo.

    Parameters
    ----------
    info : ClipInfo
        Of a photo.
    network : Network
        The open network.
    keep_silhouettes : bool
        Whether the pass carries her outline.

    Returns
    -------
    Pass
        With one frame.

    Raises
    ------
    ClipUnusable
        If no cow seen from the side is found, or if the only one lies.
    ClipError
        If the photo cannot be read.
    """
    (frame,) = list(read_frames(info.path))
    image = frame.image
    height, width = image.shape[:2]
    boxes = sorted(network.find(image), key=lambda box: -box.area * box.confidence)
    lying = False
    for box in chain(boxes[:MOST_LOOKED_AT], _found_from_afar(network, image)):
        seen = look_closely(network, image, box, with_sharpness=True)
        if seen is not None and seen.box.confidence >= SURE:
            closer = look_closely(network, image, seen.box, with_sharpness=True)
            better = closer is not None and closer.box.confidence >= seen.box.confidence
            best = closer if closer is not None and better else seen
            if not lies(best):
                return _as_pass(best, (width, height), len(boxes), keep_silhouettes)
            lying = True
    if lying:
        raise ClipUnusable(
            f"The cow in {info.path.name} lies down.", "Take the photo when she stands."
        )
    raise ClipUnusable(
        f"No cow seen from the side was found in {info.path.name}.",
        "Take the photo from the side with the whole cow in the picture.",
    )


def _found_from_afar(network: Network, image: Image) -> Iterator[Box]:
    """Find cows, when asked for, in the photo set into a larger one, as seen from farther away."""
    rim = int(DRAWN_OUT * max(image.shape[:2]))
    larger = np.asarray(
        cv2.copyMakeBorder(image, rim, rim, rim, rim, cv2.BORDER_REPLICATE), np.uint8
    )
    for box in network.find(larger):
        if box.confidence >= SURE_FROM_AFAR:
            yield box.moved(-rim, -rim)


def lies(seen: Seen) -> bool:
    """Tell whether a cow lies: little room under the belly, and legs that are hard to make out."""
    sure = float(np.median(seen.confidence[[INDEX[name] for name in LEGS]]))
    return air_under_belly(seen) < AIR_UNDER and sure < UNSURE


def air_under_belly(seen: Seen) -> float:
    """Return how much of the height from floor to back is free under the belly, 0 to 1.

    Parameters
    ----------
    seen : Seen
        A cow from the side.

    Returns
    -------
    float
        Where most is free between withers and tailhead, because a leg may stand before the
        belly; about 0.4 for a standing cow, near 0 for one that lies. NaN when back or hooves
        are not seen.
    """
    points, outline = seen.points, seen.silhouette
    back = points[[INDEX["withers"], INDEX["tailhead"]]]
    hooves = points[[INDEX[hoof] for hoof in HOOVES], 1]
    hooves = hooves[np.isfinite(hooves)]
    if not np.isfinite(back).all() or not hooves.size:
        return float("nan")
    floor = float(np.median(hooves))
    share = np.linspace(0.15, 0.85, BELLY_COLUMNS)[:, None]
    down = np.linspace(0.0, 1.0, BELLY_ROWS)[None, :]
    x, top = (back[0] + share[..., None] * (back[1] - back[0])).transpose(2, 0, 1)
    spots = np.stack(np.broadcast_arrays(x, top + down * (floor - top)), axis=-1)
    to_grid = cv2.invertAffineTransform(np.asarray(outline.to_frame, np.float64))
    at = (spots @ to_grid[:, :2].T + to_grid[:, 2]).astype(np.float32)
    cow = cv2.remap(outline.probability, at[..., 0], at[..., 1], cv2.INTER_LINEAR) >= 0.5
    lowest = np.where(cow, down, 0.0).max(axis=1)
    return float(1 - lowest.min())


def _as_pass(seen: Seen, size: tuple[int, int], cows: int, keep_silhouettes: bool) -> Pass:
    box = seen.box
    several = (problems.SEVERAL.format(count=cows),) if cows > 1 else ()
    head_on = not seen.cut and box.width < HEAD_ON_ASPECT * box.height
    outline = (255 * seen.silhouette.probability).astype(np.uint8)[None]
    return Pass(
        number=1,
        frame=np.zeros(1, np.int64),
        time_s=np.zeros(1),
        points=seen.points[None],
        confidence=seen.confidence[None],
        box=np.array([[box.x0, box.y0, box.x1, box.y1]]),
        to_ground=np.eye(2, 3)[None],
        back_line=seen.back_line[None],
        cut=np.array([seen.cut]),
        image_size=size,
        fps=float("nan"),
        heading="left" if seen.faces < 0 else "right",
        problems=(*((problems.HEAD_ON,) if head_on else ()), *several),
        usable=not head_on,
        brightness=np.array([seen.brightness]),
        sharpness=np.array([seen.sharpness]),
        silhouettes=outline if keep_silhouettes else None,
        silhouette_to_frame=seen.silhouette.to_frame[None] if keep_silhouettes else None,
    )
