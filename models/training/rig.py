"""The rigged cow: read once from its glTF file, then posed and shaped at random on the GPU.

Rig space: x across the cow (left positive), y up, z towards the head; the ground is y = 0 and
the withers stand at about y = 4.5. Landmarks are skinned like vertices, so every pose and
every change of shape moves them along. Their places at rest were chosen by eye on enlarged
side views of the rig (``python -m models.training.rig RIG.glb PICTURE.png`` draws them); mid-back,
loin and tailhead lie where readers of 48 random cows put them.
"""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Any

import numpy as np
import torch
from numpy.typing import NDArray
from torch import Tensor
from torch.nn import functional

from gait.landmarks import LANDMARKS

WALK_FRAMES = 48
LANDMARKS_AT_REST: dict[str, tuple[float, float, float]] = {
    "muzzle": (0.0, 3.12, 5.08),
    "poll": (0.0, 4.47, 3.90),
    "withers": (0.0, 4.56, 1.67),
    "mid_back": (0.0, 4.44, -0.25),
    "loin": (0.0, 4.53, -1.36),
    "tailhead": (0.0, 4.33, -2.58),
    "carpus": (0.60, 1.20, 1.90),
    "fore_fetlock": (0.61, 0.40, 1.92),
    "fore_hoof": (0.61, -0.03, 2.12),
    "hock": (0.57, 1.40, -2.57),
    "hind_fetlock": (0.57, 0.40, -2.40),
    "hind_hoof": (0.57, -0.04, -2.21),
}
"""Of the left side (x > 0) for the legs."""
UDDER_CENTRE, UDDER_RADII = (0.0, 2.0, -1.45), (0.42, 0.45, 0.60)
LEGS: dict[str, tuple[str, ...]] = {
    "Front": ("FrontShoulder", "FrontUpperLeg", "FrontLowerLeg", "IKFrontLeg", "FF", "PoleTarget"),
    "Back": (
        "BackShoulder",
        "BackLeg",
        "BackUpperLeg",
        "BackLowerLeg",
        "IKBackLeg",
        "FFB",
        "PoleTargetBack",
    ),
}


def read_rig(path: Path) -> dict[str, NDArray[Any]]:
    """Read mesh, skin and walk cycle of the glTF binary as plain arrays.

    Returns
    -------
    dict
        ``vertex`` (v, 3), ``face`` (f, 3), ``joint`` (v, 4), ``weight`` (v, 4), ``material``
        (f,), ``materials``, ``inverse_bind`` (j, 4, 4), ``joints`` (j,), ``parent`` (n,),
        ``walk_move``/``walk_turn``/``walk_scale`` (48, n, ...), ``rest_*`` and ``names`` (n,).
    """
    from pygltflib import GLTF2

    file = GLTF2().load(str(path))
    parts: dict[str, list[NDArray[Any]]] = {k: [] for k in ("v", "f", "j", "w", "m")}
    offset = 0
    for primitive in file.meshes[0].primitives:
        vertex = _accessor(file, primitive.attributes.POSITION).astype(np.float32)
        face = _accessor(file, primitive.indices).reshape(-1, 3).astype(np.int64)
        parts["v"].append(vertex)
        parts["f"].append(face + offset)
        parts["j"].append(_accessor(file, primitive.attributes.JOINTS_0).astype(np.int64))
        parts["w"].append(_accessor(file, primitive.attributes.WEIGHTS_0).astype(np.float32))
        parts["m"].append(np.full(len(face), primitive.material))
        offset += len(vertex)
    weight = np.concatenate(parts["w"])
    skin = file.skins[0]
    parent = np.full(len(file.nodes), -1)
    for number, node in enumerate(file.nodes):
        parent[node.children or []] = number
    bind = _accessor(file, skin.inverseBindMatrices).reshape(-1, 4, 4).transpose(0, 2, 1)
    return {
        "vertex": np.concatenate(parts["v"]),
        "face": np.concatenate(parts["f"]),
        "joint": np.concatenate(parts["j"]),
        "weight": weight / weight.sum(1, keepdims=True),
        "material": np.concatenate(parts["m"]),
        "materials": np.array([m.name for m in file.materials]),
        "inverse_bind": bind.astype(np.float32),
        "joints": np.array(skin.joints),
        "parent": parent,
        "names": np.array([node.name for node in file.nodes]),
        **_walk_cycle(file),
    }


