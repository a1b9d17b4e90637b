"""``exitlane score`` and the command itself: outputs, exit codes, a sentence for every refusal."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from datetime import datetime
from pathlib import Path

import cv2
import pytest

from gait import bulk
from gait.cli import main
from gait.clip import read_frames
from gait.store import open_store
from synthetic_clips import damaged
from tests.glue_world import TruthNetwork, small, write_coded_film

CHECKOUT = Path(__file__).resolve().parent.parent
HEAVY = ("cv2", "mediapipe", "numpy", "scipy", "sklearn", "sqlalchemy", "streamlit", "pandas")


@pytest.fixture(autouse=True)
def _truth_is_seen(coded_film, monkeypatch):
    network = TruthNetwork([coded_film])
    monkeypatch.setattr(bulk, "_network", lambda: network)


def refused(capsys, *arguments: object) -> str:
    """Run ``exitlane score`` on something bad; return its one sentence."""
    assert main(["score", *map(str, arguments)]) == 2
    told = capsys.readouterr()
    lines = [line for line in told.err.splitlines() if line.strip()]
    assert len(lines) == 1, told.err
    assert "Traceback" not in told.err
    assert lines[0].rstrip().endswith(".")
    return lines[0]


def test_a_pass_is_one_line_with_score_confidence_and_reasons(capsys, coded_film, coded_report):
    assert main(["score", str(coded_film)]) == 0
    told = capsys.readouterr()
    assert told.err == ""
    (line,) = told.out.splitlines()
    score = coded_report.passes[0].proposal
    assert f"score {score.value}" in line
    assert f"sure {score.confidence:.0%}" in line
    assert "cow 0412" in line
    assert score.reasons[0] in line


def test_json_is_one_document(capsys, coded_film, coded_report):
    assert main(["score", str(coded_film), "--json"]) == 0
    document = json.loads(capsys.readouterr().out)
    assert document == {"clips": [json.loads(json.dumps(coded_report.to_json()))]}


def test_landmarks_silhouettes_and_overlay_are_written(coded_film, tmp_path):
    arguments = ["score", str(coded_film), "--landmarks", str(tmp_path / "l.csv")]
    arguments += ["--silhouettes", str(tmp_path / "masks"), "--overlay", str(tmp_path / "o.webm")]
    assert main(arguments) == 0
    assert (tmp_path / "l.csv").read_text().startswith("frame,time_s,pass,name,")
    assert len(list((tmp_path / "masks").glob("*.png"))) == 140
    assert sum(1 for _ in read_frames(tmp_path / "o.webm")) == 140


def test_with_a_farm_the_passes_are_filed(coded_film, tmp_path):
    assert main(["score", str(coded_film), "--farm", str(tmp_path / "farm")]) == 0
    with open_store(tmp_path / "farm") as store:
        (clip,) = store.clips.all()
        assert len(store.passes.of_clip(clip.clip_id)) == 1


def test_the_passes_are_filed_under_the_time_given(coded_film, tmp_path):
    farm = tmp_path / "farm"
    arguments = ["score", str(coded_film), "--farm", str(farm), "--filmed-at", "2026-11-26T05:10"]
    assert main(arguments) == 0
    with open_store(farm, read_only=True) as store:
        (clip,) = store.clips.all()
    assert clip.filmed_at == datetime(2026, 11, 26, 5, 10).astimezone()


def test_one_time_for_several_clips_is_refused(capsys, coded_film):
    told = refused(capsys, coded_film, coded_film, "--filmed-at", "2026-11-26T05:10")
    assert "one clip only" in told


def test_a_time_that_is_still_to_come_is_refused_before_the_film_is_watched(
    capsys, coded_film, tmp_path
):
    farm = tmp_path / "farm"
    told = refused(capsys, coded_film, "--farm", farm, "--filmed-at", "2099-06-01T05:30")
    assert "The time of filming is still to come." in told
    assert not farm.exists()


def test_one_refused_clip_does_not_stop_the_others(capsys, coded_film, tmp_path):
    bad = damaged.not_a_film(tmp_path / "bad.mp4")
    assert main(["score", str(bad), str(coded_film), "--json"]) == 2
    told = capsys.readouterr()
    assert [c["clip"] for c in json.loads(told.out)["clips"]] == [str(coded_film)]
    assert "bad.mp4 is neither a film nor a photo" in told.err


def frames_of(film: Path, folder: Path) -> Path:
    """Write a film's frames as a folder of numbered pictures."""
    folder.mkdir()
    for frame in read_frames(film):
        cv2.imwrite(str(folder / f"{frame.index:04d}.png"), frame.image)
    return folder


