"""The network in PyTorch: built from ``architecture.layers``, trained, and folded for export."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import torch
from numpy.typing import NDArray
from torch import Tensor, nn
from torch.nn import functional

from models.training.architecture import PIXEL_MEAN, PIXEL_SPREAD, Layer, layers

NORM_EPSILON, NORM_MOMENTUM = 1e-3, 0.02


def pad_same(x: Tensor, kernel: int, stride: int) -> Tensor:
    """Pad as TensorFlow's ``SAME`` does: the odd pixel goes right and below."""
    pads = []
    for size in (x.shape[-1], x.shape[-2]):
        need = max(0, (-(-size // stride) - 1) * stride + kernel - size)
        pads += [need // 2, need - need // 2]
    return functional.pad(x, pads) if any(pads) else x


class CowMaps(nn.Module):
    """Picture in, 24 maps out.

    Parameters
    ----------
    folded : bool
        Whether batch normalisation has been folded into the convolutions, as in the exported
        file. Training uses the unfolded form.
    """

    def __init__(self, *, folded: bool = False) -> None:
        super().__init__()
        self.steps = layers()
        self.folded = folded
        self.convs = nn.ModuleDict()
        self.norms = nn.ModuleDict()
        width = {"input": 3}
        for step in self.steps:
            width[step.name] = step.channels
            if step.kind in ("conv", "depthwise"):
                groups = step.channels if step.kind == "depthwise" else 1
                self.convs[step.name] = nn.Conv2d(
                    width[step.sources[0]],
                    step.channels,
                    step.kernel,
                    step.stride,
                    padding=step.kernel // 2 if step.stride == 1 else 0,
                    groups=groups,
                    bias=folded or not step.normalised,
                )
                if step.normalised and not folded:
                    self.norms[step.name] = nn.BatchNorm2d(
                        step.channels, eps=NORM_EPSILON, momentum=NORM_MOMENTUM
                    )

    def forward(self, rgb: Tensor) -> Tensor:
        """Return raw maps (n, 24, 96, 160) of pictures (n, 3, 192, 320) with values 0..1."""
        results = {"input": (rgb * 255 - PIXEL_MEAN) / PIXEL_SPREAD}
        for step in self.steps:
            results[step.name] = self._compute(step, [results[s] for s in step.sources])
        return results[self.steps[-1].name]

    def _compute(self, step: Layer, inputs: list[Tensor]) -> Tensor:
        if step.kind == "add":
            return inputs[0] + inputs[1]
        if step.kind == "double":
            return functional.interpolate(
                inputs[0], scale_factor=2, mode="bilinear", align_corners=False
            )
        x = inputs[0] if step.stride == 1 else pad_same(inputs[0], step.kernel, step.stride)
        y = self.convs[step.name](x)
        if step.name in self.norms:
            y = self.norms[step.name](y)
        return functional.relu6(y) if step.relu6 else y

    def load_pretrained(self, weights: Mapping[str, Tensor]) -> None:
        """Start the backbone from published ImageNet weights."""
        for step in self.steps:
            if step.pretrained:
                conv, norm = step.pretrained
                self.convs[step.name].weight.data.copy_(weights[f"{conv}.weight"])
                state = {
                    k: weights[f"{norm}.{k}"]
                    for k in ("weight", "bias", "running_mean", "running_var")
                }
                self.norms[step.name].load_state_dict(state, strict=False)

    def fold(self) -> dict[str, NDArray[np.generic]]:
        """Return the weights with normalisation folded in, as stored for export.

        Returns
        -------
        dict
            ``<layer>.weight`` float16, laid out (out, height, width, in) or, depthwise,
            (1, height, width, channels); ``<layer>.bias`` float32 (out,).
        """
        stored: dict[str, NDArray[np.generic]] = {}
        for step in self.steps:
            if step.name not in self.convs:
                continue
            conv = self.convs[step.name]
            weight = conv.weight.detach().double()
            bias = torch.zeros(step.channels, dtype=torch.float64, device=weight.device)
            if conv.bias is not None:
                bias = conv.bias.detach().double()
            if step.name in self.norms:
                norm = self.norms[step.name]
                gain = norm.weight.detach().double() / torch.sqrt(
                    norm.running_var.double() + norm.eps
                )
                weight = weight * gain[:, None, None, None]
                bias = norm.bias.detach().double() + (bias - norm.running_mean.double()) * gain
            order = (1, 2, 3, 0) if step.kind == "depthwise" else (0, 2, 3, 1)
            stored[f"{step.name}.weight"] = weight.permute(order).cpu().numpy().astype(np.float16)
            stored[f"{step.name}.bias"] = bias.cpu().numpy().astype(np.float32)
        return stored

    def load_folded(self, stored: Mapping[str, NDArray[np.generic]]) -> None:
        """Take weights as ``fold`` stored them; only for a network built with ``folded``."""
        for step in self.steps:
            if step.name in self.convs:
                weight = torch.from_numpy(np.asarray(stored[f"{step.name}.weight"], np.float32))
                order = (3, 0, 1, 2) if step.kind == "depthwise" else (0, 3, 1, 2)
                self.convs[step.name].weight.data.copy_(weight.permute(order))
                bias = np.asarray(stored[f"{step.name}.bias"], np.float32)
                self.convs[step.name].bias.data.copy_(torch.from_numpy(bias))
