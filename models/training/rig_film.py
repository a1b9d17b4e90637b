"""Films of the rigged cow walking past, with her true landmarks and top line.

Half of them are taken by a fixed camera, 1280 x 720 at 30 frames a second, half by a hand that
turns with her, 854 x 480 at 24. Her hooves slip a little, as the walk of the rig has it, so the
share of stance means nothing on them. Run
``python -m models.training.rig_film RIG.glb PICTURES FOLDER FIRST_SEED LAST_SEED`` (a minute or two
each), then ``python -m models.training.on_rig_films FOLDER``.
"""

from __future__ import annotations

import json
import math
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import torch
from numpy.typing import NDArray
from torch import Tensor

from gait.landmarks import INDEX
from gait.track import BACK_LINE_POINTS
from models.training import render, shape
from models.training.dataset_names import pictures_kept_for_testing
from models.training.rig import (
    LANDMARKS_AT_REST,
    WALK_FRAMES,
    Rig,
    quaternion_matrix,
    read_rig,
)

POINTS = 350_000
COW_LENGTH = 7.5
"""Muzzle to tail, rig units."""
EYE_LINE, FLOOR_LINE = 0.45, 0.86
"""Where wall and floor meet, and where she treads, share of the frame's height."""
MOST_FRAMES = 360
DRIFT_PX = 0.8

Array = NDArray[Any]


@dataclass(frozen=True, kw_only=True)
class Walk:
    """How she walks: stride, s; nod of each joint of the neck, rad, its share of the stride."""

    stride_s: float
    nod: float
    nod_at: float
    carriage: float

    def bend(self, strides: float) -> float:
        """Return how far each joint of the neck is lowered."""
        return self.carriage + self.nod * math.cos(2 * math.pi * (strides - self.nod_at))


@dataclass(frozen=True, kw_only=True)
class Camera:
    """Where the camera stands, rig units, and how it films."""

    width: int
    height: int
    fps: float
    distance: float
    eye: float
    focal: float
    side: float
    turns: bool

    def project(self, place: Tensor, ground: float, shift: float) -> Tensor:
        """Return x, y px and depth of places (p, 3); she faces the right from her right side."""
        x, y, z = place[:, 0] * self.side, place[:, 1] - ground, place[:, 2]
        scale = self.focal / (self.distance - x)
        across = self.width / 2 - self.side * z * scale - shift
        floor = self.height * FLOOR_LINE - self.eye * self.focal / self.distance
        return torch.stack([across, (self.eye - y) * scale + floor, self.distance - x], 1)


def pose(rig: Rig, strides: float, bend: float) -> tuple[Tensor, Tensor, Tensor]:
    """Return node movements of the rig's walk at a share of the stride, head lowered by a bend."""
    frame = strides % 1 * WALK_FRAMES
    now, then, share = int(frame) % WALK_FRAMES, (int(frame) + 1) % WALK_FRAMES, frame % 1
    turn, next_turn = rig.walk_turn[now], rig.walk_turn[then]
    next_turn = next_turn * torch.sign((turn * next_turn).sum(-1, keepdim=True))
    matrix = quaternion_matrix(torch.lerp(turn, next_turn, share))[None].clone()
    for name, angle in (("Neck1", bend), ("Neck2", bend), ("Neck3", bend), ("Head", -1.6 * bend)):
        shape.turn_joint(rig, matrix, name, 0, torch.tensor([angle]))
    move = torch.lerp(rig.walk_move[now], rig.walk_move[then], share)
    return move[None], matrix, torch.lerp(rig.walk_scale[now], rig.walk_scale[then], share)[None]