def _accessor(file: Any, number: int) -> NDArray[Any]:
    kinds = {5121: np.uint8, 5123: np.uint16, 5125: np.uint32, 5126: np.float32}
    widths = {"SCALAR": 1, "VEC2": 2, "VEC3": 3, "VEC4": 4, "MAT4": 16}
    accessor = file.accessors[number]
    view = file.bufferViews[accessor.bufferView]
    kind, width = np.dtype(kinds[accessor.componentType]), widths[accessor.type]
    start = (view.byteOffset or 0) + (accessor.byteOffset or 0)
    stride = view.byteStride or kind.itemsize * width
    rows = [
        np.frombuffer(file.binary_blob(), kind, width, start + i * stride)
        for i in range(accessor.count)
    ]
    return np.stack(rows)


def _walk_cycle(file: Any) -> dict[str, NDArray[Any]]:
    """Node movements of the walk, sampled evenly over one stride."""
    rest = {
        "move": np.array([n.translation or [0, 0, 0] for n in file.nodes], float),
        "turn": np.array([n.rotation or [0, 0, 0, 1] for n in file.nodes], float),
        "scale": np.array([n.scale or [1, 1, 1] for n in file.nodes], float),
    }
    walk = {k: np.repeat(v[None], WALK_FRAMES, 0) for k, v in rest.items()}
    animation = next(a for a in file.animations if a.name == "Walk")
    length = max(_accessor(file, s.input).max() for s in animation.samplers)
    times = np.linspace(0, length, WALK_FRAMES, endpoint=False)
    what = {"translation": "move", "rotation": "turn", "scale": "scale"}
    for channel in animation.channels:
        sampler = animation.samplers[channel.sampler]
        at, value = _accessor(file, sampler.input)[:, 0], _accessor(file, sampler.output)
        value = value.astype(float)
        if sampler.interpolation == "CUBICSPLINE":
            value = value.reshape(len(at), 3, -1)[:, 1]
        if channel.target.path == "rotation":
            for k in range(1, len(value)):
                value[k] *= np.sign(value[k] @ value[k - 1]) or 1.0
        track = np.stack([np.interp(times, at, column) for column in value.T], 1)
        walk[what[channel.target.path]][:, channel.target.node] = track
    walk["turn"] /= np.linalg.norm(walk["turn"], axis=-1, keepdims=True)
    out = {f"walk_{k}": v.astype(np.float32) for k, v in walk.items()}
    return out | {f"rest_{k}": v.astype(np.float32) for k, v in rest.items()}


def turn_about(axis: int, angle: Tensor) -> Tensor:
    """Return rotation matrices (..., 3, 3) about axis 0 (x), 1 (y) or 2 (z)."""
    matrix = torch.zeros(*angle.shape, 3, 3, device=angle.device)
    a, b = [(1, 2), (2, 0), (0, 1)][axis]
    matrix[..., axis, axis] = 1
    matrix[..., a, a] = matrix[..., b, b] = angle.cos()
    matrix[..., b, a], matrix[..., a, b] = angle.sin(), -angle.sin()
    return matrix


def quaternion_matrix(q: Tensor) -> Tensor:
    """Return rotation matrices of unit quaternions (..., 4) in x, y, z, w order."""
    x, y, z, w = functional.normalize(q, dim=-1).unbind(-1)
    rows = [
        [1 - 2 * (y * y + z * z), 2 * (x * y - z * w), 2 * (x * z + y * w)],
        [2 * (x * y + z * w), 1 - 2 * (x * x + z * z), 2 * (y * z - x * w)],
        [2 * (x * z - y * w), 2 * (y * z + x * w), 1 - 2 * (x * x + y * y)],
    ]
    return torch.stack([torch.stack(row, -1) for row in rows], -2)