def test_the_rate_of_a_folder_of_frames_is_the_one_given(capsys, coded_film, tmp_path):
    folder = frames_of(coded_film, tmp_path / "frames")

    def stride_s(*more: str) -> float:
        assert main(["score", str(folder), "--json", *more]) == 0
        (clip,) = json.loads(capsys.readouterr().out)["clips"]
        return clip["passes"][0]["measures"]["stride_duration_s"]["value"]

    # the same frames at 20 frames a second last a quarter longer than at the usual 25
    assert stride_s("--fps", "20") == pytest.approx(1.25 * stride_s(), rel=0.01)


@pytest.mark.parametrize("rate", ["0", "-24", "nan", "5000"])
def test_a_rate_that_cannot_be_is_one_sentence(capsys, coded_film, tmp_path, rate):
    folder = frames_of(coded_film, tmp_path / "frames")
    assert "cannot be the rate" in refused(capsys, folder, "--fps", rate)


def test_a_rate_too_slow_for_steps_is_one_sentence(capsys, coded_film, tmp_path):
    folder = frames_of(coded_film, tmp_path / "frames")
    assert "only 5.0 frames a second" in refused(capsys, folder, "--fps", "5")


def test_a_rate_for_a_film_is_refused(capsys, coded_film):
    assert "a film carries its own times" in refused(capsys, coded_film, "--fps", "24")


def test_a_missing_file_is_one_sentence(capsys, tmp_path):
    assert "There is no file" in refused(capsys, tmp_path / "none.mp4")


def test_an_empty_file_is_one_sentence(capsys, tmp_path):
    assert "is empty" in refused(capsys, damaged.empty(tmp_path / "empty.mp4"))


def test_a_file_that_is_no_film_is_one_sentence(capsys, tmp_path):
    assert "neither a film nor a photo" in refused(capsys, damaged.not_a_film(tmp_path / "x.mp4"))


def test_a_photo_under_a_films_name_is_one_sentence(capsys, tmp_path):
    photo = damaged.photo_named_film(small("sound"), tmp_path / "photo.mp4")
    assert "is a photo, though its name ends in .mp4" in refused(capsys, photo)


def test_a_copy_without_its_index_is_one_sentence(capsys, coded_film, tmp_path):
    cut_off = damaged.truncated(coded_film, tmp_path / "cut.mp4")
    assert "cut off" in refused(capsys, cut_off)


def test_a_film_that_breaks_off_keeps_the_cows_seen_until_then(
    capsys, tmp_path, monkeypatch, coded_film
):
    film = write_coded_film(small("sound", seconds=7.0), tmp_path / "cow_0412.webm")
    monkeypatch.setattr(bulk, "_network", lambda: TruthNetwork([film]))
    cut_off = damaged.truncated(film, tmp_path / "cut.webm", keep=0.85)
    assert main(["score", str(cut_off), "--json", "--farm", str(tmp_path / "farm")]) == 2
    told = capsys.readouterr()
    (line,) = told.err.splitlines()
    assert "breaks off" in line
    assert len(json.loads(told.out)["clips"][0]["passes"]) == 1
    with open_store(tmp_path / "farm") as store:
        assert len(store.passes.of_clip(store.clips.all()[0].clip_id)) == 1


def test_a_film_under_ten_frames_a_second_is_refused_with_nothing_else(
    capsys, tmp_path, monkeypatch
):
    scene = small("too_slow_frames", fps=8.0)
    film = write_coded_film(scene, tmp_path / "slow.mp4")
    monkeypatch.setattr(bulk, "_network", lambda: TruthNetwork([film]))
    sentence = refused(capsys, film, "--json")
    assert "only 8.0 frames a second" in sentence


def test_an_overlay_of_several_clips_is_refused_before_anything_is_scored(
    capsys, coded_film, tmp_path
):
    other = tmp_path / "o.webm"
    assert "for one clip only" in refused(capsys, coded_film, coded_film, "--overlay", other)
    assert not other.exists()


def test_an_output_that_cannot_be_written_is_one_sentence(capsys, coded_film, tmp_path):
    nowhere = tmp_path / "none" / "landmarks.csv"
    assert main(["score", str(coded_film), "--landmarks", str(nowhere)]) == 2
    told = capsys.readouterr()
    assert told.err.strip() == f"The file {nowhere} could not be used (No such file or directory)."


def test_help_and_version_import_nothing_heavy():
    code = (
        "import sys\nfrom gait.cli import main\n"
        "try:\n    main(['--help'])\nexcept SystemExit as end:\n    assert end.code == 0\n"
        f"print([m for m in {HEAVY!r} if m in sys.modules], file=sys.stderr)"
    )
    done = subprocess.run(
        [sys.executable, "-c", code],
        capture_output=True,
        text=True,
        check=True,
        env={**os.environ, "PYTHONPATH": str(CHECKOUT)},
    )
    assert "score" in done.stdout
    assert done.stderr.strip() == "[]"


def test_an_unknown_command_ends_with_code_2(capsys):
    with pytest.raises(SystemExit) as ended:
        main(["guess"])
    assert ended.value.code == 2
    assert "Traceback" not in capsys.readouterr().err
