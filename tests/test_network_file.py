"""The shipped network file: what it is, where it comes from, and that it can be trusted."""

from __future__ import annotations

import hashlib
import json
import shutil
from pathlib import Path

import numpy as np
import pytest

from gait import places
from gait.errors import ModelFileInvalid
from gait.landmarks import LANDMARKS
from gait.pose import CowNetwork
from models.training.architecture import (
    CHANNELS,
    INPUT_HEIGHT,
    INPUT_WIDTH,
    OUTPUT_STRIDE,
    PIXEL_MEAN,
    PIXEL_SPREAD,
    layers,
    read_weights,
    unfolded,
)
from models.training.export import write_model
from models.training.probe import probe

MODEL = places.models() / "cow_side.tflite"
LARGEST_BYTES = 12_000_000


@pytest.fixture(scope="module")
def card() -> dict:
    return json.loads(MODEL.with_suffix(".json").read_text(encoding="utf-8"))


@pytest.fixture(scope="module")
def stored() -> dict[str, np.ndarray]:
    with np.load(MODEL.with_name("cow_side_weights.npz")) as file:
        return {name: file[name] for name in file.files}


def test_the_file_is_byte_for_byte_what_the_stored_weights_give(stored):
    weights, version = read_weights(MODEL.with_name("cow_side_weights.npz"))
    assert write_model(weights, version) == MODEL.read_bytes()
    changed = {**weights, "stem.bias": weights["stem.bias"] + 1}
    assert write_model(changed, version) != MODEL.read_bytes()


def test_the_card_names_this_very_file_and_its_maps(card):
    assert card["sha256"] == hashlib.sha256(MODEL.read_bytes()).hexdigest()
    assert card["bytes"] == MODEL.stat().st_size <= LARGEST_BYTES
    assert card["output"]["channels"][:18] == list(LANDMARKS)
    assert card["output"] == {
        "stride": OUTPUT_STRIDE,
        "fold": OUTPUT_STRIDE,
        "channels": list(CHANNELS),
    }
    assert (card["input"]["width"], card["input"]["height"]) == (INPUT_WIDTH, INPUT_HEIGHT)


def test_a_network_with_one_changed_byte_is_refused(tmp_path):
    for name in ("cow_side.tflite", "cow_side.json"):
        shutil.copy(MODEL.with_name(name), tmp_path / name)
    path = tmp_path / "cow_side.tflite"
    data = bytearray(path.read_bytes())
    data[len(data) // 2] ^= 1
    path.write_bytes(data)
    with pytest.raises(ModelFileInvalid, match="not the one its card describes"):
        CowNetwork(path)


def test_the_file_carries_its_geometry_version_and_normalisation(card):
    from mediapipe.tasks.metadata import metadata_schema_py_generated as metadata
    from mediapipe.tasks.metadata import schema_py_generated as tflite

    model = tflite.ModelT.InitFromObj(tflite.Model.GetRootAs(MODEL.read_bytes(), 0))
    note = next(m for m in model.metadata if m.name == b"TFLITE_METADATA")
    data = bytes(model.buffers[note.buffer].data)
    told = metadata.ModelMetadataT.InitFromObj(metadata.ModelMetadata.GetRootAs(data, 0))
    assert told.version.decode() == card["version"]
    geometry = json.loads(told.description)
    assert geometry["output"] == card["output"]
    assert geometry["crop_growth"] == card["crop_growth"]
    picture = told.subgraphMetadata[0].inputTensorMetadata[0]
    normal = picture.processUnits[0].options
    assert (list(normal.mean), list(normal.std)) == ([PIXEL_MEAN], [PIXEL_SPREAD])


def test_a_second_interpreter_agrees_with_pytorch_on_the_probe_picture(stored):
    litert = pytest.importorskip("ai_edge_litert.interpreter")
    net = litert.Interpreter(model_path=str(MODEL))
    net.allocate_tensors()
    picture = (probe().astype(np.float32) - PIXEL_MEAN) / PIXEL_SPREAD
    net.set_tensor(net.get_input_details()[0]["index"], picture[None])
    net.invoke()
    pictures = net.get_tensor(net.get_output_details()[0]["index"])[0]
    # as many pixels as went in, so that MediaPipe hands them over unscaled
    assert pictures.shape == (INPUT_HEIGHT, INPUT_WIDTH, len(CHANNELS) // OUTPUT_STRIDE**2)
    maps = unfolded(pictures)
    cells = maps.reshape(-1, len(CHANNELS)).T[:, stored["probe_cells"]]
    # Stored beside the weights by the training: PyTorch's own maps of the same picture.
    assert np.ptp(stored["probe_maps"]) > 1
    assert cells == pytest.approx(stored["probe_maps"], abs=1e-4)


def test_mediapipe_gives_what_pytorch_gave(stored):
    from gait.pose.card import read_card
    from gait.pose.segmenter import Segmenter

    card = read_card(MODEL)
    grid = (card.width // card.stride, card.height // card.stride)
    segmenter = Segmenter(MODEL, grid)
    try:
        maps = segmenter.maps(probe(), tuple(range(len(CHANNELS))))
    finally:
        segmenter.close()
    cells = np.asarray(maps).reshape(len(CHANNELS), -1)[:, stored["probe_cells"]]
    assert cells == pytest.approx(stored["probe_maps"], abs=1e-4)


def test_the_layers_end_in_one_map_a_channel_at_half_the_input():
    steps = layers()
    names = [step.name for step in steps]
    assert len(set(names)) == len(names)
    assert steps[-1].channels == len(CHANNELS) == 24
    halvings = {"input": 0}
    for step in steps:
        sizes = {halvings[s] for s in step.sources}
        assert len(sizes) == 1, f"{step.name} joins maps of different sizes"
        halvings[step.name] = sizes.pop() + (step.stride == 2) - (step.kind == "double")
    assert 2 ** halvings[steps[-1].name] == OUTPUT_STRIDE


@pytest.mark.parametrize("missing", ["stem.weight", "maps.bias"])
def test_weights_that_lack_a_layer_are_refused(stored, missing):
    weights = {k: v for k, v in stored.items() if k != missing}
    with pytest.raises(KeyError, match=missing.split(".")[0]):
        write_model(weights, "0")


def test_nothing_here_needs_the_training_framework():
    import sys

    assert "torch" not in sys.modules
    assert Path(write_model.__code__.co_filename).name == "export.py"
