"""A flat world of blue cows on a textured wall, and a network that sees exactly them."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass

import cv2
import numpy as np

from gait.clip import Frame
from gait.landmarks import INDEX, LANDMARKS
from gait.pose import Box, Sighting, Silhouette

WIDTH, HEIGHT, FPS = 640, 360, 25.0
LENGTH, TALL = 200, 120
FOCAL = 1.2 * WIDTH
GRID = (160, 96)

# share of length from the tail, share of height from the top
PLACES = {"muzzle": (1.0, 0.3), "poll": (0.92, 0.1), "withers": (0.7, 0.15)}
PLACES |= {"mid_back": (0.45, 0.15), "loin": (0.2, 0.15), "tailhead": (0.03, 0.15)}


@dataclass(frozen=True, kw_only=True)
class BlueCow:
    """A cow whose tail's place (px of the wall) is a function of time; ``ident`` is her colour."""

    ident: int
    tail_x: Callable[[float], float]
    top: int = 150
    faces: int = 1
    tall: int = TALL


def walking(
    ident: int, *, start_s: float = 0.0, speed: float = 160.0, faces: int = 1, top: int = 150
) -> BlueCow:
    """Return a cow that comes in at one side at ``start_s`` and leaves at the other."""
    first = -LENGTH - 10.0 if faces > 0 else WIDTH + LENGTH + 10.0
    return BlueCow(
        ident=ident, tail_x=lambda t: first + faces * speed * (t - start_s), faces=faces, top=top
    )