class Walker:
    """One cow with a body and a coat of her own, in any phase of her walk."""

    def __init__(self, rig: Rig, seed: int, walk: Walk):
        self.rig, self.seed, self.walk = rig, seed, walk
        torch.manual_seed(seed)
        self.rest = shape.build(rig, 1)
        self.coat = render.coat(rig, 1, None)
        self.horn = rig.point_material == rig.materials.index("Horns")

    def at(self, strides: float) -> Tensor:
        """Return her vertices (1, v, 3); the same body each time."""
        moved = self.rig.skin(self.rest, *pose(self.rig, strides, self.walk.bend(strides)))
        torch.manual_seed(self.seed + 1)
        return shape.reshape(moved)

    def lit(self, normal: Tensor) -> Tensor:
        """Return the colours of her surface points under the same light each time."""
        torch.manual_seed(self.seed + 2)
        return render.light(self.coat, normal)[0]

    def tread(self) -> tuple[float, float]:
        """Return her speed, rig units a second, and the height of the ground."""
        names = [i for i, n in enumerate(LANDMARKS_AT_REST) if n.endswith("hoof")]
        phases = np.linspace(0, 1, 96, endpoint=False)
        feet = np.stack(
            [torch.cat([m[0, names] for m in self.rig.landmarks(self.at(p))]) for p in phases]
        )
        backwards = -np.gradient(feet[:, :, 2], axis=0) * len(phases) / self.walk.stride_s
        low = feet[:, :, 1] < np.quantile(feet[:, :, 1], 0.4, axis=0)
        return float(np.median(backwards[low])), float(feet[:, :, 1].min())


def backdrop(rng: np.random.Generator, pictures: list[Path], camera: Camera) -> Array:
    """Return a wall over a floor, three frames wide, each a blurred tinted photo, and rails."""
    size = 3 * camera.width, camera.height
    parts = []
    for path in rng.choice(np.array(pictures, object), 2):
        grey = cv2.resize(cv2.imread(str(path), cv2.IMREAD_GRAYSCALE), size)[..., None] / 255 - 0.5
        parts.append(0.5 * grey + rng.uniform(0.2, 0.7) + rng.uniform(-0.08, 0.08, 3))
    scene, line = parts[0], int(EYE_LINE * camera.height)
    scene[line:] = parts[1][line:]
    scene = cv2.GaussianBlur(scene.astype(np.float32), (0, 0), 2)
    if rng.random() < 0.5:
        for y in np.linspace(0.3 * line, 0.95 * line, 4):
            cv2.rectangle(scene, (0, int(y)), (size[0], int(y) + 6), rng.uniform(0.3, 0.7, 3), -1)
    return scene


def top_line(cover: Array, ends: Array) -> list[list[float]]:
    """Return the upper edge of a cover between the columns of two points, px."""
    across = np.linspace(*ends[:, 0], BACK_LINE_POINTS)
    columns = cover[:, across.round().astype(int).clip(0, cover.shape[1] - 1)] > 0.5
    return np.c_[across, columns.argmax(0) - 0.5].tolist()


def choose(rng: np.random.Generator) -> tuple[Walk, Camera]:
    """Draw a walk and a camera."""
    turns = bool(rng.random() < 0.5)
    width, height, fps, least, most = (
        (854, 480, 24.0, 260, 420) if turns else (1280, 720, 30.0, 380, 560)
    )
    distance = rng.uniform(16, 26)
    camera = Camera(
        width=width, height=height, fps=fps, distance=distance, eye=rng.uniform(2.0, 3.6),
        focal=rng.uniform(least, most) * distance / COW_LENGTH,
        side=float(rng.choice([-1.0, 1.0])), turns=turns,
    )  # fmt: skip
    walk = Walk(
        stride_s=rng.uniform(1.1, 1.6), nod=float(rng.choice([0, 0.02, 0.05, 0.08])),
        nod_at=rng.uniform(0, 1), carriage=rng.uniform(-0.12, 0.2),
    )  # fmt: skip
    return walk, camera


