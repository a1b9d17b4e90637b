"""Truth of synthetic clips: what is drawn is what is said."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from gait.landmarks import HOOVES, INDEX
from synthetic_clips.cases import CASES
from synthetic_clips.draw import Studio
from synthetic_clips.figure import Figure, light_vertices
from synthetic_clips.mesh import grids
from synthetic_clips.passes import fit_circle, truth_measures, truth_pass
from synthetic_clips.pose import pose_at
from synthetic_clips.recipes import random_scene
from synthetic_clips.scene import Camera, Cow, Scene
from synthetic_clips.truth import VISIBLE, cow_truth
from synthetic_clips.walk import Walk

STEADY = Cow(
    stride_variation_pct=0.0, back_arch=0.35, bob_a1_pct=2.5, bob_a2_pct=1.2, tracking_up_pct=-6.0,
    head_height_ratio=0.97, hind_step_asymmetry_pct=14.0, start_x_m=-4.2, seed=3,
)  # fmt: skip
SCENE = Scene(cows=(STEADY,), duration_s=7.5, camera=Camera(field_m=7.0))


@cache
def steady_pass() -> dict:
    return truth_pass(SCENE)


def test_the_circle_through_three_points_has_curvature_one() -> None:
    # Circle through (0,0), (1,1), (2,0), radius 1, chord 2 (y down on the picture).
    angle = np.linspace(np.pi, 0, 9)
    points = np.column_stack([1 + np.cos(angle), -np.sin(angle)])
    arch, sagitta = fit_circle(points)
    assert arch == pytest.approx(2.0)
    assert sagitta == pytest.approx(0.5)


def test_a_flat_back_has_no_arch_and_a_hollow_one_a_negative_arch() -> None:
    x = np.linspace(0, 300, 64)
    assert fit_circle(np.column_stack([x, 0.2 * x]))[0] == pytest.approx(0.0, abs=1e-9)
    assert fit_circle(np.column_stack([x, 0.001 * x * (300 - x)]))[0] < 0


@pytest.mark.parametrize(
    ("sagitta", "curvature"),
    [(0.02, 0.07106), (0.05, 0.17699), (0.08, 0.28124), (0.12, 0.41602), (0.15, 0.51282)],
)
def test_sagitta_and_curvature_belong_together(sagitta: float, curvature: float) -> None:
    # kappa = 2 s / ((c/2)^2 + s^2) with chord 1.5 m, worked by hand.
    radius = 1 / curvature
    half = np.arcsin(0.75 / radius)
    angle = np.linspace(-half, half, 64)
    points = np.column_stack([radius * np.sin(angle), -radius * np.cos(angle)])
    arch, share = fit_circle(points)
    assert arch / 1.5 == pytest.approx(curvature, abs=1e-4)
    assert share * 1.5 == pytest.approx(sagitta, abs=1e-4)


def test_measures_come_out_as_the_cow_was_made() -> None:
    values = truth_measures(SCENE)
    flat = truth_measures(replace(SCENE, cows=(replace(STEADY, top_line_relief_pct=0.0),)))
    assert flat["back_arch"] == pytest.approx(0.35, abs=0.008)
    assert values["back_arch"] == pytest.approx(0.35, abs=0.04)
    assert values["head_bob_a1_pct"] == pytest.approx(2.5, abs=0.02)
    assert values["head_bob_a2_pct"] == pytest.approx(1.2, abs=0.02)
    assert values["head_height_ratio"] == pytest.approx(0.97, abs=0.01)
    assert values["stride_duration_s"] == pytest.approx(1.26, abs=1e-3)
    assert values["stride_length_bl"] == pytest.approx(0.92, abs=1e-3)
    assert values["speed_bl_s"] == pytest.approx(0.92 / 1.26, rel=2e-3)
    assert values["tracking_up_pct"] == pytest.approx(-6.0, abs=0.1)
    assert values["step_time_asymmetry_pct"] == pytest.approx(14.0, abs=0.3)
    assert values["stance_share_pct"] == pytest.approx(64.0, abs=0.3)


def test_triple_support_follows_from_even_duty_factors() -> None:
    # Feet down at quarter strides with duty d between 1/2 and 3/4: always two or three feet, so
    # the mean number of feet 4 d is 2 + the share of three.
    even = Cow(stride_variation_pct=0.0, duty_hind=0.66, duty_fore=0.66, fore_lag=0.25)
    values = truth_measures(replace(SCENE, cows=(replace(even, start_x_m=-4.2),)))
    assert values["triple_support_pct"] == pytest.approx(100 * (4 * 0.66 - 2), abs=0.5)


def test_truth_is_the_same_for_either_way_and_any_frame_rate() -> None:
    first = truth_measures(SCENE)
    left = replace(STEADY, heading="left", start_x_m=-STEADY.start_x_m)
    for scene in (
        replace(SCENE, cows=(left,)),
        replace(SCENE, camera=replace(SCENE.camera, fps=60.0)),
        replace(SCENE, camera=replace(SCENE.camera, width=1920, height=1080)),
    ):
        other = truth_measures(scene)
        for name, value in first.items():
            assert other[name] == pytest.approx(value, rel=0.02, abs=0.03), name


def test_the_withers_height_and_body_length_are_those_of_the_cow() -> None:
    points = steady_pass()["points_m"]
    withers, tail = points[:, INDEX["withers"]], points[:, INDEX["tailhead"]]
    assert withers[:, 2].mean() == pytest.approx(STEADY.withers_height_m, abs=0.002)
    trunk = np.linalg.norm(withers - tail, axis=1)
    assert trunk.mean() == pytest.approx(STEADY.body_length_m, rel=0.002)


def test_hooves_touch_the_floor_and_near_ones_are_lower_in_the_picture() -> None:
    found = steady_pass()
    hooves = found["points_m"][:, [INDEX[name] for name in HOOVES]]
    assert hooves[..., 2].min() == 0.0
    assert found["near_side"] == "right"
    standing = {}
    for name in HOOVES:
        on_floor = found["points_m"][:, INDEX[name], 2] == 0
        standing[name] = found["points"][on_floor, INDEX[name], 1]
    assert standing["near_fore_hoof"].min() > standing["far_fore_hoof"].max()
    assert standing["near_hind_hoof"].min() > standing["far_hind_hoof"].max()


@pytest.mark.parametrize("name", ["handheld", "panning"])
def test_planted_hooves_stay_put_once_the_camera_is_taken_out(name: str) -> None:
    scene = CASES[name](2)
    found = truth_pass(scene)
    near = {"left": "left", "right": "right"}[found["near_side"]]
    walk = Walk(scene.cows[0], scene.duration_s)
    falls = [f for f in walk.footfalls(2.0, 6.0) if f.leg == f"{near}_fore"]
    moved, still = [], []
    for fall in falls[:2]:
        rows = (found["time_s"] > fall.on_s) & (found["time_s"] < fall.off_s)
        points = found["points"][rows, INDEX["near_fore_hoof"]]
        lifted = np.column_stack([points, np.ones(len(points))])
        back = np.einsum("nij,nj->ni", found["to_reference"][rows], lifted)
        moved.append(np.ptp(points, axis=0).max())
        still.append(np.ptp(back[:, :2] / back[:, 2:], axis=0).max())
    assert max(moved) > 3.0
    assert max(still) < 1e-6


def cover_of(scene: Scene, time_s: float) -> tuple[np.ndarray, np.ndarray]:
    """Return how much of each pixel the cow covers, and her true back line."""
    studio = Studio(replace(scene, light=replace(scene.light, exposure_s=0.0)))
    walk = studio.walks[0]
    pose = pose_at(walk, time_s)
    figure = Figure(scene.cows[0])
    points, normals = figure.vertices(pose, grids(pose))
    _, truth = studio.draw(time_s)
    from synthetic_clips.camera import view_at

    size = (scene.camera.width, scene.camera.height)
    shade = light_vertices(points, normals, scene.light, pose)
    tile = figure.draw(view_at(scene, time_s), points, shade, size)
    assert tile is not None
    cover = np.zeros((scene.camera.height, scene.camera.width))
    rows, columns = tile.cover.shape
    cover[tile.top : tile.top + rows, tile.left : tile.left + columns] = tile.cover
    return cover, truth.cows[0].back_line


@pytest.mark.parametrize("seed", [1, 4, 6])
def test_the_drawn_upper_edge_is_the_true_back_line(seed: int) -> None:
    scene = random_scene(seed)
    cover, line = cover_of(scene, scene.duration_s * 0.5)
    order = np.argsort(line[:, 0])
    columns = np.arange(int(line[:, 0].min()) + 4, int(line[:, 0].max()) - 3)
    true = np.interp(columns, line[order, 0], line[order, 1])
    drawn = np.empty(len(columns))
    for i, column in enumerate(columns):
        full = np.argmax(cover[:, column] > 0.99)
        # Part-covered pixels above the first full one carry the edge between pixels.
        drawn[i] = full - 0.5 - cover[full - 4 : full, column].sum()
    off = drawn - true
    assert abs(off.mean()) < 0.08
    assert np.abs(off).mean() < 0.2
    edge = np.column_stack([columns, drawn])
    share = np.ptp(columns) / np.ptp(line[:, 0])  # the edge was read a little short of both ends
    assert fit_circle(edge)[0] / share == pytest.approx(fit_circle(line)[0], abs=0.012)


def test_near_legs_are_seen_and_truth_without_drawing_agrees() -> None:
    scene = CASES["sound"](2)
    image, truth = Studio(scene).draw(scene.duration_s / 2, masks=True)
    cow = truth.cows[0]
    assert image.shape == (720, 1280, 3)
    for name in ("near_carpus", "near_hind_hoof", "withers", "poll"):
        assert cow.visible[INDEX[name]] == VISIBLE, name
    pose = pose_at(Walk(scene.cows[0], scene.duration_s), scene.duration_s / 2)
    from synthetic_clips.camera import view_at

    plain = cow_truth(0, pose, view_at(scene, scene.duration_s / 2), (1280, 720))
    assert np.array_equal(plain.points, cow.points)
    assert cow.mask is not None
    rows, columns = np.nonzero(cow.mask)
    x0, y0, x1, y1 = cow.box
    assert (columns.min(), rows.min()) == pytest.approx((x0, y0), abs=2)
    assert (columns.max(), rows.max()) == pytest.approx((x1, y1), abs=2)