def wall(seed: int = 3, size: tuple[int, int] = (WIDTH * 3, HEIGHT * 3)) -> np.ndarray:
    """Return a wall with plenty of corners, without blue, larger than the picture."""
    rng = np.random.default_rng(seed)
    coarse = rng.integers(40, 200, (size[1] // 12, size[0] // 12, 1)).astype(np.uint8)
    grey = cv2.resize(coarse, size, interpolation=cv2.INTER_CUBIC)
    return np.repeat(grey[:, :, None], 3, axis=2)


def turn_homography(yaw: float, pitch: float = 0.0, roll: float = 0.0, zoom: float = 1.0):
    """Return the homography from frame px of a turned camera to frame px of the straight one.

    Angles in radians, focal length `FOCAL` px; written out here apart from the code under test.
    """
    cy, sy, cp, sp = np.cos(yaw), np.sin(yaw), np.cos(pitch), np.sin(pitch)
    about_y = np.array([[cy, 0, sy], [0, 1, 0], [-sy, 0, cy]])
    about_x = np.array([[1, 0, 0], [0, cp, -sp], [0, sp, cp]])
    about_z = np.array(
        [[np.cos(roll), -np.sin(roll), 0], [np.sin(roll), np.cos(roll), 0], [0, 0, 1]]
    )
    middle = ((WIDTH - 1) / 2, (HEIGHT - 1) / 2)
    inner = np.array([[FOCAL, 0, middle[0]], [0, FOCAL, middle[1]], [0, 0, 1]])
    zoomed = np.array([[FOCAL * zoom, 0, middle[0]], [0, FOCAL * zoom, middle[1]], [0, 0, 1]])
    whole = inner @ about_y @ about_x @ about_z @ np.linalg.inv(zoomed)
    return whole / whole[2, 2]


def see(canvas: np.ndarray, turn: np.ndarray, how: int = cv2.INTER_LINEAR) -> np.ndarray:
    """Return the frame a turned camera sees of a canvas three frames wide and high."""
    onto_canvas = np.array([[1, 0, WIDTH], [0, 1, HEIGHT], [0, 0, 1.0]]) @ turn
    return cv2.warpPerspective(
        canvas, onto_canvas, (WIDTH, HEIGHT), flags=how | cv2.WARP_INVERSE_MAP
    )


def film(
    cows: Sequence[BlueCow],
    seconds: float,
    *,
    yaw: Callable[[float], float] = lambda _: 0.0,
    fps: float = FPS,
) -> Iterator[Frame]:
    """Draw a film. ``yaw`` turns the camera, radians to the right, at a time."""
    ground = wall()
    still = see(ground, np.eye(3))
    for index in range(round(seconds * fps)):
        t = index / fps
        turn = yaw(t)
        if turn == 0.0:
            image = still.copy()
            for cow in cows:
                draw_cow(image, cow, cow.tail_x(t), cow.top)
        else:
            homography = turn_homography(turn)
            image = see(ground, homography)
            herd = np.zeros_like(ground)
            for cow in cows:
                draw_cow(herd, cow, cow.tail_x(t) + WIDTH, cow.top + HEIGHT)
            blue = see(herd, homography, cv2.INTER_NEAREST)
            image[blue[..., 0] > 0] = blue[blue[..., 0] > 0]
        yield Frame(index=index, time_s=t, image=image, brightness=float(image.mean()))


def draw_cow(image: np.ndarray, cow: BlueCow, tail: float, top: float) -> None:
    nose = tail + cow.faces * LENGTH
    neck = tail + cow.faces * 0.8 * LENGTH
    x = sorted((round(tail), round(nose)))
    y0, y1 = round(top), round(top) + cow.tall
    cv2.rectangle(image, (x[0], y0), (x[1], y1), (255, 0, 30 * cow.ident), -1)
    head = sorted((round(neck), round(nose)))
    cv2.rectangle(image, (head[0], y0), (head[1], y1), (255, 0, 30 * cow.ident + 10), -1)


class BlueNetwork:
    """Sees blue cows; counts how often it is asked."""

    tasks = 2

    def __init__(self) -> None:
        self.finds = self.looks = 0

    def find(self, image: np.ndarray) -> list[Box]:
        self.finds += 1
        idents = _idents(image)
        return [_box_of(idents == i) for i in np.unique(idents[idents > 0])]

    def look(self, image: np.ndarray, box: Box) -> Sighting:
        self.looks += 1
        room = 0.06 * box.width
        x0, y0 = max(int(box.x0 - room), 0), max(int(box.y0 - room), 0)
        part = _idents(image[y0 : max(int(box.y1 + room), 1), x0 : max(int(box.x1 + room), 1)])
        counts = np.bincount(part.ravel(), minlength=2) if part.size else np.zeros(2, int)
        points = np.zeros((len(LANDMARKS), 2))
        confidence = np.zeros(len(LANDMARKS))
        if counts[1:].max() == 0:
            empty = np.zeros((GRID[1], GRID[0]), np.float32)
            return _sighting(box, points, confidence, empty, np.eye(2, 3))
        ident = max(
            (int(i) for i in np.unique(part[part > 0])),
            key=lambda i: box.iou(_box_of(part == i).moved(x0, y0)),
        )
        mask = part == ident
        left, top, right, bottom = _bounds(mask)
        faces = _faces(image[y0:, x0:][: part.shape[0], : part.shape[1]], ident)
        for name, (along, down) in PLACES.items():
            x = left + along * (right - left) if faces > 0 else right - along * (right - left)
            points[INDEX[name]] = (x + x0, top + down * (bottom - top) + y0)
        confidence[:] = 0.9
        points[6:] = [(left + right) / 2 + x0, bottom + y0]
        scale = (part.shape[1] / GRID[0], part.shape[0] / GRID[1])
        probability = cv2.resize(mask.astype(np.float32), GRID, interpolation=cv2.INTER_AREA)
        to_frame = np.array(
            [
                [scale[0], 0, x0 + scale[0] / 2 - 0.5],
                [0, scale[1], y0 + scale[1] / 2 - 0.5],
            ]
        )
        return _sighting(box, points, confidence, probability, to_frame)


def _sighting(box, points, confidence, probability, to_frame) -> Sighting:
    silhouette = Silhouette(probability=probability, to_frame=to_frame)
    return Sighting(box=box, points=points, confidence=confidence, silhouette=silhouette)


def _idents(image: np.ndarray) -> np.ndarray:
    idents = np.zeros(image.shape[:2], np.uint8)
    blue = image[..., 0] > 240  # the wall is never as bright
    idents[blue] = (image[..., 2][blue] + 10) // 30
    return idents


def _faces(image: np.ndarray, ident: int) -> int:
    here = _idents(image) == ident
    head = here & (image[..., 2] % 30 == 10)
    if not head.any():
        return 1
    return 1 if np.nonzero(head)[1].mean() > np.nonzero(here)[1].mean() else -1


def _bounds(mask: np.ndarray) -> tuple[float, float, float, float]:
    rows, columns = np.nonzero(mask)
    return float(columns.min()), float(rows.min()), float(columns.max()), float(rows.max())


def _box_of(mask: np.ndarray) -> Box:
    x0, y0, x1, y1 = _bounds(mask)
    return Box(x0=x0, y0=y0, x1=x1, y1=y1, confidence=0.9)