class Film:
    """A cow walking past a camera, frame by frame."""

    def __init__(self, cow: Walker, camera: Camera, scene: Array, rng: np.random.Generator):
        self.cow, self.camera, self.scene, self.rng = cow, camera, scene, rng
        self.size = camera.width, camera.height
        self.speed, self.ground = cow.tread()
        self.gain = rng.uniform(1.0, 1.8)

    def __iter__(self) -> Iterator[tuple[Array, dict[str, Any]]]:
        """Give picture and truth of each frame."""
        camera, drift = self.camera, 0.0
        span = camera.width * camera.distance / camera.focal
        way = 1.8 * span if camera.turns else span + 12
        for number in range(min(int(way / self.speed * camera.fps), MOST_FRAMES)):
            time_s = number / camera.fps
            along = self.speed * time_s - way / 2
            drift = 0.97 * drift + self.rng.normal(0, DRIFT_PX)
            middle = -camera.side * along * camera.focal / camera.distance
            shift = 0.85 * middle + 40 * math.sin(1.1 * time_s) + drift if camera.turns else 0.0
            yield self._shot(time_s, torch.tensor([0.0, 0.0, along]), shift)

    def _shot(self, time_s: float, along: Tensor, shift: float) -> tuple[Array, dict[str, Any]]:
        cow, camera = self.cow, self.camera
        vertex = cow.at(time_s / cow.walk.stride_s)
        place, normal = render.surface(cow.rig, vertex)
        shown = (normal[0, :, 0] * camera.side > render.AVERTED) & ~cow.horn
        pixel = camera.project(place[0] + along, self.ground, shift)
        drawn = render.splat(pixel[None], shown[None], self.size)
        rgba = render.gather(cow.lit(normal)[None] * self.gain, *drawn)[0]
        hers, cover = rgba[:3].permute(1, 2, 0).numpy(), rgba[3].numpy()
        marks = [
            camera.project(m[0] + along, self.ground, shift) for m in cow.rig.landmarks(vertex)
        ]
        points = render.name_sides(*(m[None] for m in marks))[0].numpy()
        across = pixel[shown, 0]
        whole = bool((across > 2).all() and (across < camera.width - 3).all())
        ends = points[[INDEX["withers"], INDEX["tailhead"]]]
        line = top_line(cover, ends) if whole else None
        truth = {"time_s": time_s, "points": points.tolist(), "top_line": line}
        return self._picture(hers, cover, shift), truth

    def _picture(self, hers: Array, cover: Array, shift: float) -> Array:
        share = cv2.GaussianBlur(cover, (0, 0), 0.7)[..., None]
        move = np.array([[1, 0, -self.size[0] - shift], [0, 1, 0]], np.float32)
        behind = cv2.warpAffine(self.scene, move, self.size)
        picture = behind * (1 - share) + cv2.GaussianBlur(hers, (0, 0), 0.7)[..., ::-1]
        picture = cv2.GaussianBlur(picture, (0, 0), 0.6)
        picture += self.rng.normal(0, 0.008, picture.shape).astype(np.float32)
        return (np.clip(picture, 0, 1) * 255).astype(np.uint8)


def main(rig_file: Path, pictures: Path, folder: Path, first: int, last: int) -> None:
    """Draw films and write their truth beside them."""
    torch.set_num_threads(1)  # the tensors are small: more threads would only wait for each other
    rig = Rig(read_rig(rig_file), "cpu", points=POINTS)
    unseen = pictures_kept_for_testing(pictures)
    folder.mkdir(parents=True, exist_ok=True)
    for seed in range(first, last + 1):
        rng = np.random.default_rng(seed)
        walk, camera = choose(rng)
        cow = Walker(rig, seed, walk)
        film, truth = folder / f"{seed}.mp4", []
        size = camera.width, camera.height
        writer = cv2.VideoWriter(str(film), cv2.VideoWriter.fourcc(*"mp4v"), camera.fps, size)
        for picture, one in Film(cow, camera, backdrop(rng, unseen, camera), rng):
            writer.write(picture)
            truth.append(one)
        writer.release()
        told = {"stride_duration_s": walk.stride_s, "frames": truth}
        film.with_suffix(".truth.json").write_text(json.dumps(told), "utf-8")
        print(film, len(truth), "frames", flush=True)


if __name__ == "__main__":
    with torch.no_grad():
        main(*map(Path, sys.argv[1:4]), *map(int, sys.argv[4:6]))
