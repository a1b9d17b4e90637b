"""The published JSON form of a scored clip: names, types and what stands for missing values."""

from __future__ import annotations

import json
import math

import numpy as np
import pytest

from gait import places
from gait.errors import ClipError
from gait.measure import Measure
from gait.pipeline import find_clips, measure_json, score_clip, written_cow
from gait.score import ScoreModel
from tests.glue_world import TruthNetwork, small, write_coded_film

# The fixed form of the output; more fields may be added, none may go.
CLIP_FIELDS = {"clip": str, "frames": int, "fps": float, "passes": list}
PASS_FIELDS = {
    "pass": int,
    "start_s": float,
    "end_s": float,
    "cow": (str, type(None)),
    "heading": str,
    "usable": bool,
    "problems": list,
    "measures": dict,
    "score": (dict, type(None)),
}
MEASURE_FIELDS = {"value", "se", "unit", "strides"}
SCORE_FIELDS = {"value", "confidence", "probabilities", "plausible", "reasons"}
MEASURES = {
    "back_arch",
    "back_sagitta_pct",
    "head_bob_a1_pct",
    "head_bob_a2_pct",
    "head_bob_range_pct",
    "head_height_ratio",
    "stride_duration_s",
    "stride_length_bl",
    "speed_bl_s",
    "tracking_up_pct",
    "step_time_asymmetry_pct",
    "stance_share_pct",
    "triple_support_pct",
}


@pytest.fixture(scope="module")
def document(coded_report):
    return json.loads(json.dumps(coded_report.to_json(), allow_nan=False))


def test_a_clip_has_the_fixed_fields(document, coded_film):
    for name, kind in CLIP_FIELDS.items():
        assert isinstance(document[name], kind), name
    assert document["clip"] == str(coded_film)
    assert document["frames"] == 140
    assert document["fps"] == pytest.approx(20.0)


def test_a_pass_has_the_fixed_fields(document):
    (walk,) = document["passes"]
    for name, kind in PASS_FIELDS.items():
        assert isinstance(walk[name], kind), name
    assert walk["pass"] == 1
    assert 0 <= walk["start_s"] < walk["end_s"] <= 7.0
    assert walk["heading"] in ("left", "right")
    assert walk["usable"] is True


def test_every_measure_is_there_with_value_error_unit_and_strides(document):
    measures = document["passes"][0]["measures"]
    assert measures.keys() >= MEASURES
    for name in MEASURES:
        assert measures[name].keys() >= MEASURE_FIELDS, name
        assert isinstance(measures[name]["value"], float), name
        assert measures[name]["se"] > 0, name
        assert isinstance(measures[name]["unit"], str), name
        assert isinstance(measures[name]["strides"], int), name


def test_the_score_is_a_whole_number_with_five_probabilities(document):
    score = document["passes"][0]["score"]
    assert score.keys() >= SCORE_FIELDS
    assert score["value"] in (1, 2, 3, 4, 5)
    assert len(score["probabilities"]) == 5
    assert sum(score["probabilities"]) == pytest.approx(1.0, abs=1e-3)
    assert score["confidence"] == pytest.approx(
        score["probabilities"][score["value"] - 1], abs=1e-3
    )
    assert score["value"] in score["plausible"]
    assert score["plausible"] == list(range(score["plausible"][0], score["plausible"][-1] + 1))
    assert all(isinstance(reason, str) and reason for reason in score["reasons"])


def test_the_cow_comes_from_the_file_name(document):
    assert document["passes"][0]["cow"] == "0412"


@pytest.mark.parametrize(
    ("name", "cow"),
    [
        ("cow_0412", "0412"),
        ("2026-11-02 Cow 17", "17"),
        ("tag-982000123456789", "982000123456789"),
        ("VID_20261102_081500", None),
        ("scow_12", None),
        ("lane", None),
    ],
)
def test_only_a_number_behind_a_word_for_cow_names_her(name, cow):
    assert written_cow(name) == cow


def test_the_pass_recovers_what_was_drawn(coded_report):
    """Truth of the drawn cow within the tolerance of a small picture (120 px a trunk)."""
    scene = small("sound", seconds=7.0)
    measures = coded_report.passes[0].measures
    assert measures["stride_duration_s"].value == pytest.approx(
        scene.cows[0].stride_duration_s, rel=0.05
    )
    assert measures["stride_length_bl"].value == pytest.approx(
        scene.cows[0].stride_length_bl, rel=0.10
    )
    assert coded_report.passes[0].track.heading == scene.cows[0].heading


def test_a_missing_value_is_null_and_keeps_its_reason():
    missing = Measure(
        value=float("nan"), se=float("nan"), unit="s", strides=0, reason="Too few strides."
    )
    assert measure_json(missing) == {
        "value": None,
        "se": None,
        "unit": "s",
        "strides": 0,
        "reason": "Too few strides.",
    }


def test_a_film_without_a_cow_says_so(tmp_path):
    film = write_coded_film(small("no_cow", seconds=1.5), tmp_path / "lane.mp4")
    report = score_clip(
        film,
        TruthNetwork([film]),
        ScoreModel.load(places.score_model()),  # type: ignore[arg-type]
    )
    assert report.refused
    (sentence,) = report.problems
    assert sentence.startswith("No cow was found")
    assert report.to_json()["problems"] == [sentence]


def test_progress_rises_to_one(coded_film):
    told: list[float] = []
    score_clip(
        coded_film,
        TruthNetwork([coded_film]),  # type: ignore[arg-type]
        ScoreModel.load(places.score_model()),
        on_progress=told.append,
    )
    assert told == sorted(told)
    assert told[-1] == 1.0
    assert len(told) > 10


def test_silhouettes_are_kept_only_when_asked_for(coded_report, coded_film):
    track = coded_report.passes[0].track
    assert track.silhouettes is not None
    assert track.silhouettes.shape[0] == len(track)
    assert track.silhouettes.dtype == np.uint8
    plain = score_clip(
        coded_film,
        TruthNetwork([coded_film]),  # type: ignore[arg-type]
        ScoreModel.load(places.score_model()),
    )
    assert plain.passes[0].track.silhouettes is None
    assert math.isfinite(plain.passes[0].measures["back_arch"].value)


def test_folders_are_searched_for_films_and_photos(tmp_path):
    inner = tmp_path / "monday"
    inner.mkdir()
    for name in ("a.mp4", "b.JPG", "notes.txt", "c.mov"):
        (inner / name).write_bytes(b"x")
    found = find_clips([tmp_path, tmp_path / "single.webm"])
    assert [p.name for p in found] == ["a.mp4", "b.JPG", "c.mov", "single.webm"]


def test_a_folder_without_films_is_refused(tmp_path):
    with pytest.raises(ClipError, match="no film or photo"):
        find_clips([tmp_path])
