"""A network of one layer that sees colours, written by hand, to test all that surrounds a network.

Red is the muzzle, green the poll and the middle of a cow, blue every other landmark; the
silhouette is where red and green together are bright. A cow's box reaches a tenth of the input
width to each side of her middle and a twentieth up and down.
"""

from __future__ import annotations

import hashlib
import json
from pathlib import Path
from typing import Any

import flatbuffers
import numpy as np
from mediapipe.tasks.metadata import image_segmenter_metadata_schema_py_generated as segmenter
from mediapipe.tasks.metadata import metadata_schema_py_generated as metadata
from mediapipe.tasks.metadata import schema_py_generated as tflite

from gait.pose.card import CHANNELS, FOLD

WIDTH, HEIGHT, STRIDE = 320, 192, 2
RED, GREEN, BLUE = range(3)


def _layer() -> tuple[np.ndarray, np.ndarray]:
    """Return weight (24, 2, 2, 3) and bias (24,): each cell from its four input pixels."""
    weight, bias = np.zeros((len(CHANNELS), 2, 2, 3), np.float32), np.zeros(len(CHANNELS))
    # 2 x colour - 1, so that the grey beyond the frame counts as nothing
    weight[:18, :, :, BLUE] = 0.5
    weight[:2] = 0
    weight[0, :, :, RED] = weight[1, :, :, GREEN] = 0.5
    bias[:18] = -1
    weight[18, :, :, :2] = 0.25 * 10
    weight[19, :, :, GREEN] = 0.25 * 20
    bias[18:20] = -15
    bias[20:] = (0.1, 0.05, 0.1, 0.05)
    return weight, bias.astype(np.float32)


def _pack(root: Any, identifier: bytes) -> bytes:
    builder = flatbuffers.Builder(1024)
    builder.Finish(root.Pack(builder), identifier)
    return bytes(builder.Output())


def _metadata() -> bytes:
    normal = metadata.ProcessUnitT()
    normal.optionsType = metadata.ProcessUnitOptions.NormalizationOptions
    normal.options = metadata.NormalizationOptionsT()
    normal.options.mean, normal.options.std = [0.0], [255.0]
    content = metadata.ContentT()
    content.contentPropertiesType = metadata.ContentProperties.ImageProperties
    content.contentProperties = metadata.ImagePropertiesT()
    content.contentProperties.colorSpace = metadata.ColorSpaceType.RGB
    picture, maps = metadata.TensorMetadataT(), metadata.TensorMetadataT()
    picture.name, picture.content, picture.processUnits = "image", content, [normal]
    maps.name = "maps"
    options = segmenter.ImageSegmenterOptionsT()
    options.activation = segmenter.Activation.NONE
    custom = metadata.CustomMetadataT()
    custom.name = "SEGMENTER_METADATA"
    custom.data = np.frombuffer(_pack(options, b"V001"), np.uint8)
    graph = metadata.SubGraphMetadataT()
    graph.inputTensorMetadata, graph.outputTensorMetadata = [picture], [maps]
    graph.customMetadata = [custom]
    model = metadata.ModelMetadataT()
    model.name, model.subgraphMetadata, model.minParserVersion = "tiny", [graph], "1.0.0"
    return _pack(model, b"M001")


def _tensor(name: str, shape: tuple[int, ...], buffer: int) -> Any:
    tensor = tflite.TensorT()
    tensor.name, tensor.shape, tensor.type, tensor.buffer = name, list(shape), 0, buffer
    return tensor


def _buffer(data: bytes) -> Any:
    buffer = tflite.BufferT()
    buffer.data = np.frombuffer(data, np.uint8) if data else None
    return buffer


def network_bytes() -> bytes:
    """Return the network as a ``.tflite`` file."""
    weight, bias = _layer()
    options = tflite.Conv2DOptionsT()
    options.padding, options.strideW, options.strideH = tflite.Padding.VALID, 2, 2
    options.dilationWFactor = options.dilationHFactor = 1
    operator = tflite.OperatorT()
    operator.inputs, operator.outputs = [0, 1, 2], [3]
    operator.builtinOptionsType = tflite.BuiltinOptions.Conv2DOptions
    operator.builtinOptions = options
    code = tflite.OperatorCodeT()
    code.builtinCode = code.deprecatedBuiltinCode = tflite.BuiltinOperator.CONV_2D
    code.version = 1
    folding = tflite.OperatorT()
    folding.inputs, folding.outputs, folding.opcodeIndex = [3], [4], 1
    folding.builtinOptionsType = tflite.BuiltinOptions.DepthToSpaceOptions
    folding.builtinOptions = tflite.DepthToSpaceOptionsT()
    folding.builtinOptions.blockSize = FOLD
    fold_code = tflite.OperatorCodeT()
    fold_code.builtinCode = fold_code.deprecatedBuiltinCode = tflite.BuiltinOperator.DEPTH_TO_SPACE
    fold_code.version = 1
    graph = tflite.SubGraphT()
    graph.tensors = [
        _tensor("input", (1, HEIGHT, WIDTH, 3), 0),
        _tensor("weight", weight.shape, 1),
        _tensor("bias", bias.shape, 2),
        _tensor("maps", (1, HEIGHT // 2, WIDTH // 2, len(CHANNELS)), 0),
        _tensor("folded", (1, HEIGHT, WIDTH, len(CHANNELS) // FOLD**2), 0),
    ]
    graph.inputs, graph.outputs, graph.operators = [0], [4], [operator, folding]
    note = tflite.MetadataT()
    note.name, note.buffer = "TFLITE_METADATA", 3
    model = tflite.ModelT()
    model.version, model.operatorCodes, model.subgraphs = 3, [code, fold_code], [graph]
    model.buffers = [_buffer(data) for data in (b"", weight.tobytes(), bias.tobytes(), _metadata())]
    model.metadata = [note]
    return _pack(model, b"TFL3")


def write_network(folder: Path, **changes: Any) -> Path:
    """Write network and card into a folder and return the network's path."""
    data = network_bytes()
    path = folder / "tiny.tflite"
    path.write_bytes(data)
    card = {
        "name": "tiny",
        "version": "1",
        "sha256": hashlib.sha256(data).hexdigest(),
        "input": {"width": WIDTH, "height": HEIGHT},
        "output": {"stride": STRIDE, "fold": FOLD, "channels": list(CHANNELS)},
        "crop_growth": 0.12,
        "finder_threshold": 0.3,
    }
    path.with_suffix(".json").write_text(json.dumps(card | changes), encoding="utf-8")
    return path
