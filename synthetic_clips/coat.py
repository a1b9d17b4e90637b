"""The cow's coat as one picture laid over all parts: patches, skin, hooves, dirt and hair.

Colour is decided by where a spot lies on the standing cow, so patches run on from part to part
and stay on her while she moves. Colours are BGR, 0 to 255.
"""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from .mesh import PARTS, grids
from .pose import pose_at
from .scene import Cow
from .walk import Floats, Walk

SIZE = 1024
"""Width and height of the coat picture in pixels."""

_DARK = {
    "black_white": (30, 27, 26),
    "red_white": (46, 60, 104),
    "black": (30, 27, 27),
    "brown": (74, 92, 116),
    "fawn": (96, 126, 160),
    "red": (50, 72, 122),
    "grey": (112, 118, 122),
    "white": (190, 202, 208),
}
_WHITE = (206, 214, 220)
_SKIN = (138, 150, 200)
_MUD = (52, 68, 84)


def paint(cow: Cow) -> NDArray[np.uint8]:
    """Return the coat picture (SIZE, SIZE, 3) uint8 BGR of a cow; the same seed, the same coat."""
    rng = np.random.default_rng((cow.seed, 31))
    place, part_of = _standing_places(cow)
    # Patches differ from side to side but run on from the trunk to a thigh lying over it.
    flat = place.copy()
    flat[..., 1] = 0.15 * np.tanh(place[..., 1] / 0.05)
    dark = _dark_share(cow, place, flat, part_of, rng)[..., None]
    tone = _noise(place, rng, 0.5, 6)[..., None] * 0.06
    picture = dark * (np.array(_DARK[cow.coat]) * (1 + tone * 2)) + (1 - dark) * (
        np.array(_WHITE) * (1 + tone)
    )
    picture = _shade_coat(picture, cow, place)
    picture = _paint_head(picture, cow, place, part_of)
    picture = _paint_parts(picture, cow, part_of)
    picture = _paint_dirt(picture, cow, place, part_of, rng)
    hair = rng.normal(0, 1, picture.shape[:2]).astype(np.float32)
    hair = 0.6 * hair + 2.5 * cv2.GaussianBlur(hair, (0, 0), sigmaX=3.0, sigmaY=0.9)
    picture = picture * (1 + 0.045 * hair[..., None]) + 2.0 * hair[..., None]
    return np.clip(picture, 4, 252).astype(np.uint8)


def _standing_places(cow: Cow) -> tuple[Floats, NDArray[np.int16]]:
    """Place (SIZE, SIZE, 3) of each spot on the standing cow in withers heights, and its part."""
    still = Cow(
        **{
            **cow.__dict__,
            "action": "stand",
            "heading": "right",
            "head_turn_deg": 0.0,
            "seed": cow.seed,
            "head_height_ratio": 1.0,
        }
    )
    skin = grids(pose_at(Walk(still, 1.0), 0.0))
    place = np.zeros((SIZE, SIZE, 3))
    part_of = np.full((SIZE, SIZE), -1, dtype=np.int16)
    for number, part in enumerate(PARTS):
        u0, v0, u1, v1 = (round(v * (SIZE - 1)) for v in part.patch)
        grid = skin[part.name].transpose(1, 0, 2) / cow.withers_height_m
        # Vertices lie on the patch's border, pixel centres too: sample the grid end to end.
        x, y = np.meshgrid(
            np.linspace(0, part.rings - 1, u1 - u0 + 1, dtype=np.float32),
            np.linspace(0, part.around - 1, v1 - v0 + 1, dtype=np.float32),
        )
        filled = cv2.remap(grid.astype(np.float32), x, y, cv2.INTER_LINEAR)
        top, left = max(v0 - 4, 0), max(u0 - 4, 0)
        padded = cv2.copyMakeBorder(filled, v0 - top, 4, u0 - left, 4, cv2.BORDER_REPLICATE)[
            : SIZE - top, : SIZE - left
        ]
        bottom, right = top + padded.shape[0], left + padded.shape[1]
        place[top:bottom, left:right] = padded
        part_of[top:bottom, left:right] = number
    return place, part_of


