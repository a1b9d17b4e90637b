"""Films cut into passes: who passed, which way, in what order, and what was wrong."""

from __future__ import annotations

import itertools
from dataclasses import replace
from types import SimpleNamespace

import cv2
import numpy as np
import pytest

from gait.clip import Frame
from gait.errors import ClipTruncated
from gait.track import follow, problems, seen
from tests.track_world import (
    FOCAL,
    FPS,
    HEIGHT,
    LENGTH,
    WIDTH,
    BlueCow,
    BlueNetwork,
    draw_cow,
    film,
    walking,
    wall,
)


def passes_of(cows, seconds, **more):
    return list(follow(film(cows, seconds, **more), BlueNetwork()))


def test_one_cow_gives_one_pass_from_entering_to_leaving():
    (only,) = passes_of([walking(1)], 6.0)
    assert (only.number, only.heading, only.usable, only.problems) == (1, "right", True, ())
    # her nose comes in at 10 / 160 s and her tail leaves at (640 + 210) / 160 = 5.3 s
    assert only.time_s[0] < 0.8
    assert only.time_s[-1] > 4.5
    assert only.image_size == (WIDTH, HEIGHT)
    assert only.fps == pytest.approx(FPS)


def test_points_are_those_of_the_frame_they_are_filed_under():
    (only,) = passes_of([walking(1)], 6.0)
    whole = ~only.cut
    tail = -LENGTH - 10 + 160 * only.time_s[whole]
    withers = only.point("withers")[whole]
    assert np.abs(withers[:, 0] - (tail + 0.7 * LENGTH)).max() < 2.0
    assert only.frame == pytest.approx(only.time_s * FPS)


def test_a_cow_walking_to_the_left_heads_left():
    (only,) = passes_of([walking(1, faces=-1)], 6.0)
    assert only.heading == "left"
    assert only.usable


def test_no_cow_gives_no_pass_and_leaves_the_network_in_peace():
    network = BlueNetwork()
    assert list(follow(film([], 8.0), network)) == []
    assert network.looks == 0
    assert network.finds <= 6  # of 200 frames


def test_cows_one_after_the_other_are_numbered_in_order_of_appearance():
    cows = [walking(i, start_s=3.0 * (i - 1)) for i in (1, 2, 3, 4)]
    found = passes_of(cows, 16.0)
    assert [p.number for p in found] == [1, 2, 3, 4]
    assert all(a.time_s[0] < b.time_s[0] for a, b in itertools.pairwise(found))
    assert all(p.usable for p in found)


def test_a_slow_cow_overtaken_by_a_fast_one_keeps_her_earlier_number():
    found = passes_of(
        [walking(1, speed=90, top=60), walking(2, start_s=2.0, speed=260, top=220)], 11
    )
    assert [p.number for p in found] == [1, 2]
    assert found[0].time_s[-1] > found[1].time_s[-1]


def test_crossing_cows_keep_their_own_track():
    found = passes_of([walking(1, top=120), walking(2, faces=-1, top=190)], 7.0)
    assert [p.heading for p in found] == ["right", "left"]
    for one in found:
        x = one.ground(one.point("withers"))[:, 0]
        direction = 1 if one.heading == "right" else -1
        assert (np.diff(x[~one.cut]) * direction > -5).all()
        assert any("covers her" in p for p in one.problems)


def test_cows_abreast_all_the_way_are_refused():
    found = passes_of([walking(1, top=120), walking(2, start_s=0.25, top=170)], 7.0)
    assert len(found) == 2
    assert all(not p.usable and problems.OVERLAP in p.problems for p in found)


class BlueNetworkCountingHooves(BlueNetwork):
    """Sees two hooves too many in the given share of looks."""

    tasks = 1  # looks in order, else counting them is a matter of luck

    def __init__(self, share: float) -> None:
        super().__init__()
        self.share = share

    def look(self, image, box):
        sighting = super().look(image, box)
        return replace(
            sighting, extra_hooves=2 * int(self.looks * self.share % 1 >= 1 - self.share)
        )


@pytest.mark.parametrize(
    ("share", "usable", "told"), [(0.1, True, 0), (0.4, True, 0), (0.5, False, 1), (0.9, False, 1)]
)
def test_a_second_cow_wholly_behind_her_is_told_by_hooves_too_many(share, usable, told):
    (only,) = follow(film([walking(1)], 6.0), BlueNetworkCountingHooves(share))
    assert only.usable == usable
    assert len(only.problems) == told
    assert (problems.OVERLAP in only.problems) == (not usable)


def test_a_standing_cow_is_reported_once_and_refused():
    standing = BlueCow(ident=1, tail_x=lambda _: 200.0)
    (only,) = passes_of([standing], 25.0)
    assert not only.usable
    assert problems.STANDS in only.problems


