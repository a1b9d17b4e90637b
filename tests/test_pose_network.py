"""The network through MediaPipe: what goes in and out, and what is refused."""

from __future__ import annotations

import os
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import numpy as np
import pytest

from gait.errors import ModelFileInvalid, PoseError
from gait.landmarks import INDEX
from gait.pose import Box, CowNetwork
from gait.pose.card import CHANNELS
from tests.tiny_network import write_network

FRAME = (720, 1280)


@pytest.fixture(scope="module")
def path(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return write_network(tmp_path_factory.mktemp("network"))


@pytest.fixture(scope="module")
def network(path: Path):
    with CowNetwork(path) as opened:
        yield opened


def spots(**places: tuple[float, float]) -> np.ndarray:
    """Return a black BGR frame with a soft spot in each named colour."""
    image = np.zeros((*FRAME, 3), np.float64)
    y, x = np.mgrid[: FRAME[0], : FRAME[1]]
    for colour, (at_x, at_y) in places.items():
        channel = {"blue": 0, "green": 1, "red": 2}[colour]
        image[..., channel] += 255 * np.exp(-((x - at_x) ** 2 + (y - at_y) ** 2) / (2 * 16.0**2))
    return image.clip(0, 255).astype(np.uint8)


def test_landmarks_come_back_in_frame_pixels(network):
    image = spots(red=(500.0, 300.0), green=(620.5, 410.0), blue=(700.0, 350.0))
    sighting = network.look(image, Box(x0=400.0, y0=200.0, x1=900.0, y1=500.0))
    assert sighting.point("muzzle") == pytest.approx([500, 300], abs=0.4)
    assert sighting.point("poll") == pytest.approx([620.5, 410], abs=0.4)
    assert sighting.points[INDEX["withers"] :] == pytest.approx(
        np.tile([700.0, 350.0], (16, 1)), abs=0.4
    )
    assert (sighting.confidence > 0.9).all()


def test_what_is_not_there_has_no_confidence(network):
    sighting = network.look(np.zeros((*FRAME, 3), np.uint8), Box(x0=0, y0=0, x1=640, y1=400))
    assert sighting.confidence.max() < 0.01
    assert sighting.silhouette.probability.max() < 0.01
    assert sighting.silhouette.mask(FRAME).max() == 0


def test_the_silhouette_lies_on_the_spot(network):
    image = np.zeros((*FRAME, 3), np.uint8)
    image[200:400, 300:700] = (0, 255, 255)
    mask = network.look(image, Box(x0=250.0, y0=150.0, x1=750.0, y1=450.0)).silhouette.mask(FRAME)
    rows, columns = np.nonzero(mask)
    assert (columns.min(), columns.max()) == pytest.approx((300, 699), abs=2.5)
    assert (rows.min(), rows.max()) == pytest.approx((200, 399), abs=2.5)


def test_the_finder_gives_boxes_in_frame_pixels(network):
    (box,) = network.find(spots(green=(640.0, 360.0)))
    # 1280 px wide frame: 0.1 and 0.05 of the input width are 128 and 64 px
    assert (box.x0, box.y0, box.x1, box.y1) == pytest.approx((512, 296, 768, 424), abs=5)
    assert box.confidence > 0.6


def test_a_frame_of_another_aspect_is_not_stretched(network):
    image = np.ascontiguousarray(spots(green=(700.0, 360.0)).transpose(1, 0, 2))
    (box,) = network.find(image)
    assert box.centre == pytest.approx((360, 700), abs=8)


def test_a_glimpse_shows_what_the_finder_is_not_sure_of(network):
    faint = (spots(green=(640.0, 360.0)) * 0.78).astype(np.uint8)  # about 0.22
    assert network.find(faint) == []
    assert len(network.glimpse(faint)) == 1


def test_no_cow_no_box(network):
    assert network.find(np.zeros((*FRAME, 3), np.uint8)) == []


def test_a_view_with_other_strides_is_read_rightly(network):
    image = spots(red=(500.0, 300.0))
    box = Box(x0=400.0, y0=200.0, x1=900.0, y1=500.0)
    turned = np.ascontiguousarray(image[:, ::-1])[:, ::-1]
    assert not turned.flags.c_contiguous
    assert network.look(turned, box).points == pytest.approx(network.look(image, box).points)


def test_looking_from_several_threads_gives_what_looking_in_turn_gives(network):
    image = spots(red=(500.0, 300.0), green=(600.0, 400.0))
    boxes = [Box(x0=300.0 + 5 * k, y0=200.0, x1=900.0, y1=520.0) for k in range(12)]
    in_turn = [network.look(image, box).points for box in boxes]
    with ThreadPoolExecutor(6) as pool:
        at_once = list(pool.map(lambda box: network.look(image, box).points, boxes))
    assert np.array_equal(in_turn, at_once)
    many = [s.points for s in network.look_many((image, box) for box in boxes)]
    assert np.array_equal(in_turn, many)


def test_a_failed_picture_does_not_spoil_the_next(network, monkeypatch):
    segmenter = network._all[0]
    good = spots(red=(160.0, 96.0))[:192, :320, ::-1]
    before = segmenter.maps(good, [0])
    with pytest.raises(PoseError):
        segmenter.maps(np.zeros((192, 320), np.uint8), [0])  # grey, not RGB
    assert np.array_equal(segmenter.maps(good, [0]), before)


def test_a_closed_network_says_so(path):
    network = CowNetwork(path)
    network.close()
    network.close()
    with pytest.raises(PoseError, match="closed"):
        network.find(np.zeros((*FRAME, 3), np.uint8))


def test_opening_writes_nothing_to_standard_error(path, capfd):
    CowNetwork(path).close()
    assert capfd.readouterr().err == ""


def test_no_way_leads_out_of_the_machine(path):
    CowNetwork(path).close()
    assert os.environ["https_proxy"] == "http://127.0.0.1:9"


@pytest.mark.parametrize(
    ("changes", "says"),
    [
        ({"sha256": "0" * 64}, "not the one its card describes"),
        ({"crop_growth": None}, "lacks an entry"),
        ({"output": {"stride": 2, "fold": 2, "channels": ["muzzle"]}}, "other maps"),
        ({"output": {"stride": 7, "fold": 2, "channels": list(CHANNELS)}}, "other maps"),
        ({"output": {"stride": 2, "channels": list(CHANNELS)}}, "other maps"),
    ],
)
def test_a_network_that_is_not_its_cards_is_refused(tmp_path, changes, says):
    with pytest.raises(ModelFileInvalid, match=says) as refusal:
        CowNetwork(write_network(tmp_path, **changes))
    assert refusal.value.hint


def test_a_changed_network_file_is_refused(tmp_path):
    path = write_network(tmp_path)
    data = bytearray(path.read_bytes())
    data[len(data) // 2] ^= 1
    path.write_bytes(data)
    with pytest.raises(ModelFileInvalid, match="not the one"):
        CowNetwork(path)


@pytest.mark.parametrize("missing", [".tflite", ".json"])
def test_a_missing_file_is_named(tmp_path, missing):
    path = write_network(tmp_path)
    path.with_suffix(missing).unlink()
    with pytest.raises(ModelFileInvalid, match=f"tiny{missing} is missing"):
        CowNetwork(path)


def test_a_file_that_is_no_network_is_refused_though_its_hash_fits(tmp_path):
    import hashlib

    path = write_network(tmp_path)
    path.write_bytes(b"no network at all")
    write = write_network.__globals__["json"]
    card = write.loads(path.with_suffix(".json").read_text())
    card["sha256"] = hashlib.sha256(b"no network at all").hexdigest()
    path.with_suffix(".json").write_text(write.dumps(card))
    with pytest.raises(ModelFileInvalid, match="cannot run"):
        CowNetwork(path)