class Rig:
    """The cow on the device, with surface points to draw and landmarks to learn.

    Parameters
    ----------
    arrays : dict
        As ``read_rig`` gave them.
    device : str
    points : int
        Surface points drawn; the more, the fewer holes.
    """

    def __init__(self, arrays: dict[str, NDArray[Any]], device: str, points: int = 200_000):
        self.device = device
        self.names = [str(n) for n in arrays["names"]]
        self.materials = [str(m) for m in arrays["materials"]]
        self.parent = arrays["parent"].tolist()
        self.order = self._parents_first()
        for name in ("inverse_bind", "joints", "walk_move", "walk_turn", "walk_scale"):
            setattr(self, name, torch.as_tensor(arrays[name], device=device))
        self.rest_move = torch.as_tensor(arrays["rest_move"], device=device)
        self.rest_turn = torch.as_tensor(arrays["rest_turn"], device=device)
        self._add_landmarks_and_udder(arrays)
        self._scatter_points(arrays, points)

    def _parents_first(self) -> list[int]:
        order: list[int] = []
        while len(order) < len(self.parent):
            order += [
                i for i, p in enumerate(self.parent) if i not in order and (p < 0 or p in order)
            ]
        return order

    def _add_landmarks_and_udder(self, arrays: dict[str, NDArray[Any]]) -> None:
        """Append udder vertices, then landmarks, to the vertices; all share the skinning."""
        vertex, joints = arrays["vertex"], len(arrays["joints"])
        dense = np.zeros((len(vertex), joints), np.float32)
        np.add.at(dense, (np.arange(len(vertex))[:, None], arrays["joint"]), arrays["weight"])
        udder, udder_face = _ellipsoid(UDDER_CENTRE, UDDER_RADII)
        torso = np.zeros((len(udder), joints), np.float32)
        torso[:, list(arrays["joints"]).index(self.names.index("Torso"))] = 1
        marks, mark_weights = [], []
        for side in (1, -1):
            for x, y, z in LANDMARKS_AT_REST.values():
                place = np.array([side * x, y, z], np.float32)
                away = np.linalg.norm(vertex - place, axis=1)
                nearest = np.argsort(away)[:12]
                share = 1 / (0.05 + away[nearest])
                marks.append(place)
                mark_weights.append(share @ dense[nearest] / share.sum())
        everything = np.concatenate([vertex, udder, np.array(marks)])
        self.vertex = torch.as_tensor(everything, dtype=torch.float32, device=self.device)
        weights = np.concatenate([dense, torso, np.array(mark_weights, np.float32)])
        self.weight = torch.as_tensor(weights, device=self.device)
        self.mesh_count = len(vertex) + len(udder)
        self.udder_rows = slice(len(vertex), self.mesh_count)
        faces = np.concatenate([arrays["face"], udder_face + len(vertex)])
        self.face = torch.as_tensor(faces, device=self.device)
        self.materials.append("Udder")
        udder_material = np.full(len(udder_face), len(self.materials) - 1)
        self.face_material = np.concatenate([arrays["material"], udder_material])
        _, welded = np.unique(everything[: self.mesh_count].round(4), axis=0, return_inverse=True)
        self.welded = torch.as_tensor(welded.reshape(-1), device=self.device)
        self.welded_count = int(welded.max()) + 1

    def _scatter_points(self, arrays: dict[str, NDArray[Any]], points: int) -> None:
        corner = self.vertex[self.face].cpu().numpy()
        area = np.linalg.norm(
            np.cross(corner[:, 1] - corner[:, 0], corner[:, 2] - corner[:, 0]), axis=1
        )
        # Legs and head are thin or detailed: a denser cover keeps them free of holes.
        detail = np.where(corner.mean(1)[:, 1] < 2.0, 1.6, 1.0)
        detail = np.where(corner.mean(1)[:, 2] > 3.4, 1.3, detail)
        rng = np.random.default_rng(0)
        chosen = rng.choice(len(area), points, p=area * detail / (area * detail).sum())
        uv = rng.random((points, 2))
        uv[uv.sum(1) > 1] = 1 - uv[uv.sum(1) > 1]
        self.point_face = torch.as_tensor(chosen, device=self.device)
        bary = np.c_[1 - uv.sum(1), uv].astype(np.float32)
        self.point_bary = torch.as_tensor(bary, device=self.device)[..., None]
        self.point_material = torch.as_tensor(self.face_material[chosen], device=self.device)
        self.point_rest = (self.vertex[self.face[self.point_face]] * self.point_bary).sum(1)

    def skin(self, at_rest: Tensor, move: Tensor, turn: Tensor, scale: Tensor) -> Tensor:
        """Move vertices (b, v, 3) with the skeleton given by node movements (b, n, ...)."""
        local = torch.zeros(*move.shape[:2], 4, 4, device=self.device)
        local[..., :3, :3] = turn * scale[..., None, :]
        local[..., :3, 3] = move
        local[..., 3, 3] = 1
        world: dict[int, Tensor] = {}
        for node in self.order:
            parent = self.parent[node]
            world[node] = local[:, node] if parent < 0 else world[parent] @ local[:, node]
        stacked = torch.stack([world[i] for i in range(len(self.parent))], 1)
        bones = (stacked[:, self.joints] @ self.inverse_bind).flatten(2)
        matrix = (self.weight @ bones).unflatten(2, (4, 4))
        return (matrix[..., :3, :3] @ at_rest[..., None])[..., 0] + matrix[..., :3, 3]

    def normals(self, vertex: Tensor) -> Tensor:
        """Return smooth vertex normals (b, v, 3) of the mesh part of the vertices."""
        corner = vertex[:, self.face]
        face_normal = torch.cross(
            corner[:, :, 1] - corner[:, :, 0], corner[:, :, 2] - corner[:, :, 0], dim=-1
        )
        total = torch.zeros(len(vertex), self.welded_count, 3, device=self.device)
        target = self.welded[self.face]
        for k in range(3):
            total.index_add_(1, target[:, k], face_normal)
        return functional.normalize(total, dim=-1)[:, self.welded]

    def landmarks(self, vertex: Tensor) -> tuple[Tensor, Tensor]:
        """Return landmark places (b, 12, 3) of the left and of the right side, in rest order."""
        marks = vertex[:, self.mesh_count :].unflatten(1, (2, len(LANDMARKS_AT_REST)))
        return marks[:, 0], marks[:, 1]