def test_a_cow_that_stops_on_her_way_is_kept_with_a_note():
    def tail(t):
        return -210 + 160 * (min(t, 2.5) + max(t - 5.5, 0))

    (only,) = passes_of([BlueCow(ident=1, tail_x=tail)], 9.0)
    assert only.usable
    assert any("stops on the way (3 s)" in p for p in only.problems)


def test_a_cow_that_turns_back_gives_two_passes_neither_joined():
    def tail(t):
        return -210 + 160 * min(t, 2.6) - 160 * max(t - 2.6, 0)

    found = passes_of([BlueCow(ident=1, tail_x=tail)], 6.0)
    assert [p.heading for p in found] == ["right", "left"]
    assert problems.TURNS_LATER in found[0].problems
    assert problems.TURNS_LATER not in found[1].problems
    assert all(p.time_s[-1] < 3.3 or p.time_s[0] > 2.4 for p in found)


def test_a_phantom_of_a_few_frames_is_no_pass():
    ghost = BlueCow(ident=1, tail_x=lambda t: 200.0 if 1.0 < t < 1.4 else -5000.0)
    assert passes_of([ghost], 4.0) == []


def test_a_cow_that_only_puts_her_head_in_is_no_pass():
    curious = BlueCow(ident=1, tail_x=lambda t: -150.0 + 25 * np.sin(2 * t))
    assert passes_of([curious], 5.0) == []


def test_a_cow_seen_from_the_front_is_refused():
    front = BlueCow(ident=1, tail_x=lambda t: 20 + 100 * t, top=30, tall=300)
    (only,) = passes_of([front], 3.5)
    assert problems.HEAD_ON in only.problems
    assert not only.usable


REFUSALS = (problems.HEAD_ON, problems.OVERLAP, problems.NO_COW_PERHAPS)


class DoubtfulNetwork(BlueNetwork):
    """Finds what it finds with a likeness of its own."""

    def __init__(self, likeness: float) -> None:
        super().__init__()
        self.likeness = likeness

    def find(self, image):
        return [replace(box, confidence=self.likeness) for box in super().find(image)]


@pytest.mark.parametrize(("likeness", "refused"), [(0.55, True), (0.75, False)])
def test_what_the_finder_hardly_takes_for_a_cow_is_refused(likeness, refused):
    (only,) = follow(film([walking(1)], 6.0), DoubtfulNetwork(likeness))
    assert (problems.NO_COW_PERHAPS in only.problems) is refused
    assert only.usable is not refused


@pytest.mark.parametrize("network", [BlueNetworkCountingHooves(0.9), DoubtfulNetwork(0.55)])
def test_of_a_cow_from_the_front_nothing_is_said_but_that(network):
    front = BlueCow(ident=1, tail_x=lambda t: 20 + 100 * t, top=30, tall=300)
    (only,) = follow(film([front], 3.5), network)
    assert [p for p in only.problems if p in REFUSALS] == [problems.HEAD_ON]


def test_a_panning_camera_is_taken_out():
    """The camera is swung after her for the whole film; she still travels at her own speed."""

    def yaw(t):  # her middle stays in the middle of the picture
        return np.arctan((200 * t - 350) / FOCAL)

    cow = BlueCow(ident=1, tail_x=lambda t: 200 * t - 350 + WIDTH / 2 - LENGTH / 2)
    (only,) = passes_of([cow], 3.5, yaw=yaw)
    assert only.heading == "right"
    assert only.usable
    seen_at = only.point("withers")[:, 0]
    assert np.ptp(seen_at) < 60  # she hardly moves in the picture
    x = only.ground(only.point("withers"))[:, 0]
    speed = np.polyfit(only.time_s, x, 1)[0]
    assert speed == pytest.approx(200, rel=0.02)
    assert np.abs(x - np.polyval(np.polyfit(only.time_s, x, 1), only.time_s)).max() < 12  # of 650


def test_who_walks_along_with_a_cow_films_one_pass_and_no_turn():
    canvas = wall(size=(WIDTH * 5, HEIGHT))
    cow = BlueCow(ident=1, tail_x=lambda _: 200.0)

    def frames():
        for index in range(round(14 * FPS)):
            shift = round(160 * index / FPS)
            image = canvas[:, shift : shift + WIDTH].copy()
            draw_cow(image, cow, 200.0, cow.top)
            yield Frame(index=index, time_s=index / FPS, image=image, brightness=100.0)

    (only,) = follow(frames(), BlueNetwork())
    assert (only.heading, only.usable, only.problems) == ("right", True, ())
    assert only.time_s[-1] > 13.5
    x = only.ground(only.point("withers"))[:, 0]
    assert np.polyfit(only.time_s, x, 1)[0] == pytest.approx(160, rel=0.05)


def test_a_still_camera_gives_exactly_the_identity():
    (only,) = passes_of([walking(1)], 6.0)
    assert (only.to_ground == np.eye(3)).all()


