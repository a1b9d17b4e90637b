"""What is taken from one frame about one cow, and photos."""

from __future__ import annotations

import tracemalloc
from dataclasses import replace

import cv2
import numpy as np
import pytest

from gait.clip import read_info
from gait.errors import ClipUnusable
from gait.landmarks import INDEX
from gait.pose import Box, Sighting, Silhouette
from gait.track import follow, photo_pass, problems
from gait.track.cow import middle_x
from gait.track.seen import look_closely, outline_box
from tests.track_world import HEIGHT, WIDTH, BlueCow, BlueNetwork, film, walking

AROUND = Box(x0=100.0, y0=50.0, x1=420.0, y1=242.0)
TO_FRAME = np.array([[2.0, 0, 100.5], [0, 2.0, 50.5]])


def sighting(inside: tuple[slice, slice] | None, sure: float = 0.9) -> Sighting:
    probability = np.zeros((96, 160), np.float32)
    if inside is not None:
        probability[inside] = 1.0
    return Sighting(
        box=AROUND,
        points=np.full((18, 2), (250.0, 150.0)),
        confidence=np.full(18, sure),
        silhouette=Silhouette(probability=probability, to_frame=TO_FRAME),
    )


class OneSighting:
    """A network that always sees the same."""

    def __init__(self, seen: Sighting) -> None:
        self.seen = seen

    def find(self, image: np.ndarray) -> list[Box]:
        return []

    def look(self, image: np.ndarray, box: Box) -> Sighting:
        return self.seen


def test_her_box_is_that_of_the_silhouette():
    box = outline_box(sighting((slice(20, 80), slice(30, 120))), (WIDTH, HEIGHT))
    # cells 30..119 and 20..79, two px each from 100 and 50, centres of pixels at integers
    assert (box.x0, box.x1) == pytest.approx((100 + 60 - 0.5, 100 + 240 - 0.5))
    assert (box.y0, box.y1) == pytest.approx((50 + 40 - 0.5, 50 + 160 - 0.5))


def test_a_hoof_beyond_the_silhouette_widens_the_box():
    one = sighting((slice(20, 80), slice(30, 120)))
    one.points[INDEX["near_fore_hoof"]] = (300.0, 230.0)
    assert outline_box(one, (WIDTH, HEIGHT)).y1 == 230.0


def test_an_unsure_landmark_does_not_widen_the_box():
    one = sighting((slice(20, 80), slice(30, 120)))
    one.points[INDEX["near_fore_hoof"]] = (300.0, 330.0)
    one.confidence[INDEX["near_fore_hoof"]] = 0.2
    assert outline_box(one, (WIDTH, HEIGHT)).y1 < 230.0


@pytest.mark.parametrize("inside", [None, (slice(0, 5), slice(0, 5))])
def test_no_or_a_tiny_silhouette_is_no_cow(inside):
    assert outline_box(sighting(inside), (WIDTH, HEIGHT)) is None


def test_a_silhouette_outside_the_frame_is_no_cow():
    one = sighting((slice(20, 80), slice(30, 120)), sure=0.1)
    assert outline_box(one, (90, 60)) is None


def test_low_peaks_become_nan_and_high_ones_stay():
    one = sighting((slice(20, 80), slice(30, 120)))
    one.confidence[INDEX["poll"]] = 0.05
    seen = look_closely(OneSighting(one), np.zeros((HEIGHT, WIDTH, 3), np.uint8), AROUND)
    assert np.isnan(seen.points[INDEX["poll"]]).all()
    assert np.isfinite(np.delete(seen.points, INDEX["poll"], 0)).all()


@pytest.mark.parametrize(
    ("columns", "open_sides", "cut"),
    [
        (slice(30, 120), (False, False), False),
        (slice(0, 120), (True, False), True),
        (slice(30, 160), (False, True), True),
    ],
)
def test_a_cow_reaching_beyond_the_look_is_cut_on_that_side(columns, open_sides, cut):
    one = sighting((slice(20, 80), columns))
    seen = look_closely(OneSighting(one), np.zeros((HEIGHT, WIDTH, 3), np.uint8), AROUND)
    assert seen.open == open_sides
    assert seen.cut == cut


def test_the_head_tells_which_way_she_faces():
    one = sighting((slice(20, 80), slice(30, 120)))
    one.points[INDEX["poll"]] = one.points[INDEX["muzzle"]] = (160.0, 120.0)
    one.points[INDEX["tailhead"]] = (330.0, 120.0)
    seen = look_closely(OneSighting(one), np.zeros((HEIGHT, WIDTH, 3), np.uint8), AROUND)
    assert seen.faces == -1