def _noise(place: Floats, rng: np.random.Generator, wavelength: float, waves: int) -> Floats:
    """Smooth noise of unit spread over the cow; wavelength in withers heights."""
    coarse = (SIZE // 4, SIZE // 4)
    small = cv2.resize(place, coarse, interpolation=cv2.INTER_AREA).astype(np.float32)
    direction = rng.normal(size=(waves, 3))
    direction /= np.linalg.norm(direction, axis=1, keepdims=True)
    length = wavelength * rng.uniform(0.6, 1.8, waves)
    wave = (2 * np.pi * direction / length[:, None]).T.astype(np.float32)
    angle = small @ wave + rng.uniform(0, 6.28, waves).astype(np.float32)
    total = np.cos(angle).sum(-1) / np.float32(np.sqrt(waves / 2))
    return np.asarray(cv2.resize(total, (SIZE, SIZE), interpolation=cv2.INTER_CUBIC))


def _is_part(part_of: NDArray[np.int16], *starts: str) -> NDArray[np.bool_]:
    numbers = [i for i, part in enumerate(PARTS) if part.name.startswith(starts)]
    return np.isin(part_of, numbers)


def _dark_share(
    cow: Cow,
    place: Floats,
    flat: Floats,
    part_of: NDArray[np.int16],
    rng: np.random.Generator,
) -> Floats:
    """How dark each spot of the coat is, 0 white to 1 coloured."""
    if cow.coat not in ("black_white", "red_white"):
        return np.ones(place.shape[:2])
    field = _noise(flat, rng, 0.75, 24) + 0.35 * _noise(flat, rng, 0.22, 16)
    field += 0.08 * _noise(flat, rng, 0.06, 16)
    trunk = _is_part(part_of, "trunk")
    field -= np.quantile(field[trunk], 1 - cow.dark_share)
    low = np.clip((0.42 - place[..., 2]) / 0.15, 0, 1)
    field -= 1.6 * low * _is_part(part_of, "leg", "udder", "trunk")
    head = _is_part(part_of, "head")
    field += head * (1.2 - 3.2 * np.exp(-((place[..., 1] / 0.022) ** 2)))
    field += 1.5 * _is_part(part_of, "ear")
    field -= 2.0 * _is_part(part_of, "tail") * (place[..., 2] < 0.5)
    return 1 / (1 + np.exp(-np.clip(field / 0.02, -40, 40)))


def _shade_coat(picture: Floats, cow: Cow, place: Floats) -> Floats:
    """Darker points and paler belly of the self-coloured breeds."""
    if cow.coat in ("black_white", "red_white", "black", "white"):
        return picture
    height = place[..., 2]
    ends = np.clip((0.35 - height) / 0.25, 0, 1) + np.clip(
        (place[..., 0] - cow.trunk_length - 0.2) / 0.4, 0, 1
    )
    pale = np.exp(-(((height - 0.45) / 0.12) ** 2)) * (1 - np.clip(ends, 0, 1))
    return picture * (1 - 0.45 * np.clip(ends, 0, 1) + 0.25 * pale)[..., None]


def _paint_head(picture: Floats, cow: Cow, place: Floats, part_of: NDArray[np.int16]) -> Floats:
    """Eyes, nostrils, bare muzzle, and the pale ring of brown breeds."""
    part = next(part for part in PARTS if part.name == "head")
    u0, v0, u1, v1 = (round(v * (SIZE - 1)) for v in part.patch)
    along, around = np.meshgrid(np.linspace(0, 1, u1 - u0 + 1), np.linspace(-1, 1, v1 - v0 + 1))
    view = picture[v0 : v1 + 1, u0 : u1 + 1]
    muzzle = 1 / (1 + np.exp(-(along - 0.80) / 0.012))
    skin = np.array((60, 62, 70) if cow.coat in ("black", "brown", "fawn", "grey") else _SKIN)
    if cow.coat in ("brown", "fawn", "grey"):
        ring = np.exp(-(((along - 0.76) / 0.05) ** 2))[..., None]
        view[:] = view * (1 - 0.8 * ring) + np.array((170, 190, 205)) * 0.8 * ring
    view[:] = view * (1 - 0.85 * muzzle[..., None]) + skin * 0.85 * muzzle[..., None]
    side = np.abs(around)
    for x, y, wide, high, colour in (
        (0.405, 0.42, 0.030, 0.050, (36, 40, 48)),
        (0.405, 0.42, 0.020, 0.032, (14, 14, 16)),
        (0.405, 0.405, 0.005, 0.008, (190, 190, 190)),
        (0.885, 0.30, 0.018, 0.060, (24, 24, 34)),
        (0.875, 0.66, 0.075, 0.012, (40, 40, 52)),
    ):
        spot = np.exp(-((((along - x) / wide) ** 2 + ((side - y) / high) ** 2) ** 2))[..., None]
        view[:] = view * (1 - spot) + np.array(colour) * spot
    return picture


def _paint_parts(picture: Floats, cow: Cow, part_of: NDArray[np.int16]) -> Floats:
    """Horn-coloured hooves and horns, bare udder."""
    hoof, horn = _is_part(part_of, "hoof"), _is_part(part_of, "horn")
    picture[hoof] = 0.15 * picture[hoof] + 0.85 * np.array((48, 58, 66))
    picture[horn] = (120, 150, 165)
    udder = _is_part(part_of, "udder")
    picture[udder] = 0.35 * picture[udder] + 0.65 * np.array(_SKIN)
    return picture


def _paint_dirt(
    picture: Floats, cow: Cow, place: Floats, part_of: NDArray[np.int16], rng: np.random.Generator
) -> Floats:
    """Mud on the lower legs, a splash on flank and tail switch."""
    height = place[..., 2]
    reach = 0.10 + 0.30 * cow.dirt
    ragged = 0.10 * _noise(place, rng, 0.10, 14) + 0.05 * _noise(place, rng, 0.04, 14)
    amount = np.clip((reach - height + ragged * cow.dirt * 2) / 0.12, 0, 1)
    splash = np.clip(_noise(place, rng, 0.12, 14) - 2.2 + cow.dirt, 0, 1)
    splash *= np.exp(-(((height - 0.55) / 0.2) ** 2)) * (place[..., 0] < 0.45)
    amount = np.clip(0.85 * amount + 0.6 * cow.dirt * splash, 0, 0.92)[..., None]
    amount = amount * (0.35 + 0.65 * min(1.0, 1.5 * cow.dirt))
    return picture * (1 - amount) + np.array(_MUD) * amount
