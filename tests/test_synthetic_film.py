"""Writing clips: frames, time stamps, rotation tag, truth beside them, damaged files."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
import pytest

from synthetic_clips import damaged
from synthetic_clips.cases import CASES
from synthetic_clips.draw import draw_frame, studio
from synthetic_clips.film import write_clip
from synthetic_clips.passes import frame_times, truth_measures
from synthetic_clips.scene import Scene


def brief(name: str, frames: int = 24) -> Scene:
    scene = CASES[name](1)
    cows = tuple(replace(cow, start_x_m=0.0) for cow in scene.cows)
    camera = replace(scene.camera, width=320, height=180)
    return replace(scene, cows=cows, camera=camera, duration_s=frames / camera.fps)


def frames_of(path: Path) -> tuple[list[np.ndarray], list[float]]:
    reader = cv2.VideoCapture(str(path), cv2.CAP_FFMPEG)
    images, times = [], []
    while True:
        done, image = reader.read()
        if not done:
            return images, times
        images.append(image)
        times.append(reader.get(cv2.CAP_PROP_POS_MSEC))


@pytest.mark.parametrize("suffix", [".webm", ".mp4", ".avi"])
def test_a_clip_holds_the_drawn_frames(tmp_path: Path, suffix: str) -> None:
    scene = brief("sound")
    write_clip(scene, tmp_path / f"cow{suffix}")
    images, _ = frames_of(tmp_path / f"cow{suffix}")
    assert len(images) == scene.frame_count
    drawn, _ = draw_frame(scene, 10 / scene.camera.fps)
    assert cv2.PSNR(images[10], drawn) > 27


def test_truth_lies_beside_the_clip(tmp_path: Path) -> None:
    scene = brief("sound")
    path = write_clip(scene, tmp_path / "cow.avi")
    truth = json.loads(path.read_text(encoding="utf-8"))
    assert path.name == "cow.truth.json"
    assert len(truth["frames"]) == scene.frame_count
    cow = truth["frames"][5]["cows"][0]
    assert np.array(cow["points"]).shape == (18, 2)
    assert np.array(cow["back_line"]).shape == (64, 2)
    _, drawn = draw_frame(scene, 5 / scene.camera.fps)
    assert np.allclose(cow["points"], drawn.cows[0].points, atol=1e-3)
    assert truth["passes"][0]["measures"]["back_arch"] is not None
    assert truth["passes"][0]["measures"]["stride_duration_s"] is None


def test_a_variable_frame_rate_is_kept_in_the_file(tmp_path: Path) -> None:
    scene = brief("variable_rate", 60)
    write_clip(scene, tmp_path / "uneven.webm")
    _, times = frames_of(tmp_path / "uneven.webm")
    expected = 1000 * frame_times(scene.camera, scene.frame_count)
    assert np.abs(np.array(times) - expected).max() < 1.0
    assert np.ptp(np.diff(times)) > 5


@pytest.mark.parametrize("degrees", [90, 180, 270])
def test_a_rotation_tag_brings_the_film_upright(tmp_path: Path, degrees: int) -> None:
    scene = brief("rotated", 4)
    scene = replace(scene, camera=replace(scene.camera, rotation_tag=degrees))
    write_clip(scene, tmp_path / "turned.mp4")
    images, _ = frames_of(tmp_path / "turned.mp4")
    upright, _ = draw_frame(scene, 0.0)
    assert images[0].shape == upright.shape
    assert cv2.PSNR(images[0], upright) > 27


def test_what_a_container_cannot_carry_is_refused(tmp_path: Path) -> None:
    with pytest.raises(ValueError, match="rotation"):
        write_clip(brief("rotated", 2), tmp_path / "a.webm")
    with pytest.raises(ValueError, match="variable"):
        write_clip(brief("variable_rate", 2), tmp_path / "a.mp4")


def test_damaged_files_are_damaged(tmp_path: Path) -> None:
    film = tmp_path / "good.avi"
    scene = brief("sound", 30)
    write_clip(scene, film)
    assert damaged.empty(tmp_path / "empty.mp4").stat().st_size == 0
    cut = damaged.truncated(film, tmp_path / "cut.avi")
    assert len(frames_of(cut)[0]) < 20
    flipped = damaged.bit_flipped(film, tmp_path / "flipped.avi")
    assert flipped.stat().st_size == film.stat().st_size
    assert flipped.read_bytes() != film.read_bytes()
    photo = damaged.photo_named_film(scene, tmp_path / "photo.mp4")
    assert photo.read_bytes()[:2] == b"\xff\xd8"
    assert frames_of(damaged.not_a_film(tmp_path / "noise.mp4"))[0] == []
    still, _ = frames_of(damaged.frozen(film, tmp_path / "frozen.avi", 10, 12))
    assert cv2.PSNR(still[11], still[20]) > 45


def test_measures_from_the_frames_drawn_are_those_found_without_drawing():
    scene = brief("score_3")
    drawn = [studio(scene).draw(float(t))[1] for t in frame_times(scene.camera, scene.frame_count)]
    assert truth_measures(scene, 0, drawn) == pytest.approx(truth_measures(scene), nan_ok=True)
