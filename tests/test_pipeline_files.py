"""Files written beside a score: landmarks as CSV, silhouettes as PNG, the drawn film."""

from __future__ import annotations

import csv
from dataclasses import fields, replace
from pathlib import Path

import cv2
import numpy as np
import pytest

from gait import places
from gait.clip import read_frames, read_info
from gait.errors import ClipError
from gait.landmark_csv import HEADER, write_landmarks
from gait.landmarks import LANDMARKS
from gait.overlay import between_looks, draw_cow, write_overlay
from gait.pipeline import ClipReport, score_clip
from gait.score import ScoreModel
from gait.silhouette_png import write_silhouettes
from tests.glue_world import HEIGHT, WIDTH, TruthNetwork, small, truth_beside, write_coded_film

# The published header; programs of others read it.
PUBLISHED_HEADER = "frame,time_s,pass,name,x_px,y_px,confidence"
PUBLISHED_NAMES = [
    "muzzle", "poll", "withers", "mid_back", "loin", "tailhead",
    "near_carpus", "far_carpus", "near_fore_fetlock", "far_fore_fetlock",
    "near_fore_hoof", "far_fore_hoof", "near_hock", "far_hock",
    "near_hind_fetlock", "far_hind_fetlock", "near_hind_hoof", "far_hind_hoof",
]  # fmt: skip


def rows_of(path: Path) -> list[dict[str, str]]:
    with path.open(newline="", encoding="utf-8") as file:
        return list(csv.DictReader(file))


@pytest.fixture(scope="module")
def landmarks(coded_report, tmp_path_factory) -> Path:
    path = tmp_path_factory.mktemp("csv") / "landmarks.csv"
    write_landmarks([p.track for p in coded_report.passes], path)
    return path


def test_header_and_names_are_the_published_ones(landmarks):
    assert landmarks.read_text(encoding="utf-8").splitlines()[0] == PUBLISHED_HEADER
    assert ",".join(HEADER) == PUBLISHED_HEADER
    assert list(LANDMARKS) == PUBLISHED_NAMES


def test_there_is_a_row_for_every_frame_and_landmark(landmarks, coded_report):
    rows, track = rows_of(landmarks), coded_report.passes[0].track
    assert len(rows) == len(track) * 18
    assert [r["name"] for r in rows[:18]] == PUBLISHED_NAMES
    assert {int(r["frame"]) for r in rows} == set(track.frame.tolist())
    assert all(r["pass"] == "1" for r in rows)


def test_coordinates_are_pixels_of_the_frame(landmarks, coded_film):
    """The rows give back what was drawn, to a twentieth of a pixel."""
    with np.load(truth_beside(coded_film), allow_pickle=False) as kept:
        truth = {int(f): p for f, p in zip(kept["frame"], kept["points"], strict=True)}
    seen = [r for r in rows_of(landmarks) if r["x_px"] and r["name"] in LANDMARKS[:6]]
    assert len(seen) > 300
    for row in seen:
        point = truth[int(row["frame"])][LANDMARKS.index(row["name"])]
        assert float(row["x_px"]) == pytest.approx(point[0], abs=0.05)
        assert float(row["y_px"]) == pytest.approx(point[1], abs=0.05)
        assert float(row["time_s"]) == pytest.approx(int(row["frame"]) / 20.0, abs=1e-3)
        assert 0 < float(row["confidence"]) <= 1


def test_unseen_landmarks_have_empty_cells(landmarks):
    unseen = [r for r in rows_of(landmarks) if not r["x_px"]]
    assert unseen, "she enters through the edge, so some points are outside at first"
    assert all(r["y_px"] == "" and float(r["confidence"]) < 0.3 for r in unseen)


def test_several_clips_share_a_file_with_a_column_for_the_clip(coded_report, tmp_path):
    path = tmp_path / "all.csv"
    tracks = [p.track for p in coded_report.passes]
    write_landmarks(tracks, path, clip="one")
    write_landmarks(tracks, path, clip="two")
    rows = rows_of(path)
    assert path.read_text(encoding="utf-8").splitlines()[0] == PUBLISHED_HEADER + ",clip"
    assert {r["clip"] for r in rows} == {"one", "two"}
    assert len(rows) == 2 * 18 * len(tracks[0])


def test_a_film_called_like_a_formula_stays_text_in_a_spreadsheet(coded_report, tmp_path):
    path = tmp_path / "all.csv"
    write_landmarks([p.track for p in coded_report.passes], path, clip="=cmd|'x'!A0")
    assert {r["clip"] for r in rows_of(path)} == {"'=cmd|'x'!A0"}


