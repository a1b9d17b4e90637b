"""A picture of nothing but a cow's back, with the true edge known, for tests of the tracing."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from gait.landmarks import INDEX, LANDMARKS
from gait.pose import Silhouette


@dataclass(frozen=True, kw_only=True)
class BackPicture:
    """Lengths in px of the finished picture unless they say trunk lengths."""

    trunk: float = 260.0
    arch: float = 0.2
    sway: float = 0.0  # rump so much above the arc and the dip before it below, trunk lengths
    tilt_deg: float = 0.0
    coat: tuple[int, int, int] = (40, 45, 50)
    behind: tuple[int, int, int] = (150, 160, 150)
    spots: bool = False
    rail: bool = False
    flies: int = 0
    noise: float = 3.0
    blur_px: float = 0.8
    cells_per_trunk: float = 90.0  # grid of the silhouette
    silhouette_lift: float = 0.0  # bias of the silhouette, grid cells
    seed: int = 0


def height_over_chord(arch: float, share: np.ndarray) -> np.ndarray:
    """Height of a circular arc over its chord, in chords."""
    if abs(arch) < 1e-9:
        return 0 * share
    radius = 1 / abs(arch)
    arc = np.sqrt(np.maximum(radius**2 - (share - 0.5) ** 2, 0)) - np.sqrt(radius**2 - 0.25)
    return np.sign(arch) * arc


def top_line(back: BackPicture, share: np.ndarray) -> np.ndarray:
    """Height of the back over its chord, in chords; 0 is the tailhead, 1 the withers."""
    return height_over_chord(back.arch, share) + back.sway * np.sin(2 * np.pi * share)


def draw(back: BackPicture) -> tuple[np.ndarray, Silhouette, np.ndarray, np.ndarray]:
    """Return picture, silhouette, landmarks and the true line (200, 2)."""
    rng = np.random.default_rng(back.seed)
    size = (int(back.trunk * 2.0), int(back.trunk * 1.2))  # width, height
    middle = np.array([size[0] / 2, size[1] * 0.45])
    angle = np.radians(back.tilt_deg)
    along = np.array([np.cos(angle), np.sin(angle)]) * back.trunk
    upward = np.array([along[1], -along[0]])

    yy, xx = np.mgrid[0 : size[1], 0 : size[0]].astype(float)
    rel = np.stack([xx, yy], -1) - middle
    share = rel @ along / back.trunk**2 + 0.5
    height = rel @ upward / back.trunk**2
    # beyond the ends the back falls away to neck and rump
    reach = np.clip(share, -0.15, 1.15)
    top = top_line(back, reach) - 2.0 * np.maximum(np.abs(share - 0.5) - 0.65, 0)
    depth_px = (top - height) * back.trunk
    cover = np.clip(depth_px + 0.5, 0, 1) * (height > -0.5)

    coat = np.broadcast_to(np.array(back.coat, float), (*xx.shape, 3)).copy()
    coat += 10 * np.sin(xx / 9)[..., None]
    if back.spots:
        pattern = cv2.GaussianBlur(rng.normal(0, 1, xx.shape), (0, 0), back.trunk / 14)
        coat[pattern > 0.3 * pattern.std()] = (235, 238, 240)
    scene = np.broadcast_to(np.array(back.behind, float), coat.shape).copy()
    scene += 12 * np.sin(xx / 23)[..., None] + 8 * np.cos(yy / 7)[..., None]
    picture = cover[..., None] * coat + (1 - cover[..., None]) * scene
    if back.rail:
        bar = (
            np.abs(yy - middle[1] - 0.03 * back.trunk + 0.12 * (xx - middle[0])) < 0.02 * back.trunk
        )
        picture[bar] = (90, 100, 190)
    for _ in range(back.flies):
        spot = middle + (rng.random() - 0.5) * along + rng.uniform(-0.02, 0.2) * upward
        cv2.circle(
            picture, tuple(int(v) for v in spot), max(1, int(back.trunk / 130)), (5, 5, 5), -1
        )
    picture = cv2.GaussianBlur(picture, (0, 0), back.blur_px)
    picture = np.clip(picture + rng.normal(0, back.noise, picture.shape), 0, 255).astype(np.uint8)

    cell = back.trunk / back.cells_per_trunk
    to_frame = np.array([[cell, 0.0, 1.3], [0.0, cell, 0.7]])
    grid = (int(size[1] / cell), int(size[0] / cell))
    soft = cv2.GaussianBlur(cover, (0, 0), 0.9 * cell)
    back_to = cv2.invertAffineTransform(to_frame)
    lowered = back_to.copy()
    lowered[1, 2] -= back.silhouette_lift
    coarse = cv2.warpAffine(soft, lowered, grid[::-1], flags=cv2.INTER_AREA)
    wave = cv2.GaussianBlur(rng.normal(0, 1, grid), (0, 0), 3.0)
    coarse = np.clip(coarse + 0.12 * wave / wave.std(), 0, 1).astype(np.float32)

    points = np.full((len(LANDMARKS), 2), np.nan)
    points[INDEX["tailhead"]] = middle - along / 2 + rng.normal(0, 1.0, 2)
    points[INDEX["withers"]] = middle + along / 2 + rng.normal(0, 1.0, 2)
    s = np.linspace(1, 0, 200)
    line = middle + (s - 0.5)[:, None] * along + top_line(back, s)[:, None] * upward
    return picture, Silhouette(probability=coarse, to_frame=to_frame), points, line
