"""Films and photos that something happened to: one for each seed, the same on every machine."""

from __future__ import annotations

import struct
import tempfile
import zlib
from collections.abc import Callable
from functools import cache
from pathlib import Path

import cv2
import numpy as np

SIZE, FRAMES = (192, 108), 40
FORMATS = {".mp4": "mp4v", ".webm": "VP80", ".avi": "MJPG", ".mkv": "MJPG", ".mov": "mp4v"}
BOXES_WITH_BOXES = (b"moov", b"trak", b"mdia", b"minf", b"stbl", b"edts")


@cache
def whole(suffix: str) -> bytes:
    """Return a small sound film or photo: a bright square before a noisy wall."""
    if suffix in (".jpg", ".png"):
        done, data = cv2.imencode(suffix, _picture(0))
        assert done
        return data.tobytes()
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / f"film{suffix}"
        fourcc = cv2.VideoWriter.fourcc(*FORMATS[suffix])
        writer = cv2.VideoWriter(str(path), cv2.CAP_FFMPEG, fourcc, 25.0, SIZE)
        for index in range(FRAMES):
            writer.write(_picture(index))
        writer.release()
        return path.read_bytes()


def _picture(index: int) -> np.ndarray:
    rng = np.random.default_rng(index)
    image = rng.integers(100, 130, (SIZE[1], SIZE[0], 3)).astype(np.uint8)
    image[40:70, 4 * index : 4 * index + 30] = 230
    return image


# --- what can happen to any file ----------------------------------------------------------------


def truncated(data: bytes, rng: np.random.Generator) -> bytes:
    """Break off anywhere."""
    return data[: int(rng.integers(1, len(data)))]


def emptied(data: bytes, rng: np.random.Generator) -> bytes:
    """Leave nothing, or next to nothing."""
    return data[: int(rng.integers(0, 24))] if rng.random() < 0.5 else b""


def bits_flipped(data: bytes, rng: np.random.Generator) -> bytes:
    """Turn bits over, few or many, anywhere."""
    array = np.frombuffer(data, np.uint8).copy()
    count = int(10 ** rng.uniform(0, 3.5))
    places = rng.integers(0, array.size, count)
    array[places] ^= (1 << rng.integers(0, 8, count)).astype(np.uint8)
    return array.tobytes()


def head_scrambled(data: bytes, rng: np.random.Generator) -> bytes:
    """Put noise over part of the first kilobyte."""
    start = int(rng.integers(0, 64))
    length = int(rng.integers(4, 1024))
    return data[:start] + rng.bytes(length) + data[start + length :]


def wrong_head(data: bytes, rng: np.random.Generator) -> bytes:
    """Put the first bytes of another kind of file before the rest."""
    heads = (
        b"\x1a\x45\xdf\xa3", b"RIFF\xff\xff\xff\xffAVI ", b"\x00\x00\x00\x18ftypmp42", b"FLV\x01",
        b"\x00\x00\x01\xba", b"OggS", b"\xff\xd8\xff", b"\x89PNG\r\n\x1a\n",
        b"G" + bytes(187) + b"G",
        b"#EXTM3U\n/etc/passwd\n", b"ffconcat version 1.0\nfile /etc/passwd\n",
    )  # fmt: skip
    head = heads[int(rng.integers(len(heads)))]
    return head + data[len(head) :]


def pieces_swapped(data: bytes, rng: np.random.Generator) -> bytes:
    """Cut into pieces and lose, double or swap some, as a failing card does."""
    size = int(2 ** rng.uniform(6, 12))
    pieces = [data[i : i + size] for i in range(0, len(data), size)]
    for _ in range(int(rng.integers(1, 6))):
        a, b = (int(i) for i in rng.integers(0, len(pieces), 2))
        act = int(rng.integers(4))
        if act == 0:
            pieces[a], pieces[b] = pieces[b], pieces[a]
        elif act == 1:
            pieces[a] = bytes(len(pieces[a]))
        elif act == 2:
            pieces.insert(a, pieces[b])
        elif len(pieces) > 2:
            pieces.pop(a)
    return b"".join(pieces)


def numbers_blown_up(data: bytes, rng: np.random.Generator) -> bytes:
    """Set four-byte numbers of the first or last two kilobytes to extremes."""
    extremes = (0, 1, 0x7FFFFFFF, 0x80000000, 0xFFFFFFFF, 0xFFFF, 0x10000)
    array = bytearray(data)
    ends = [*range(0, min(2048, len(array) - 4)), *range(max(0, len(array) - 2048), len(array) - 4)]
    for _ in range(int(rng.integers(1, 8))):
        at = ends[int(rng.integers(len(ends)))]
        array[at : at + 4] = struct.pack(">I", extremes[int(rng.integers(len(extremes)))])
    return bytes(array)


# --- what can be written into a header ----------------------------------------------------------


