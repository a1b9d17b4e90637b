"""Films and photos read: frames, true times, and every refusal with its sentence."""

from __future__ import annotations

import contextlib
import errno
import hashlib
import itertools
import os
import tempfile
import time
import zlib
from pathlib import Path

import cv2
import numpy as np
import pytest

from gait.clip import Clip, is_frame_folder, read_frames, read_info
from gait.clip import frames as frames_module
from gait.clip import process as process_module
from gait.clip.decoder import _Film
from gait.clip.frames import _Log
from gait.errors import ClipError, ClipMissing, ClipTruncated, ClipUnreadable, ClipUnusable
from gait.kinds import FILM_SUFFIXES, PHOTO_SUFFIXES
from gait.pipeline import find_clips

SIZE = (160, 96)


def picture(index: int, *, level: int = 120) -> np.ndarray:
    """Return a noisy picture with a white square that moves 3 px a frame."""
    rng = np.random.default_rng(index)
    image = rng.integers(level - 12, level + 12, (SIZE[1], SIZE[0], 3)).astype(np.uint8)
    left = (3 * index) % (SIZE[0] - 20)
    image[40:60, left : left + 20] = min(level * 2, 255)
    return image


def write(path: Path, pictures, fps: float = 25.0, codec: str = "mp4v", size=SIZE) -> Path:
    writer = cv2.VideoWriter(str(path), cv2.VideoWriter_fourcc(*codec), fps, size)
    assert writer.isOpened()
    for image in pictures:
        writer.write(image)
    writer.release()
    return path


