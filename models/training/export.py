"""Write the stored weights as a TensorFlow Lite file that MediaPipe's ImageSegmenter runs.

No converter is needed: the few operations used are written with flatbuffers and the schema in
the mediapipe package. The same weights always give the same bytes.

Run ``python -m models.training.export`` from the project root.
"""

from __future__ import annotations

import hashlib
import json
import sys
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import flatbuffers
import numpy as np
from mediapipe.tasks.metadata import image_segmenter_metadata_schema_py_generated as segmenter
from mediapipe.tasks.metadata import metadata_schema_py_generated as metadata
from mediapipe.tasks.metadata import schema_py_generated as tflite
from numpy.typing import NDArray

from models.training.architecture import (
    CHANNELS,
    FOLD,
    INPUT_HEIGHT,
    INPUT_WIDTH,
    OUTPUT_STRIDE,
    PIXEL_MEAN,
    PIXEL_SPREAD,
    Layer,
    layers,
    read_weights,
)

MODELS = Path(__file__).resolve().parent.parent
CROP_GROWTH = 0.24
"""Width and height of a box grow by this share before it is looked into: 12 % on each side."""
FINDER_THRESHOLD = 0.5
"""Least height of a peak of the centre map that counts as a cow: well below the least sure cow of
the annotated training photos (0.55)."""
FLOAT32, INT32 = 0, 2


class _Graph:
    """Gathers tensors, buffers and operators of the one subgraph."""

    def __init__(self) -> None:
        self.buffers: list[bytes] = [b""]
        self.tensors: list[Any] = []
        self.operators: list[Any] = []
        self.codes: list[int] = []
        self.index: dict[str, int] = {}
        self.shape: dict[str, tuple[int, int, int]] = {}

    def tensor(self, name: str, shape: tuple[int, ...], kind: int, data: bytes = b"") -> int:
        tensor = tflite.TensorT()
        tensor.name, tensor.shape, tensor.type = name, list(shape), kind
        tensor.buffer = 0
        if data:
            tensor.buffer = len(self.buffers)
            self.buffers.append(data)
        self.tensors.append(tensor)
        self.index[name] = len(self.tensors) - 1
        return self.index[name]

    def operator(
        self, code: int, inputs: list[int], output: int, options_kind: int, options: Any
    ) -> None:
        if code not in self.codes:
            self.codes.append(code)
        op = tflite.OperatorT()
        op.opcodeIndex = self.codes.index(code)
        op.inputs, op.outputs = inputs, [output]
        op.builtinOptionsType, op.builtinOptions = options_kind, options
        self.operators.append(op)

    def result(self, step: Layer, height: int, width: int) -> int:
        self.shape[step.name] = (height, width, step.channels)
        return self.tensor(step.name, (1, height, width, step.channels), FLOAT32)