def test_brightness_is_that_of_the_cow_not_of_the_barn():
    image = np.full((HEIGHT, WIDTH, 3), 200, np.uint8)
    image[80:220, 150:350] = 40
    seen = look_closely(OneSighting(sighting((slice(20, 80), slice(30, 120)))), image, AROUND)
    assert seen.brightness == pytest.approx(40, abs=2)


@pytest.mark.parametrize(
    ("x0", "x1", "middle"),
    [(300, 500, 400), (0, 120, 20), (560, 639, 660), (0, 639, 319.5)],
)
def test_the_middle_of_a_cut_cow_is_where_her_whole_length_puts_it(x0, x1, middle):
    box = Box(x0=x0, y0=0.0, x1=x1, y1=100.0)
    assert middle_x(box, 200.0, WIDTH) == pytest.approx(middle)


def test_memory_does_not_grow_with_the_film():
    def peak(cows: int) -> int:
        lane = [walking(1 + i % 7, start_s=5.5 * i) for i in range(cows)]
        tracemalloc.start()
        try:
            for _ in follow(film(lane, 5.5 * cows), BlueNetwork()):
                pass
            return tracemalloc.get_traced_memory()[1]
        finally:
            tracemalloc.stop()

    assert peak(6) < peak(2) + 2_000_000  # bytes; a frame is 700 000


def photo_of(cows, path):
    (frame,) = list(film(cows, 1 / 25))
    cv2.imwrite(str(path), frame.image)
    return read_info(path)


def test_a_photo_is_a_pass_of_one_frame(tmp_path):
    info = photo_of([BlueCow(ident=1, tail_x=lambda _: 200.0)], tmp_path / "cow.png")
    only = photo_pass(info, BlueNetwork(), keep_silhouettes=True)
    assert len(only) == 1
    assert only.heading == "right"
    assert only.usable
    assert only.problems == ()
    assert only.silhouettes.shape == (1, 96, 160)
    assert only.point("withers")[0] == pytest.approx([200 + 140, 150 + 18], abs=2)


def test_of_several_cows_in_a_photo_the_largest_is_taken_and_it_is_told(tmp_path):
    small = BlueCow(ident=1, tail_x=lambda _: 20.0, top=20, tall=60)
    large = BlueCow(ident=2, tail_x=lambda _: 300.0)
    only = photo_pass(photo_of([small, large], tmp_path / "cows.png"), BlueNetwork())
    assert only.box[0, 0] == pytest.approx(300, abs=3)
    assert "2 cows are in the photo" in only.problems[0]


class FarSightedNetwork(BlueNetwork):
    """Finds a cow only where she is less than half as wide as the picture."""

    def __init__(self, sure):
        super().__init__()
        self.sure = sure

    def find(self, image):
        found = [b for b in super().find(image) if b.width < 0.5 * image.shape[1]]
        return [replace(b, confidence=self.sure) for b in found]


def test_a_cow_that_fills_her_photo_is_found_from_afar(tmp_path):
    info = photo_of([BlueCow(ident=1, tail_x=lambda _: 200.0)], tmp_path / "cow.png")
    half = cv2.imread(str(info.path))[:, 170:520]
    cv2.imwrite(str(tmp_path / "close.png"), half)
    close = read_info(tmp_path / "close.png")
    assert not FarSightedNetwork(0.9).find(half)
    only = photo_pass(close, FarSightedNetwork(0.9))
    assert only.point("withers")[0] == pytest.approx([200 - 170 + 140, 150 + 18], abs=2)
    with pytest.raises(ClipUnusable, match="No cow seen from the side"):
        photo_pass(close, FarSightedNetwork(0.5))


def test_a_photo_without_a_cow_is_refused(tmp_path):
    with pytest.raises(ClipUnusable, match="No cow seen from the side"):
        photo_pass(photo_of([], tmp_path / "lane.png"), BlueNetwork())


def test_a_cow_photographed_from_the_front_is_not_measured(tmp_path):
    front = BlueCow(ident=1, tail_x=lambda _: 200.0, top=20, tall=300)
    only = photo_pass(photo_of([front], tmp_path / "front.png"), BlueNetwork())
    assert problems.HEAD_ON in only.problems
    assert not only.usable
