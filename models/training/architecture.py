"""The network as a list of layers, read alike by the training code and by the exporter.

An EfficientNet-Lite0 backbone without its last stage, a light pyramid decoder, and one map per
output channel at half the input size. Only convolutions, ReLU6, additions and doubling by
bilinear interpolation occur, so that the exporter needs no more than these.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from gait.landmarks import LANDMARKS

INPUT_WIDTH, INPUT_HEIGHT = 320, 192
OUTPUT_STRIDE = 2
FOLD = 2
"""The exported file gives pictures of the input's size; each holds ``FOLD`` x ``FOLD`` maps, one in
each cell of a block so large."""
PIXEL_MEAN, PIXEL_SPREAD = 127.0, 128.0
"""The input is ``(rgb - mean) / spread`` with rgb in 0..255."""

CHANNELS: tuple[str, ...] = (
    *LANDMARKS,
    "silhouette",
    "centre",
    "box_left",
    "box_top",
    "box_right",
    "box_bottom",
)
SILHOUETTE, CENTRE, BOX = 18, 19, slice(20, 24)

BACKBONE: tuple[tuple[int, int, int, int, int], ...] = (
    # blocks, kernel, stride, expansion, channels
    (1, 3, 1, 1, 16),
    (2, 3, 2, 6, 24),
    (2, 5, 2, 6, 40),
    (3, 3, 2, 6, 80),
    (3, 5, 1, 6, 112),
    (4, 5, 2, 6, 192),
)
LATERALS: tuple[tuple[int, int], ...] = ((14, 96), (10, 96), (4, 96), (2, 96), (0, 32))
"""Backbone block whose output feeds the decoder, coarse to fine, and the decoder's width."""


@dataclass(frozen=True, kw_only=True)
class Layer:
    """One step of the network.

    Attributes
    ----------
    kind : str
        ``conv``, ``depthwise``, ``add`` or ``double`` (bilinear, half-pixel centres).
    name : str
        Of the step and of its result.
    sources : tuple of str
        Names of the results that go in; ``input`` is the picture.
    channels : int
        Channels of the result.
    kernel, stride : int
        Of a convolution. Padding is as in TensorFlow's ``SAME``.
    relu6 : bool
        Whether the result is clipped to 0..6.
    normalised : bool
        Whether batch normalisation follows while training (folded away on export).
    pretrained : tuple of str
        Keys of the convolution and normalisation in the published ImageNet weights; empty for
        layers that start from chance.
    """

    kind: str
    name: str
    sources: tuple[str, ...]
    channels: int
    kernel: int = 1
    stride: int = 1
    relu6: bool = False
    normalised: bool = True
    pretrained: tuple[str, ...] = ()


def unfolded(pictures: NDArray[np.float32]) -> NDArray[np.float32]:
    """Return the maps (h, w, 24) of the pictures (2 h, 2 w, 6) that the file gives."""
    height, width, count = pictures.shape
    blocks = pictures.reshape(height // FOLD, FOLD, width // FOLD, FOLD, count)
    return blocks.transpose(0, 2, 1, 3, 4).reshape(height // FOLD, width // FOLD, -1)


def read_weights(path: Path) -> tuple[dict[str, NDArray[Any]], str]:
    """Return the stored weights by layer, and the version."""
    with np.load(path) as stored:
        weights = {n: stored[n] for n in stored.files if n.endswith((".weight", ".bias"))}
        return weights, str(stored["version"])


def layers() -> tuple[Layer, ...]:
    """Return all steps in the order in which they are computed; the last is the output."""
    steps, outputs = _backbone()
    steps += _decoder(outputs)
    return tuple(steps)


def _backbone() -> tuple[list[Layer], list[str]]:
    stem = Layer(
        kind="conv",
        name="stem",
        sources=("input",),
        channels=32,
        kernel=3,
        stride=2,
        relu6=True,
        pretrained=("_conv_stem", "_bn0"),
    )
    steps, outputs, last = [stem], [], stem
    for repeats, kernel, stride, expansion, channels in BACKBONE:
        for repeat in range(repeats):
            block = _block(
                len(outputs), last, kernel, stride if repeat == 0 else 1, expansion, channels
            )
            steps += block
            last = block[-1]
            outputs.append(last.name)
    return steps, outputs


def _block(
    number: int, source: Layer, kernel: int, stride: int, expansion: int, channels: int
) -> list[Layer]:
    """Expand, look around in each channel, project; add the source where the shape allows."""
    steps, last = [], source
    name, key = f"block{number:02d}", f"_blocks.{number}"
    wide = source.channels * expansion
    if expansion > 1:
        last = Layer(
            kind="conv",
            name=f"{name}_expand",
            sources=(last.name,),
            channels=wide,
            relu6=True,
            pretrained=(f"{key}._expand_conv", f"{key}._bn0"),
        )
        steps.append(last)
    around = Layer(
        kind="depthwise",
        name=f"{name}_around",
        sources=(last.name,),
        channels=wide,
        kernel=kernel,
        stride=stride,
        relu6=True,
        pretrained=(f"{key}._depthwise_conv", f"{key}._bn1"),
    )
    project = Layer(
        kind="conv",
        name=f"{name}_project",
        sources=(around.name,),
        channels=channels,
        pretrained=(f"{key}._project_conv", f"{key}._bn2"),
    )
    steps += [around, project]
    if stride == 1 and source.channels == channels:
        steps.append(
            Layer(
                kind="add",
                name=f"{name}_sum",
                sources=(source.name, project.name),
                channels=channels,
            )
        )
    return steps


def _decoder(outputs: list[str]) -> list[Layer]:
    """From coarse to fine: double, add the backbone's finer result, look around."""
    steps: list[Layer] = []
    last, width_before = "", 0
    for level, (block, width) in enumerate(LATERALS):
        lateral = _conv(f"lateral{level}", outputs[block], width, relu6=False)
        steps.append(lateral)
        if level == 0:
            merged = lateral.name
        else:
            if width != width_before:
                steps.append(_conv(f"narrow{level}", last, width, relu6=False))
                last = steps[-1].name
            double = Layer(kind="double", name=f"double{level}", sources=(last,), channels=width)
            added = Layer(
                kind="add",
                name=f"merge{level}",
                sources=(lateral.name, double.name),
                channels=width,
            )
            steps += [double, added]
            merged = added.name
        steps += _look_around(level, merged, width)
        last, width_before = steps[-1].name, width
    head = Layer(
        kind="conv",
        name="maps",
        sources=(last,),
        channels=len(CHANNELS),
        normalised=False,
    )
    return [*steps, head]


def _conv(name: str, source: str, channels: int, *, relu6: bool) -> Layer:
    return Layer(kind="conv", name=name, sources=(source,), channels=channels, relu6=relu6)


def _look_around(level: int, source: str, width: int) -> list[Layer]:
    """Two rounds of 5 x 5 in each channel and mixing; one of 3 x 3 at the finest level."""
    steps, last = [], source
    finest = level == len(LATERALS) - 1
    for turn in range(1 if finest else 2):
        around = Layer(
            kind="depthwise",
            name=f"level{level}_around{turn}",
            sources=(last,),
            channels=width,
            kernel=3 if finest else 5,
            relu6=True,
        )
        mix = _conv(f"level{level}_mix{turn}", around.name, width, relu6=True)
        steps += [around, mix]
        last = mix.name
    return steps