def _add_convolution(graph: _Graph, step: Layer, stored: Mapping[str, NDArray[Any]]) -> None:
    weight = np.ascontiguousarray(stored[f"{step.name}.weight"], np.float32)
    bias = np.ascontiguousarray(stored[f"{step.name}.bias"], np.float32)
    full = graph.tensor(f"{step.name}.weight", weight.shape, FLOAT32, weight.tobytes())
    offset = graph.tensor(f"{step.name}.bias", bias.shape, FLOAT32, bias.tobytes())
    depthwise = step.kind == "depthwise"
    options = tflite.DepthwiseConv2DOptionsT() if depthwise else tflite.Conv2DOptionsT()
    options.padding = tflite.Padding.SAME
    options.strideW = options.strideH = step.stride
    options.dilationWFactor = options.dilationHFactor = 1
    activation = tflite.ActivationFunctionType
    options.fusedActivationFunction = activation.RELU6 if step.relu6 else activation.NONE
    if depthwise:
        options.depthMultiplier = 1
    source = step.sources[0]
    height, width, _ = graph.shape[source]
    out = graph.result(step, -(-height // step.stride), -(-width // step.stride))
    builtin, kinds = tflite.BuiltinOperator, tflite.BuiltinOptions
    graph.operator(
        builtin.DEPTHWISE_CONV_2D if depthwise else builtin.CONV_2D,
        [graph.index[source], full, offset],
        out,
        kinds.DepthwiseConv2DOptions if depthwise else kinds.Conv2DOptions,
        options,
    )


def _add_sum(graph: _Graph, step: Layer) -> None:
    height, width, _ = graph.shape[step.sources[0]]
    inputs = [graph.index[s] for s in step.sources]
    graph.operator(
        tflite.BuiltinOperator.ADD,
        inputs,
        graph.result(step, height, width),
        tflite.BuiltinOptions.AddOptions,
        tflite.AddOptionsT(),
    )


def _add_doubling(graph: _Graph, step: Layer) -> None:
    height, width, _ = graph.shape[step.sources[0]]
    size = np.array([2 * height, 2 * width], np.int32)
    size_index = graph.tensor(f"{step.name}.size", size.shape, INT32, size.tobytes())
    options = tflite.ResizeBilinearOptionsT()
    options.alignCorners, options.halfPixelCenters = False, True
    graph.operator(
        tflite.BuiltinOperator.RESIZE_BILINEAR,
        [graph.index[step.sources[0]], size_index],
        graph.result(step, 2 * height, 2 * width),
        tflite.BuiltinOptions.ResizeBilinearOptions,
        options,
    )


def _add_folding(graph: _Graph, source: str) -> str:
    """Spread the maps over a quarter as many pictures of the input's size.

    MediaPipe hands out every channel as a picture of the input's size. Blowing 24 small maps up
    costs it more than the layers that made them, and the way back blurs them.
    """
    height, width, channels = graph.shape[source]
    out = graph.tensor("folded", (1, FOLD * height, FOLD * width, channels // FOLD**2), FLOAT32)
    options = tflite.DepthToSpaceOptionsT()
    options.blockSize = FOLD
    graph.operator(
        tflite.BuiltinOperator.DEPTH_TO_SPACE,
        [graph.index[source]],
        out,
        tflite.BuiltinOptions.DepthToSpaceOptions,
        options,
    )
    return "folded"


def _graph(stored: Mapping[str, NDArray[Any]]) -> tuple[_Graph, str]:
    graph, steps = _Graph(), layers()
    graph.tensor("input", (1, INPUT_HEIGHT, INPUT_WIDTH, 3), FLOAT32)
    graph.shape["input"] = (INPUT_HEIGHT, INPUT_WIDTH, 3)
    for step in steps:
        if step.kind == "add":
            _add_sum(graph, step)
        elif step.kind == "double":
            _add_doubling(graph, step)
        else:
            _add_convolution(graph, step, stored)
    return graph, _add_folding(graph, steps[-1].name)


def _pack(root: Any, identifier: bytes) -> bytes:
    builder = flatbuffers.Builder(1 << 20)
    builder.Finish(root.Pack(builder), identifier)
    return bytes(builder.Output())


def geometry() -> dict[str, object]:
    """Return what a reader of the maps must know; written into the file and onto the card."""
    return {
        "input": {"width": INPUT_WIDTH, "height": INPUT_HEIGHT, "colour": "RGB"},
        "output": {"stride": OUTPUT_STRIDE, "fold": FOLD, "channels": list(CHANNELS)},
        "box_unit": "input width",
        "crop_growth": CROP_GROWTH,
    }


def _metadata(version: str) -> bytes:
    normal = metadata.ProcessUnitT()
    normal.optionsType = metadata.ProcessUnitOptions.NormalizationOptions
    normal.options = metadata.NormalizationOptionsT()
    normal.options.mean, normal.options.std = [PIXEL_MEAN], [PIXEL_SPREAD]
    colour = metadata.ContentT()
    colour.contentPropertiesType = metadata.ContentProperties.ImageProperties
    colour.contentProperties = metadata.ImagePropertiesT()
    colour.contentProperties.colorSpace = metadata.ColorSpaceType.RGB
    picture, maps = metadata.TensorMetadataT(), metadata.TensorMetadataT()
    picture.name, picture.content, picture.processUnits = "image", colour, [normal]
    maps.name = "maps"
    activation = segmenter.ImageSegmenterOptionsT()
    activation.activation = segmenter.Activation.NONE
    custom = metadata.CustomMetadataT()
    custom.name = "SEGMENTER_METADATA"
    custom.data = np.frombuffer(_pack(activation, b"V001"), np.uint8)
    graph = metadata.SubGraphMetadataT()
    graph.inputTensorMetadata, graph.outputTensorMetadata = [picture], [maps]
    graph.customMetadata = [custom]
    model = metadata.ModelMetadataT()
    model.name, model.version = "Cow seen from the side", version
    model.description = json.dumps(geometry(), sort_keys=True)
    model.subgraphMetadata, model.minParserVersion = [graph], "1.0.0"
    model.license = "Apache-2.0"
    return _pack(model, b"M001")


def write_model(stored: Mapping[str, NDArray[Any]], version: str) -> bytes:
    """Return the bytes of the ``.tflite``.

    Parameters
    ----------
    stored : mapping
        Folded weights as ``network.CowMaps.fold`` gives them.
    version : str
        Goes into the metadata.

    Returns
    -------
    bytes
        Input (1, 192, 320, 3) float32, normalised by MediaPipe as the metadata says; output
        (1, 192, 320, 6) float32, raw: cell (r, c) of map ``6 (2 i + j) + k`` is at row
        ``2 r + i``, column ``2 c + j`` of picture ``k``.

    Notes
    -----
    The weights are stored as float16 and written as float32: MediaPipe 0.10.33 unpacks float16
    weights anew for each picture, which costs two thirds more time (measured).
    """
    graph, output = _graph(stored)
    note = tflite.MetadataT()
    note.name, note.buffer = "TFLITE_METADATA", len(graph.buffers)
    graph.buffers.append(_metadata(version))
    subgraph = tflite.SubGraphT()
    subgraph.name, subgraph.tensors, subgraph.operators = "cow", graph.tensors, graph.operators
    subgraph.inputs, subgraph.outputs = [graph.index["input"]], [graph.index[output]]
    model = tflite.ModelT()
    model.version, model.description = 3, f"cow_side {version}"
    model.subgraphs, model.metadata = [subgraph], [note]
    model.operatorCodes = [_operator_code(code) for code in graph.codes]
    model.buffers = [_buffer(data) for data in graph.buffers]
    return _pack(model, b"TFL3")


def _operator_code(code: int) -> Any:
    entry = tflite.OperatorCodeT()
    entry.builtinCode = entry.deprecatedBuiltinCode = code
    versions = {
        tflite.BuiltinOperator.RESIZE_BILINEAR: 3,
        tflite.BuiltinOperator.DEPTHWISE_CONV_2D: 2,
    }
    entry.version = versions.get(code, 1)
    return entry


def _buffer(data: bytes) -> Any:
    entry = tflite.BufferT()
    entry.data = np.frombuffer(data, np.uint8) if data else None
    return entry


def main(models: Path = MODELS) -> None:
    """Write ``cow_side.tflite`` from ``cow_side_weights.npz`` and bring the card up to date."""
    weights, version = read_weights(models / "cow_side_weights.npz")
    data = write_model(weights, version)
    (models / "cow_side.tflite").write_bytes(data)
    card_path = models / "cow_side.json"
    card = json.loads(card_path.read_text()) if card_path.exists() else {}
    card |= {
        "name": "cow_side",
        "version": version,
        "file": "cow_side.tflite",
        "sha256": hashlib.sha256(data).hexdigest(),
        "bytes": len(data),
        **geometry(),
        "finder_threshold": FINDER_THRESHOLD,
    }
    card_path.write_text(json.dumps(card, indent=2) + "\n")
    print(f"{card['file']} {version} {card['sha256']} {len(data)} bytes")


if __name__ == "__main__":
    main(Path(sys.argv[1]) if len(sys.argv) > 1 else MODELS)