def giant(data: bytes, rng: np.random.Generator) -> bytes:
    """Say that the picture is enormous, wherever its size stands in the file."""
    w, h = (int(2 ** rng.uniform(12, 16)) - 1 for _ in range(2))
    for packed in (">HH", "<HH", ">II", "<II"):
        data = data.replace(struct.pack(packed, *SIZE), struct.pack(packed, w, h))
    if data.startswith(b"\x89PNG"):  # its size is guarded by a check sum, which is put right
        data = data[:29] + struct.pack(">I", zlib.crc32(data[12:29])) + data[33:]
    # Matroska: PixelWidth, PixelHeight
    return data.replace(b"\xb0\x81\xc0", b"\xb0\x82" + struct.pack(">H", w)).replace(
        b"\xba\x81\x6c", b"\xba\x82" + struct.pack(">H", h)
    )


def absurd_rate(data: bytes, rng: np.random.Generator) -> bytes:
    """Say that the film has no, or a million, or a negative number of frames a second."""
    rate = int(rng.choice([0, 1, 0x7FFFFFFF, 0xFFFFFFFF, 1_000_000]))
    array = bytearray(data)
    for name, offset in ((b"mdhd", 16), (b"mvhd", 16), (b"strh", 24), (b"stts", 16)):
        at = array.find(name)
        if at >= 0:
            order = "<I" if name == b"strh" else ">I"
            array[at + offset : at + offset + 4] = struct.pack(order, rate)
    default_duration = array.find(b"\x23\xe3\x83")  # Matroska: DefaultDuration
    if default_duration >= 0:
        array[default_duration + 4 : default_duration + 8] = struct.pack(">I", rate)
    timecode_scale = array.find(b"\x2a\xd7\xb1")
    if timecode_scale >= 0:
        array[timecode_scale + 4 : timecode_scale + 7] = struct.pack(">I", rate)[1:]
    return bytes(array)


def many_streams(data: bytes, rng: np.random.Generator) -> bytes:
    """Say that the film holds thousands of tiny streams."""
    count = int(rng.integers(1000, 8000))
    if data[4:8] == b"ftyp":
        return _many_tracks(data, count)
    at = data.find(b"LIST", 40)
    if data[:4] == b"RIFF" and data[at + 8 : at + 12] == b"strl":
        length = struct.unpack("<I", data[at + 4 : at + 8])[0] + 8
        return data[:at] + data[at : at + length] * count + data[at + length :]
    at = data.find(b"\x16\x54\xae\x6b")  # Matroska: Tracks
    entry = data.find(b"\xae", at + 4)
    if at < 0 or entry < 0:
        return data
    return data[:entry] + data[entry : entry + 60] * count + data[entry + 60 :]


def _many_tracks(data: bytes, count: int) -> bytes:
    at = 0
    while at + 8 <= len(data):
        length, name = struct.unpack(">I", data[at : at + 4])[0], data[at + 4 : at + 8]
        if name == b"moov":
            inner = data[at + 8 : at + length]
            track = inner.find(b"trak") - 4
            size = struct.unpack(">I", inner[track : track + 4])[0]
            inner = inner[:track] + inner[track : track + size] * count + inner[track + size :]
            moov = struct.pack(">I", len(inner) + 8) + b"moov" + inner
            return data[:at] + moov + data[at + length :]
        if length < 8:
            break
        at += length
    return data


def pointing_elsewhere(data: bytes, rng: np.random.Generator) -> bytes:
    """Be a play list under a film's name that asks for other files or addresses."""
    lists = (
        "#EXTM3U\n#EXTINF:1,\nfile:///etc/passwd\n",
        "#EXTM3U\n#EXTINF:1,\nhttp://127.0.0.1:9/x.ts\n",
        "ffconcat version 1.0\nfile '/etc/passwd'\n",
        "v=0\no=- 0 0 IN IP4 127.0.0.1\nm=video 9 RTP/AVP 96\n",
        '<?xml version="1.0"?><MPD><BaseURL>http://127.0.0.1:9/</BaseURL></MPD>',
    )
    return lists[int(rng.integers(len(lists)))].encode()


Damage = Callable[[bytes, np.random.Generator], bytes]
DAMAGES: tuple[Damage, ...] = (
    truncated,
    bits_flipped,
    head_scrambled,
    wrong_head,
    emptied,
    giant,
    absurd_rate,
    many_streams,
    pieces_swapped,
    numbers_blown_up,
    pointing_elsewhere,
)
SUFFIXES = (".mp4", ".webm", ".avi", ".mkv", ".mov", ".jpg", ".png")


def kind_of(seed: int) -> str:
    """Return what happened to the film of a seed, for the table."""
    return DAMAGES[seed % len(DAMAGES)].__name__


def write_film(seed: int, folder: Path) -> Path:
    """Write the damaged film of a seed."""
    rng = np.random.default_rng((seed, 401))
    suffix = SUFFIXES[int(rng.integers(len(SUFFIXES)))]
    path = folder / f"film_{seed:04d}{suffix}"
    path.write_bytes(DAMAGES[seed % len(DAMAGES)](whole(suffix), rng))
    return path