def _ellipsoid(
    centre: tuple[float, ...], radii: tuple[float, ...]
) -> tuple[NDArray[np.float32], NDArray[np.int64]]:
    rows, columns = 9, 16
    polar, around = np.meshgrid(
        np.linspace(0.05, np.pi - 0.05, rows), np.linspace(0, 2 * np.pi, columns, endpoint=False)
    )
    unit = np.stack(
        [np.sin(polar) * np.cos(around), np.cos(polar), np.sin(polar) * np.sin(around)], -1
    ).reshape(-1, 3)
    faces = []
    for c in range(columns):
        for r in range(rows - 1):
            a, b = c * rows + r, ((c + 1) % columns) * rows + r
            faces += [(a, b, a + 1), (b, b + 1, a + 1)]
    return (unit * radii + centre).astype(np.float32), np.array(faces, np.int64)


def main(rig_path: Path, picture: Path) -> None:
    """Draw the rig at rest from the side, enlarged, with the landmarks chosen on it."""
    import cv2

    rig = Rig(read_rig(rig_path), "cpu", points=10)
    corner, scale = rig.vertex[rig.face].numpy(), 190.0
    canvas = np.full((1000, 1640, 3), 255, np.uint8)
    to_px = np.array([[scale, 0.0], [0.0, -scale]])

    def place(p: NDArray[np.float32]) -> NDArray[np.int32]:
        return (p[..., [2, 1]] @ to_px + (620, 930)).round().astype(np.int32)

    for face in np.argsort(corner.mean(1)[:, 0]):
        normal = np.cross(corner[face, 1] - corner[face, 0], corner[face, 2] - corner[face, 0])
        normal /= np.linalg.norm(normal) + 1e-9
        grey = int(110 + 90 * abs(normal[1]) + 40 * normal[0])
        cv2.fillConvexPoly(canvas, place(corner[face]), (grey, grey, grey), cv2.LINE_AA)
    for name, at in LANDMARKS_AT_REST.items():
        x, y = place(np.array(at, np.float32)).tolist()
        cv2.circle(canvas, (x, y), 4, (0, 0, 255), -1)
        cv2.putText(canvas, name, (x + 6, y - 6), 0, 0.5, (0, 0, 200), 1)
    cv2.imwrite(str(picture), canvas)


if __name__ == "__main__":
    main(Path(sys.argv[1]), Path(sys.argv[2]))

assert set(LANDMARKS_AT_REST) <= {n.removeprefix("near_").removeprefix("far_") for n in LANDMARKS}
