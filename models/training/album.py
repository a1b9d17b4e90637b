"""The training file opened on the device: photos, frames, backgrounds, mixed into batches."""

from __future__ import annotations

import io
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np
import torch
from numpy.typing import NDArray
from PIL import Image
from torch import Tensor
from torch.nn import functional

from models.training import alter, lens, scene, views
from models.training.dataset import CANVAS_HEIGHT, CANVAS_WIDTH
from models.training.render import HEIGHT, WIDTH, Cutouts, coverage_box, draw_cows
from models.training.rig import Rig

ZOOM = WIDTH / CANVAS_WIDTH
NEGATIVE_SHARE = 0.12
COW_FREE_FRAMES = 0.2
"""Share of the whole photos that show none but other animals."""


@dataclass(frozen=True, kw_only=True)
class Mixture:
    """Pictures of each sort in a batch."""

    rendered: int = 34
    cut_out: int = 18
    photo: int = 32
    view: int = 18
    photo_view: int = 10

    def times(self, factor: float) -> Mixture:
        """Return a mixture with every number multiplied, at least one of each sort."""
        return Mixture(**{k: max(1, round(v * factor)) for k, v in self.__dict__.items()})


def _unpack(arrays: Any, key: str) -> Tensor:
    data, ends = arrays[key], arrays[f"{key}_ends"]
    pictures = [
        np.asarray(Image.open(io.BytesIO(data[a:b].tobytes())).convert("RGB"))
        for a, b in pairwise(ends)
    ]
    return torch.from_numpy(np.stack(pictures)).permute(0, 3, 1, 2).contiguous()


