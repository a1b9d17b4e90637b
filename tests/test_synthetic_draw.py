"""Drawing: the same seed, the same picture; named cases show what their names say."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from synthetic_clips.cases import CASES
from synthetic_clips.draw import Studio, draw_frame
from synthetic_clips.passes import frame_times
from synthetic_clips.recipes import random_scene
from synthetic_clips.scene import Scene
from synthetic_clips.truth import FrameTruth


def small(scene: Scene) -> Scene:
    return replace(scene, camera=replace(scene.camera, width=480, height=270))


def look(name: str, share: float = 0.5, seed: int = 2) -> tuple[np.ndarray, FrameTruth]:
    scene = small(CASES[name](seed))
    return Studio(scene).draw(scene.duration_s * share, masks=True)


def test_the_same_seed_gives_the_same_picture_and_another_seed_another() -> None:
    scene = small(random_scene(11))
    first, truth = Studio(scene).draw(3.0)
    again, same = Studio(small(random_scene(11))).draw(3.0)
    other, _ = Studio(small(random_scene(12))).draw(3.0)
    assert np.array_equal(first, again)
    assert np.array_equal(truth.cows[0].points, same.cows[0].points)
    assert not np.array_equal(first, other)


def test_frames_do_not_depend_on_those_drawn_before() -> None:
    scene = small(CASES["handheld"](1))
    studio = Studio(scene)
    studio.draw(1.0)
    assert np.array_equal(studio.draw(4.0)[0], Studio(scene).draw(4.0)[0])
    assert np.array_equal(draw_frame(scene, 4.0)[0], studio.draw(4.0)[0])


def test_too_dark_is_dark_and_night_is_grey() -> None:
    dark, _ = look("too_dark")
    night, _ = look("night")
    assert dark.mean() < 12
    assert night.mean() > 15
    assert np.abs(night[..., 0].astype(int) - night[..., 2]).max() <= 1


def test_rails_in_front_do_not_cut_the_silhouette() -> None:
    scene = small(CASES["rails"](2))
    bare = replace(scene, lane=replace(scene.lane, rails_front=0))
    railed_picture, railed = Studio(scene).draw(scene.duration_s / 2, masks=True)
    bare_picture, free = Studio(bare).draw(scene.duration_s / 2, masks=True)
    assert np.array_equal(railed.cows[0].mask, free.cows[0].mask)
    inside = free.cows[0].mask > 0
    changed = np.abs(railed_picture.astype(int) - bare_picture).max(axis=2)[inside] > 25
    assert changed.mean() > 0.03


def test_two_abreast_hide_each_other_but_keep_whole_silhouettes() -> None:
    _, truth = look("two_abreast")
    shares = sorted(cow.seen_share for cow in truth.cows)
    assert shares[0] < 0.4
    assert shares[1] == 1.0
    sizes = [np.count_nonzero(cow.mask) for cow in truth.cows]
    assert min(sizes) > 0.6 * max(sizes)


def test_head_on_is_narrow_and_side_on_is_long() -> None:
    for name, low, high in (("head_on", 0.0, 0.9), ("sound", 1.3, 3.0)):
        _, truth = look(name)
        x0, y0, x1, y1 = truth.cows[0].box
        assert low < (x1 - x0) / (y1 - y0) < high, name


def test_cut_is_never_whole_and_no_cow_is_empty() -> None:
    assert not look("cut")[1].cows[0].whole
    assert look("no_cow")[1].cows == ()


def test_turning_back_ends_with_the_other_heading() -> None:
    scene = small(CASES["turning_back"](2))
    studio = Studio(scene)
    early = studio.draw(scene.duration_s * 0.25)[1].cows[0].heading
    late = studio.draw(scene.duration_s * 0.75)[1].cows[0].heading
    assert (early, late) == ("right", "left")


def test_a_sniffing_cow_has_her_nose_near_the_floor() -> None:
    scene = small(CASES["sniffing"](2))
    studio = Studio(scene)
    begins = scene.cows[0].action_after_m / scene.cows[0].speed_m_s
    upright = studio.draw(begins - 0.5)[1].cows[0].points_m[0, 2]
    lowered = studio.draw(begins + 2.0)[1].cows[0].points_m[0, 2]
    assert upright > 0.7
    assert lowered < 0.45


def test_uneven_frame_times_rise_and_keep_their_mean_rate() -> None:
    scene = CASES["variable_rate"](3)
    times = frame_times(scene.camera, 200)
    steps = np.diff(times)
    assert steps.min() > 0
    assert steps.std() > 0.1 / scene.camera.fps
    assert steps.mean() == pytest.approx(1 / scene.camera.fps, rel=0.01)


def test_cows_of_the_long_lane_pass_one_after_another() -> None:
    scene = CASES["long_lane"](2)
    assert len(scene.cows) == 40
    sign = 1 if scene.cows[0].heading == "right" else -1
    crosses = [-sign * cow.start_x_m / cow.speed_m_s for cow in scene.cows]
    assert np.diff(crosses).min() > 1.5
    assert max(crosses) < scene.duration_s


@pytest.mark.parametrize("name", sorted(CASES))
def test_every_case_can_be_made_for_several_seeds(name: str) -> None:
    scenes = [CASES[name](seed) for seed in (0, 1, 2)]
    assert all(scene.name == name for scene in scenes)
    assert all(0.5 < scene.duration_s < 700 for scene in scenes)
    if name != "no_cow":
        assert scenes[0] != scenes[1]