@pytest.fixture(scope="module")
def film(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return write(tmp_path_factory.mktemp("clip") / "film.mp4", map(picture, range(80)))


def refusal(path: Path, kind: type[ClipError], **more) -> str:
    """Read a clip to its end and return the sentence it is refused with."""
    with pytest.raises(kind) as caught:
        for _ in read_frames(path, **more):
            pass
    assert caught.value.hint, "every refusal says what to do next"
    assert str(caught.value).count(".") >= 2
    return str(caught.value)


def test_every_frame_comes_once_in_order_with_its_time(film):
    frames = list(read_frames(film))
    assert [f.index for f in frames] == list(range(80))
    assert [f.time_s for f in frames] == pytest.approx([i / 25 for i in range(80)], abs=1e-3)
    assert all(f.image.shape == (96, 160, 3) for f in frames)
    for frame in frames[::20]:
        assert np.abs(frame.image.astype(int) - picture(frame.index)).mean() < 12


def test_frames_can_be_kept_while_reading_on(film):
    kept = list(read_frames(film))
    again = read_frames(film)
    assert all(np.array_equal(a.image, b.image) for a, b in zip(kept, again, strict=True))


@pytest.mark.parametrize(
    ("fps", "step"), [(15, 1), (24, 1), (25, 1), (30, 2), (29.97, 2), (50, 3), (60, 4), (240, 16)]
)
def test_of_a_fast_film_only_as_many_frames_are_read_as_are_wanted(tmp_path, fps, step):
    path = write(tmp_path / "fast.mp4", map(picture, range(100)), fps=fps)
    every = {frame.index: frame for frame in read_frames(path)}
    with Clip(path, looks_per_s=15.0) as clip:
        some = list(clip.frames())
        assert clip.count == 100, "those left out are counted"
    assert [frame.index for frame in some] == list(range(0, 100, step))
    for frame in some:
        assert frame.time_s == every[frame.index].time_s
        assert np.array_equal(frame.image, every[frame.index].image)


def test_a_broken_film_is_known_also_where_frames_are_left_out(tmp_path):
    whole = write(tmp_path / "whole.avi", map(picture, range(80)), fps=60.0, codec="MJPG")
    path = tmp_path / "half.avi"
    path.write_bytes(whole.read_bytes()[: whole.stat().st_size // 2])
    with Clip(path, looks_per_s=15.0) as clip, pytest.raises(ClipTruncated) as caught:
        list(clip.frames())
    assert f"breaks off: {sum(1 for _ in _as_far_as_it_goes(path))} of 80" in str(caught.value)


def test_a_film_that_slows_down_is_read_whole_where_it_is_slow():
    """A phone that drops to 12 frames a second in the dark: nothing may be left out there."""
    stamps = [i / 60 for i in range(61)] + [1 + i / 12 for i in range(1, 13)]
    handed_on, film = [0.0], _Stamped(stamps)
    while film._grab():
        film._handed_on_s = film._newest_s
        handed_on.append(film._newest_s)
    gaps = np.diff(handed_on)
    assert len(handed_on) == pytest.approx(15 + 12, abs=2)
    assert gaps.max() < 1 / 12 + 1 / 60 + 1e-9


class _Stamped(_Film):
    """A film of nothing but time stamps."""

    def __init__(self, stamps: list[float]) -> None:
        self._stamps, self.count = stamps, 1
        self._longest_gap_s, self._newest_s, self._handed_on_s = 1.02 / 15, stamps[0], stamps[0]
        self._capture = self

    def grab(self) -> bool:
        return self.count < len(self._stamps)

    def _time_s(self) -> float:
        return self._stamps[self.count - 1]


def _as_far_as_it_goes(path: Path):
    with contextlib.suppress(ClipError):
        yield from read_frames(path)


def test_what_a_film_is(film):
    info = read_info(film)
    assert (info.width, info.height, info.fps, info.frames_declared) == (160, 96, 25.0, 80)
    assert not info.is_photo
    assert info.sha256 == hashlib.sha256(film.read_bytes()).hexdigest()


def test_reading_may_stop_early_and_leaves_no_child_behind(film):
    reading = read_frames(film)
    assert len(list(itertools.islice(reading, 3))) == 3
    started = time.monotonic()
    reading.close()
    assert time.monotonic() - started < 5


@pytest.mark.skipif(os.name == "nt", reason="Windows keeps a file while it is mapped")
def test_nothing_is_left_in_shared_memory_even_while_reading(film, monkeypatch, tmp_path):
    monkeypatch.setattr(process_module, "SHARED", tmp_path)
    reading = read_frames(film)
    next(reading)
    assert list(tmp_path.iterdir()) == []
    reading.close()


CODECS = {".avi": "MJPG", ".webm": "VP80", ".ogv": "VP80", ".wmv": "WMV2", ".flv": "FLV1"}
CODECS |= dict.fromkeys((".mpg", ".mpeg"), "mpg1") | dict.fromkeys((".ts", ".mts", ".m2ts"), "mpg2")


@pytest.mark.skipif(not hasattr(os, "posix_fallocate"), reason="room cannot be asked for here")
def test_little_shared_memory_is_made_up_for_on_the_disk(film, monkeypatch, tmp_path):
    (tmp_path / "shared").mkdir()
    (tmp_path / "disk").mkdir()
    monkeypatch.setattr(process_module, "SHARED", tmp_path / "shared")
    monkeypatch.setattr(tempfile, "tempdir", str(tmp_path / "disk"))
    reserve, full = os.posix_fallocate, [True, False]

    def refuse_once(file, first, size):
        if full.pop(0):
            raise OSError(errno.ENOSPC, "No space left on device")
        reserve(file, first, size)

    monkeypatch.setattr(os, "posix_fallocate", refuse_once)
    assert sum(1 for _ in read_frames(film)) == 80
    full[:] = [True, True]
    assert "no room in memory or on the disk" in refusal(film, ClipUnusable)
    assert list((tmp_path / "shared").iterdir()) == list((tmp_path / "disk").iterdir()) == []


def test_pictures_do_not_change_while_anything_looks_at_a_part_of_them(film):
    """Slots of the shared memory are used again only when no view of the picture is left."""
    corners, whole = [], []
    for frame in read_frames(film):
        corners.append(frame.image[:8, :8])
        whole.append(frame.image[:8, :8].copy())
    assert np.array_equal(corners, whole)
    assert len({corner.tobytes() for corner in corners}) == 80


@pytest.mark.parametrize("suffix", sorted(FILM_SUFFIXES))
def test_every_kind_of_film_that_is_offered_is_read(tmp_path, suffix):
    path = write(
        tmp_path / f"cow{suffix}", map(picture, range(12)), codec=CODECS.get(suffix, "mp4v")
    )
    assert sum(1 for _ in read_frames(path)) == 12
    assert not read_info(path).is_photo
    assert find_clips([tmp_path]) == [path]


@pytest.mark.parametrize("suffix", [".bmp", ".tif", ".gif", ".heic", ".txt"])
def test_what_cannot_be_read_is_not_offered(tmp_path, suffix):
    (tmp_path / f"cow{suffix}").write_bytes(b"BM" + bytes(400))
    with pytest.raises(ClipError, match="no film or photo"):
        find_clips([tmp_path])


@pytest.mark.parametrize("suffix", sorted(PHOTO_SUFFIXES))
def test_a_photo_is_one_frame(tmp_path, suffix):
    path = tmp_path / f"cow{suffix}"
    cv2.imwrite(str(path), picture(4))
    (frame,) = read_frames(path)
    assert (frame.index, frame.time_s) == (0, 0.0)
    info = read_info(path)
    assert info.is_photo
    assert info.frames_declared == 1
    assert np.isnan(info.fps)


def test_a_photo_is_turned_upright_as_its_tag_says(tmp_path):
    path = tmp_path / "turned.jpg"
    cv2.imwrite(str(path), picture(4))
    plain = path.read_bytes()
    # Exif with one entry: orientation (0x0112) = 6, to be turned a quarter clockwise
    exif = b"Exif\0\0MM\0*\0\0\0\x08\0\x01\x01\x12\0\x03\0\0\0\x01\0\x06\0\0\0\0\0\0"
    path.write_bytes(
        plain[:2] + b"\xff\xe1" + (len(exif) + 2).to_bytes(2, "big") + exif + plain[2:]
    )
    (frame,) = read_frames(path)
    assert frame.image.shape == (160, 96, 3)


def test_a_film_is_turned_upright_as_its_tag_says(tmp_path, film):
    """The matrix in the track header of an MP4 is set to a quarter turn clockwise."""
    data = bytearray(film.read_bytes())
    matrix = data.find(b"tkhd") + 4 + 40
    one = 1 << 16
    turned = (0, one, 0, -one, 0, 0, 96 * one, 0, 1 << 30)
    data[matrix : matrix + 36] = b"".join(v.to_bytes(4, "big", signed=True) for v in turned)
    path = tmp_path / "turned.mp4"
    path.write_bytes(data)
    info = read_info(path)
    assert (info.width, info.height) == (96, 160)
    frame = next(iter(read_frames(path)))
    upright = cv2.rotate(picture(0), cv2.ROTATE_90_CLOCKWISE).astype(int)
    assert np.abs(frame.image - upright).mean() < 12


def test_a_folder_of_numbered_photos_is_a_film(tmp_path):
    for index in range(12):
        cv2.imwrite(str(tmp_path / f"{index:05d}.png"), picture(index))
    assert is_frame_folder(tmp_path)
    frames = list(read_frames(tmp_path, fps=24))
    assert [f.time_s for f in frames] == pytest.approx([i / 24 for i in range(12)])
    assert np.array_equal(frames[7].image, picture(7))
    assert read_info(tmp_path, fps=24).fps == 24


def test_a_folder_of_a_few_photos_is_no_film(tmp_path):
    cv2.imwrite(str(tmp_path / "daisy.png"), picture(0))
    assert not is_frame_folder(tmp_path)
    assert "no film" in refusal(tmp_path, ClipMissing)


def test_a_missing_file(tmp_path):
    assert "There is no file" in refusal(tmp_path / "gone.mp4", ClipMissing)


def test_an_empty_file(tmp_path):
    (tmp_path / "empty.mp4").touch()
    assert "is empty" in refusal(tmp_path / "empty.mp4", ClipUnreadable)


def test_a_text_is_no_film(tmp_path):
    (tmp_path / "list.mp4").write_text("animal;score\n12;3\n" * 50)
    assert "neither a film nor a photo" in refusal(tmp_path / "list.mp4", ClipUnreadable)


def test_a_photo_named_mp4(tmp_path):
    cv2.imwrite(str(tmp_path / "cow.jpg"), picture(0))
    path = (tmp_path / "cow.jpg").rename(tmp_path / "cow.mp4")
    assert "is a photo, though its name ends in .mp4" in refusal(path, ClipUnreadable)


def test_a_film_named_jpg(tmp_path, film):
    path = tmp_path / "cow.jpg"
    path.write_bytes(film.read_bytes())
    assert "is a film, though" in refusal(path, ClipUnreadable)


def test_a_phone_photo_of_an_unread_kind_is_told_from_a_film(tmp_path):
    (tmp_path / "a.heic").write_bytes(b"\0\0\0\x18ftypheic" + bytes(400))
    assert "Save it as JPEG" in refusal(tmp_path / "a.heic", ClipUnreadable)


def test_a_film_whose_copy_was_cut_off(tmp_path, film):
    path = tmp_path / "half.mp4"
    path.write_bytes(film.read_bytes()[: film.stat().st_size // 2])
    assert "cut off" in refusal(path, ClipTruncated)


def test_a_film_that_breaks_off_gives_its_frames_first(tmp_path):
    whole = write(tmp_path / "whole.avi", map(picture, range(80)), codec="MJPG")
    path = tmp_path / "half.avi"
    path.write_bytes(whole.read_bytes()[: whole.stat().st_size // 2])
    frames = []
    with pytest.raises(ClipTruncated, match=r"breaks off: \d+ of 80 pictures"):
        frames.extend(read_frames(path))
    assert 20 < len(frames) < 60


def test_nine_tenths_of_a_film_are_enough():
    log = _Log("film", {"frames": 100, "fps": 25.0}, single=False)
    for index in range(91):
        log.take(index, index / 25, picture(index))
    log.finish(91)


def test_a_declared_count_is_not_trusted_against_the_length():
    """Phones vary their rate: half the frames over the whole time is no broken film."""
    log = _Log("film", {"frames": 100, "fps": 30.0}, single=False)
    for index in range(50):
        log.take(index, index / 15, picture(index))
    log.finish(50)


def test_a_film_with_too_few_frames_a_second(tmp_path):
    path = write(tmp_path / "slow.mp4", map(picture, range(20)), fps=5)
    assert "only 5.0 frames a second" in refusal(path, ClipUnusable)


def test_ten_frames_a_second_are_enough(tmp_path):
    path = write(tmp_path / "ten.mp4", map(picture, range(70)), fps=10)
    assert len(list(read_frames(path))) == 70


def test_an_absurd_rate():
    log = _Log("film", {"frames": 10, "fps": 90000.0}, single=False)
    for index in range(10):
        log.take(index, index / 90000, picture(index))
    with pytest.raises(ClipUnusable, match="claims 90000 frames"):
        log.finish(10)


def test_time_stamps_that_do_not_rise():
    log = _Log("film", {"frames": 40, "fps": 25.0}, single=False)
    taken = [log.take(i, [i, i - 2][i % 2] / 25, picture(i)) for i in range(40)]
    assert sum(frame is None for frame in taken) >= 15
    with pytest.raises(ClipUnusable, match="do not rise"):
        log.finish(40)


def test_one_stamp_out_of_order_costs_one_frame_only():
    log = _Log("film", {"frames": 40, "fps": 25.0}, single=False)
    stamps = [i / 25 for i in range(40)]
    stamps[20] = stamps[19]
    taken = [log.take(i, t, picture(i)) for i, t in enumerate(stamps)]
    assert [i for i, frame in enumerate(taken) if frame is None] == [20]
    log.finish(40)


def test_a_film_too_dark(tmp_path):
    dark = (np.clip(picture(i).astype(int) // 30, 0, 255).astype(np.uint8) for i in range(30))
    assert "too dark" in refusal(write(tmp_path / "dark.mp4", dark), ClipUnusable)


def test_a_film_of_one_picture(tmp_path):
    path = write(tmp_path / "one.avi", [picture(0)], codec="MJPG")
    assert "single picture" in refusal(path, ClipTruncated)


def test_blank_pictures_are_marked_and_many_of_them_refused(tmp_path):
    grey = np.full((SIZE[1], SIZE[0], 3), 128, np.uint8)
    pictures = [grey if 10 <= i < 25 else picture(i) for i in range(40)]
    path = write(tmp_path / "damaged.avi", pictures, codec="MJPG")
    frames = []
    with pytest.raises(ClipUnreadable, match="15 of 40 pictures"):
        frames.extend(read_frames(path))
    assert [f.index for f in frames if f.is_blank] == list(range(10, 25))


def test_frozen_pictures_are_marked(tmp_path):
    pictures = [picture(min(i, 10) if i < 20 else i) for i in range(30)]
    path = write(tmp_path / "frozen.avi", pictures, codec="MJPG")
    assert [f.index for f in read_frames(path) if f.is_repeat] == list(range(11, 20))


def test_a_giant_picture_is_refused_before_it_is_decoded(tmp_path, film):
    """The size in the header of an MP4 is changed to 60000 x 60000."""
    data = bytearray(film.read_bytes())
    at = data.find(b"mp4v", data.find(b"stsd"))
    assert at > 0
    data[at + 28 : at + 32] = (60000).to_bytes(2, "big") * 2
    path = tmp_path / "giant.mp4"
    path.write_bytes(data)
    started = time.monotonic()
    with contextlib.suppress(ClipError):
        for frame in read_frames(path):
            assert frame.image.shape == (96, 160, 3)  # the stream itself knows better
    assert time.monotonic() - started < 30


def test_a_giant_photo_is_refused(tmp_path):
    cv2.imwrite(str(tmp_path / "cow.png"), picture(0))
    data = bytearray((tmp_path / "cow.png").read_bytes())
    data[16:24] = (40000).to_bytes(4, "big") * 2
    data[29:33] = zlib.crc32(data[12:29]).to_bytes(4, "big")
    (tmp_path / "cow.png").write_bytes(data)
    refusal(tmp_path / "cow.png", ClipError)


def test_a_decoder_that_hangs_is_given_up(film, monkeypatch):
    """Patience shorter than any start of a child stands in for a child that never answers."""
    with pytest.raises(ClipUnreadable, match="took too long"):
        list(read_frames(film, patience_s=0.001))


def test_a_decoder_that_dies_is_a_damaged_film(film, monkeypatch):
    monkeypatch.setattr(frames_module, "decoding_order", lambda *_: {"nonsense": 1})
    with pytest.raises(ClipUnreadable, match="damaged"):
        list(read_frames(film))


def test_thirty_damaged_copies_neither_crash_nor_hang(film, tmp_path):
    rng = np.random.default_rng(11)
    whole = film.read_bytes()
    for number in range(30):
        data = bytearray(whole)
        for at in rng.integers(0, len(data), 40):
            data[at] = rng.integers(256)
        path = tmp_path / f"{number}.mp4"
        path.write_bytes(data[: rng.integers(1, len(data) + 1)] if number % 2 else data)
        with contextlib.suppress(ClipError):
            for frame in read_frames(path):
                assert frame.image.ndim == 3


def test_photos_named_in_two_ways_are_no_film(tmp_path):
    from gait.clip import is_frame_folder

    for name in [f"a{i:02d}" for i in range(8)] + [f"b{i:02d}" for i in range(8)]:
        (tmp_path / f"{name}.jpg").touch()
    assert not is_frame_folder(tmp_path)


@pytest.mark.parametrize(("step", "is_film"), [(1, True), (7, False)])
def test_numbers_with_many_gaps_are_no_film(tmp_path, step, is_film):
    from gait.clip import is_frame_folder

    for i in range(12):
        (tmp_path / f"cow_{1 + step * i:05d}.jpg").touch()
    assert is_frame_folder(tmp_path) is is_film