def test_passes_seen_before_the_film_breaks_off_are_given_out_first():
    def broken():
        yield from film([walking(1)], 6.0)
        raise ClipTruncated("It breaks off.")

    found = []
    with pytest.raises(ClipTruncated):
        found.extend(follow(broken(), BlueNetwork()))
    # extend keeps what came before the error
    assert len(found) == 1


def test_a_cow_in_view_when_the_film_breaks_off_is_given_out_too():
    def broken():
        yield from film([walking(1)], 3.0)
        raise ClipTruncated("It breaks off.")

    found = []
    with pytest.raises(ClipTruncated):
        found.extend(follow(broken(), BlueNetwork()))
    assert len(found) == 1
    assert found[0].time_s[-1] > 2.5


def test_silhouettes_are_kept_only_when_asked_for():
    (with_them,) = follow(film([walking(1)], 6.0), BlueNetwork(), keep_silhouettes=True)
    assert with_them.silhouettes.shape == (len(with_them), 96, 160)
    assert with_them.silhouettes.max() == 255
    (without,) = follow(film([walking(1)], 6.0), BlueNetwork())
    assert without.silhouettes is None


def test_the_same_film_gives_the_same_pass_whatever_the_threads_do():
    first, second = (passes_of([walking(1)], 6.0)[0] for _ in range(2))
    assert np.array_equal(first.points, second.points, equal_nan=True)
    assert np.array_equal(first.frame, second.frame)


def test_a_frozen_picture_is_told():
    def frozen():
        for frame in film([walking(1)], 6.0):
            yield Frame(
                index=frame.index,
                time_s=frame.time_s,
                image=frame.image,
                is_repeat=50 <= frame.index < 80,
            )

    (only,) = follow(frozen(), BlueNetwork())
    assert any("froze" in p for p in only.problems)


def test_a_hole_in_the_film_ends_the_pass():
    def with_hole():
        for frame in film([walking(1)], 6.0):
            if frame.time_s < 2.0 or frame.time_s > 3.5:
                yield frame

    found = list(follow(with_hole(), BlueNetwork()))
    assert len(found) == 2
    assert all(np.diff(p.time_s).max() < 0.1 for p in found)


@pytest.mark.parametrize(("blur_px", "told"), [(0.0, False), (7.0, True)])
def test_a_blurred_film_is_told(blur_px, told):
    coat = np.random.default_rng(2).normal(size=(HEIGHT, WIDTH))
    if blur_px:
        coat = cv2.GaussianBlur(coat, (0, 0), blur_px)
    coat = np.clip(128 + 40 * coat / coat.std(), 0, 255).astype(np.uint8)

    def textured():
        for frame in film([walking(1)], 6.0):
            frame.image[..., 1] = coat
            yield frame

    (only,) = follow(textured(), BlueNetwork())
    assert (problems.BLURRED in only.problems) == told
    assert only.usable


@pytest.mark.parametrize("fps", [10.0, 15.0, 60.0])
def test_any_usual_frame_rate_gives_the_same_pass(fps):
    (only,) = passes_of([walking(1)], 6.0, fps=fps)
    assert only.usable
    assert only.fps == pytest.approx(fps)
    whole = ~only.cut
    tail = -LENGTH - 10 + 160 * only.time_s[whole]
    assert np.abs(only.point("withers")[whole, 0] - (tail + 0.7 * LENGTH)).max() < 2.0
    # whole from (210 / 160) s to (640 / 160) s
    assert whole.sum() / fps > 2.0


class UnsureNetwork(BlueNetwork):
    """Never surer than it is told to be."""

    def __init__(self, sure: float) -> None:
        super().__init__()
        self.sure = sure

    def look(self, image, box):
        sighting = super().look(image, box)
        return replace(sighting, confidence=np.minimum(sighting.confidence, self.sure))


@pytest.mark.parametrize(
    ("level", "sure", "refused"),
    [(4.0, 0.65, True), (15.0, 0.65, False), (15.0, 0.4, True), (25.0, 0.4, False)],
)
def test_darkness_is_judged_with_how_well_she_is_seen(monkeypatch, level, sure, refused):
    monkeypatch.setattr(seen, "_light", lambda *_: (level, float("nan")))
    (only,) = follow(film([walking(1)], 6.0), UnsureNetwork(sure))
    assert (problems.DARK in only.problems) == refused
    assert only.usable == (not refused)


class GlimpsingNetwork(UnsureNetwork):
    """Is never sure in finding, only in looking."""

    card = SimpleNamespace(finder_threshold=0.45)

    def find(self, image):
        return []

    def glimpse(self, image):
        return [replace(box, confidence=0.3) for box in super().find(image)]


@pytest.mark.parametrize(("sure", "passes"), [(0.6, 1), (0.4, 0)])
def test_what_the_finder_only_glimpses_counts_when_the_close_look_is_sure(sure, passes):
    assert len(list(follow(film([walking(1)], 6.0), GlimpsingNetwork(sure)))) == passes