class Album:
    """All training material.

    Parameters
    ----------
    path : Path
        As ``dataset.py`` wrote it.
    device : str
    points : int
        Surface points of the rendered cow.
    """

    def __init__(self, path: Path, device: str, points: int = 200_000) -> None:
        arrays = np.load(path)
        self.device = device
        rig: dict[str, NDArray[Any]] = {
            k.removeprefix("rig_"): arrays[k] for k in arrays.files if k.startswith("rig_")
        }
        self.rig = Rig(rig, device, points)
        self.photo = _unpack(arrays, "photo").to(device)
        mask = np.unpackbits(arrays["photo_mask"], axis=-1)[..., :CANVAS_WIDTH]
        self.mask = torch.from_numpy(mask).to(device)
        self.points = self._canvas_px(arrays["photo_points"])
        self.weight = self._tensor(arrays["photo_weight"])
        self.others = self._canvas_px(arrays["photo_others"])
        self.valid = self._canvas_px(arrays["photo_valid"])
        self.share = self._tensor(arrays["photo_share"])
        self.box = self._mask_boxes(mask)
        self.frame = _unpack(arrays, "frame").to(device)
        self.frame_boxes = self._tensor(arrays["frame_boxes"])
        self.frame_aspect = self._tensor(arrays["frame_aspect"])
        self.frame_is_empty = self.frame_boxes.isnan().all(-1).all(-1)
        self.frame_share = self._frame_shares()
        bare, negative = _unpack(arrays, "bare"), _unpack(arrays, "negative")
        repeat = max(1, round(NEGATIVE_SHARE * len(bare) / len(negative)))
        self.bare = torch.cat([bare, negative.repeat(repeat, 1, 1, 1)]).to(device)
        self.strange = self._tensor(arrays["strange"]).permute(0, 3, 1, 2) / 255
        self.textures = self._coat_patches()

    def _tensor(self, array: NDArray[Any]) -> Tensor:
        return torch.as_tensor(np.asarray(array, np.float32), device=self.device)

    def _canvas_px(self, array: NDArray[Any]) -> Tensor:
        """Canvas px to px of the enlarged canvas the pictures are made from."""
        return (self._tensor(array) + 0.5) * ZOOM - 0.5

    def _mask_boxes(self, mask: NDArray[Any]) -> Tensor:
        boxes = []
        for m in mask:
            rows, columns = np.nonzero(m.any(1))[0], np.nonzero(m.any(0))[0]
            boxes.append([columns[0], rows[0], columns[-1] + 1, rows[-1] + 1])
        return self._tensor(np.array(boxes)) * ZOOM - 0.5

    def _coat_patches(self) -> Tensor:
        """Pieces of the flank of each photographed cow."""
        patches = []
        for image, box in zip(self.photo, self.box / ZOOM, strict=True):
            x0, y0, x1, y1 = box.tolist()
            w, h = x1 - x0, y1 - y0
            piece = image[
                :,
                round(y0 + 0.18 * h) : round(y0 + 0.50 * h),
                round(x0 + 0.28 * w) : round(x0 + 0.68 * w),
            ]
            patches.append(functional.interpolate(piece[None].float() / 255, (72, 128))[0])
        return torch.stack(patches)

    def _frame_shares(self) -> Tensor:
        """Return how often each whole photo is shown: those without a cow a fixed share in all."""
        empty = self.frame_is_empty.float()
        return (
            COW_FREE_FRAMES * empty / empty.sum().clamp(min=1)
            + (1 - COW_FREE_FRAMES) * (1 - empty) / (1 - empty).sum()
        )

    def _whole_photos(self, count: int) -> scene.Scenes:
        """Return whole photos; those without a cow are bent, for they are few."""
        chosen = torch.multinomial(self.frame_share, count, replacement=True)
        photo = self.frame[chosen].float() / 255
        h, w = photo.shape[-2:]
        room = torch.tensor([0, 0, w - 1, h - 1], device=self.device).expand(count, 4)
        bent, _ = alter.bend(photo, torch.zeros(count, 1, 2, device=self.device), room)
        empty = self.frame_is_empty[chosen][:, None, None, None]
        photo = torch.where(empty, bent, photo)
        return views.photo_views(photo, self.frame_boxes[chosen], self.frame_aspect[chosen])

    def _choose(self, count: int) -> Tensor:
        return torch.multinomial(self.share, count, replacement=True)

    def _cutouts(self, index: Tensor) -> tuple[Cutouts, Tensor]:
        """Photos ``index`` enlarged and altered: the cows cut out, the photos (n, 3, 384, 640)."""
        size = (HEIGHT, WIDTH)
        photo = functional.interpolate(
            self.photo[index].float() / 255, size, mode="bilinear", align_corners=False
        )
        mask = functional.interpolate(
            self.mask[index][:, None].float(), size, mode="bilinear", align_corners=False
        )
        both, points = alter.bend(
            torch.cat([photo, mask], 1), self.points[index], self.valid[index]
        )
        sharp = ((both[:, 3:] - 0.5) * 3 + 0.5).clamp(0, 1)
        photo = alter.repaint(both[:, :3], sharp)
        cows = Cutouts(
            rgba=torch.cat([photo * sharp, sharp], 1),
            points=points,
            weight=self.weight[index],
            box=coverage_box(sharp[:, 0]),
        )
        return cows, photo

    def batch(self, mixture: Mixture) -> scene.Scenes:
        """Return a fresh batch of labelled pictures, as photographed."""
        rendered = draw_cows(self.rig, mixture.rendered, self.textures)
        cut, _ = self._cutouts(self._choose(mixture.cut_out))
        index = self._choose(mixture.photo)
        kept, photo = self._cutouts(index)
        cows = [rendered, cut, kept]
        target = Cutouts(**{k: torch.cat([getattr(c, k) for c in cows]) for k in rendered.__dict__})
        bank = scene.pyramid(torch.cat([rendered.rgba, cut.rgba]))
        bank_box = torch.cat([rendered.box, cut.box])
        behind = lens.backgrounds(self.bare, len(target) + mixture.view)
        stay = scene.PhotoSetting(photo=photo, valid=self.valid[index], others=self.others[index])
        parts = [
            scene.looks(
                target, bank, bank_box, behind[: len(target)], stay, lens.ALIKE, lens.EDGED
            ),
            views.views(behind[len(target) :], bank, bank_box, self.strange),
        ]
        parts.append(self._whole_photos(mixture.photo_view))
        joined = scene.join(parts)
        return scene.Scenes(**{**joined.__dict__, "image": lens.photograph(joined.image)})


assert HEIGHT * CANVAS_WIDTH == WIDTH * CANVAS_HEIGHT