def test_there_is_a_mask_for_every_frame(coded_report, coded_film, tmp_path):
    write_silhouettes([p.track for p in coded_report.passes], tmp_path, frames=140)
    files = sorted(tmp_path.glob("*.png"))
    assert [f.name for f in files] == [f"{i:06d}.png" for i in range(140)]
    with np.load(truth_beside(coded_film), allow_pickle=False) as kept:
        truth = dict(zip(kept["frame"].tolist(), kept["mask"], strict=True))
    middle = int(coded_report.passes[0].track.frame[len(coded_report.passes[0].track) // 2])
    mask = cv2.imread(str(files[middle]), cv2.IMREAD_UNCHANGED)
    assert mask.shape == (HEIGHT, WIDTH)
    assert set(np.unique(mask)) == {0, 255}
    cow, drawn = truth[middle] > 0, mask > 0
    # what is lost is the network grid's coarseness, about two pixels on thin legs
    assert (cow & drawn).sum() / (cow | drawn).sum() > 0.9
    assert not cv2.imread(str(files[0]), cv2.IMREAD_UNCHANGED).any()


def test_the_drawn_film_can_be_read_and_has_every_frame(coded_report, coded_film, tmp_path):
    path = tmp_path / "drawn.webm"
    tracks = [p.track for p in coded_report.passes]
    write_overlay(read_frames(coded_film), tracks, path, fps=20.0)
    info = read_info(path)
    assert info.width == WIDTH
    assert info.height > HEIGHT, "the strip with the trace stands under the picture"
    frames = list(read_frames(path))
    assert len(frames) == 140
    middle = int(tracks[0].frame[len(tracks[0]) // 2])
    plain = next(f for f in read_frames(coded_film) if f.index == middle)
    changed = np.abs(frames[middle].image[:HEIGHT].astype(int) - plain.image).max(axis=2) > 60
    assert 200 < changed.sum() < 0.2 * changed.size, "the skeleton is drawn in, and only that"


@pytest.fixture(scope="module")
def fast_film(tmp_path_factory) -> Path:
    """A film of 30 frames a second, of which every second one is looked at."""
    path = tmp_path_factory.mktemp("fast") / "cow_0413.mp4"
    return write_coded_film(small("sound", seconds=5.0, fps=30.0), path)


def scored(film: Path, **more: bool) -> ClipReport:
    model = ScoreModel.load(places.score_model())
    return score_clip(film, TruthNetwork([film]), model, **more)  # type: ignore[arg-type]


def test_a_fast_film_is_looked_at_fifteen_times_a_second_unless_every_frame_is_wanted(fast_film):
    some, every = scored(fast_film), scored(fast_film, every_frame=True)
    assert some.frames == every.frames == 150
    assert set(np.diff(some.passes[0].track.frame)) == {2}
    assert set(np.diff(every.passes[0].track.frame)) == {1}
    assert set(np.diff(scored(fast_film, keep_silhouettes=True).passes[0].track.frame)) == {1}
    for name in ("stride_duration_s", "back_arch", "head_bob_a1_pct"):
        one, other = (r.passes[0].measures[name] for r in (some, every))
        assert one.value == pytest.approx(other.value, abs=max(one.se, other.se))


def test_in_the_drawn_film_she_is_drawn_in_frames_that_were_not_looked_at_too(fast_film, tmp_path):
    (walk,) = [p.track for p in scored(fast_film).passes]
    with np.load(truth_beside(fast_film), allow_pickle=False) as kept:
        truth = dict(zip(kept["frame"].tolist(), kept["points"], strict=True))
    drawn = between_looks(walk)
    assert drawn.frame.tolist() == list(range(walk.frame[0], walk.frame[-1] + 1))
    back = drawn.points[:, : LANDMARKS.index("tailhead") + 1]
    off = [back[i] - truth[f][: back.shape[1]] for i, f in enumerate(drawn.frame.tolist())]
    assert np.nanmax(np.abs(off)) < 2.0, "a walking back is nearly where it is expected"
    path = tmp_path / "drawn.webm"
    write_overlay(read_frames(fast_film), [walk], path, fps=30.0)
    between = int(walk.frame[len(walk) // 2]) + 1
    plain = next(f for f in read_frames(fast_film) if f.index == between)
    page = next(f for f in read_frames(path) if f.index == between)
    changed = np.abs(page.image[:HEIGHT].astype(int) - plain.image).max(axis=2) > 60
    assert changed.sum() > 200


def test_no_back_line_is_drawn_while_the_edge_of_the_picture_cuts_her(coded_report):
    (walk,) = [p.track for p in coded_report.passes]
    middle = len(walk) // 2
    assert not walk.cut[middle]
    bare = replace(walk, confidence=np.zeros_like(walk.confidence))

    def drawn(cut: bool) -> bool:
        image = np.zeros((HEIGHT, WIDTH, 3), np.uint8)
        draw_cow(image, replace(bare, cut=np.full(len(walk), cut)), middle)
        return bool(image.any())

    assert drawn(cut=False)
    assert not drawn(cut=True)


def test_where_she_was_not_seen_when_looked_for_nothing_is_drawn(fast_film):
    (walk,) = [p.track for p in scored(fast_film).passes]
    kept = [i for i in range(len(walk)) if i not in (30, 31)]
    arrays = {
        f.name: getattr(walk, f.name)[kept]
        for f in fields(walk)
        if isinstance(getattr(walk, f.name), np.ndarray)
    }
    drawn = set(between_looks(replace(walk, **arrays)).frame.tolist())
    missing = set(range(walk.frame[0], walk.frame[-1] + 1)) - drawn
    assert missing == set(range(int(walk.frame[29]) + 1, int(walk.frame[32])))


def test_a_film_that_cannot_be_written_is_a_plain_sentence(coded_report, coded_film, tmp_path):
    with pytest.raises(ClipError, match="cannot be written"):
        write_overlay(read_frames(coded_film), [], tmp_path / "none" / "drawn.webm", fps=20.0)
