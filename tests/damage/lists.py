"""Lists, documents, models and records that something happened to: one for each seed."""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import numpy as np

from gait import places
from gait.cli.learning import read_pairs
from gait.errors import ExchangeError
from gait.exchange.ade import ade_document, attention_event, read_ade, trim_events
from gait.exchange.backup import restore_backup, write_backup
from gait.exchange.csv_files import read_csv_file
from gait.exchange.herd_csv import herd_list_csv, preview_herd_list
from gait.exchange.records_csv import decisions_csv, read_decisions, read_exit_list
from gait.herd.records import Cow, Finding, Score, Trim
from gait.pose.card import read_card
from gait.score import ScoreModel
from gait.store import open_store
from tests.damage.films import bits_flipped, emptied, head_scrambled, pieces_swapped, truncated
from tests.farms import add_pass

Damage = Callable[[bytes, np.random.Generator], bytes]
NOON = datetime(2026, 3, 2, 12, 0, tzinfo=UTC)
COWS = tuple(
    Cow(number=f"{n:04d}", electronic=f"2760001234{n:05d}", parity=n % 5 + 1)
    for n in range(400, 420)
)


# --- sound files of each kind, and how the program reads them ------------------------------------


@dataclass(frozen=True, kw_only=True)
class Kind:
    """A kind of file: its suffix, a sound one, and the program's way of reading it."""

    suffix: str
    make: Callable[[Path], None]
    read: Callable[[Path, Path], object]


def _herd(path: Path) -> None:
    path.write_text(herd_list_csv(COWS), encoding="utf-8")


def _exits(path: Path) -> None:
    rows = [f"2026-03-02T06:{i:02d}:00Z,{c.number}" for i, c in enumerate(COWS)]
    path.write_text("\n".join(["time,number", *rows]), encoding="utf-8")


def _decisions(path: Path) -> None:
    with open_store(path.parent / "made") as store:
        if not store.clips.all():
            for n in range(6):
                pass_id = add_pass(store, f"{n:04d}", name="abcdef"[n])
                store.decisions.add(pass_id, kind="overridden", score=4, who="Ann", reason="stiff")
        path.write_text(decisions_csv(store.decisions.lines()), encoding="utf-8")


def _pairs(path: Path) -> None:
    rows = [f"{n},{n % 5 + 1},{(n + 1) % 5 + 1}" for n in range(30)]
    path.write_text("\n".join(["cow,ann,bob", *rows]), encoding="utf-8")


def _ade(path: Path) -> None:
    score = Score(
        cow="0401",
        observed_at=NOON,
        score=4,
        pass_id=7,
        decided_at=NOON,
        decided_by="Ann",
        proposed=3,
    )
    finding = Finding(foot="LH", claw="outer", code="SU", severity="severe", note="deep")
    trim = Trim(
        cow="0401", on=NOON.date(), at=NOON, who="Tom", reason="therapeutic", findings=(finding,)
    )
    events = [attention_event(score, COWS[1], made_at=NOON)]
    events += trim_events(trim, COWS[1], made_at=NOON)
    path.write_text(json.dumps(ade_document(events)), encoding="utf-8")


def _read_ade(path: Path, _: Path) -> object:
    try:
        document = json.loads(path.read_bytes())
    except (ValueError, RecursionError) as error:
        raise ExchangeError("This file is no JSON.", "Export it again.") from error
    return read_ade(document, COWS)


def _model(path: Path) -> None:
    path.write_bytes(places.score_model().read_bytes())


def _card(path: Path) -> None:
    path.with_suffix(".tflite").write_bytes(b"TFL3" * 200)
    import hashlib

    from gait.pose.card import CHANNELS

    card = {
        "version": "1",
        "sha256": hashlib.sha256(b"TFL3" * 200).hexdigest(),
        "input": {"width": 320, "height": 192},
        "output": {"stride": 2, "fold": 2, "channels": list(CHANNELS)},
        "crop_growth": 0.12,
    }
    path.write_text(json.dumps(card), encoding="utf-8")


def _network(path: Path) -> None:
    _card(path.with_suffix(".json"))


def _backup(path: Path) -> None:
    with open_store(path.parent / "made") as store:
        write_backup(store, path)


def _restore(path: Path, folder: Path) -> object:
    return restore_backup(path, folder / f"restored_{path.stem}")


def _records(path: Path) -> None:
    with open_store(path.parent / "made") as store:
        store.cows.put(COWS)
    source = sqlite3.connect(path.parent / "made" / "records.sqlite")
    target = sqlite3.connect(path)
    source.backup(target)
    source.close()
    target.close()


def _open(path: Path, _: Path) -> object:
    with open_store(path) as store:
        cows = store.cows.all()
        store.settings.put("trial", 1, who="Ann")
        return cows


KINDS: dict[str, Kind] = {
    "herd list": Kind(
        suffix=".csv", make=_herd, read=lambda p, _: preview_herd_list(read_csv_file(p), COWS)
    ),
    "exit list": Kind(
        suffix=".csv", make=_exits, read=lambda p, _: read_exit_list(p.read_bytes(), COWS)
    ),
    "decisions": Kind(
        suffix=".csv", make=_decisions, read=lambda p, _: read_decisions(p.read_bytes())
    ),
    "two scorers": Kind(suffix=".csv", make=_pairs, read=lambda p, _: read_pairs(p)),
    "ADE": Kind(suffix=".json", make=_ade, read=_read_ade),
    "score model": Kind(suffix=".json", make=_model, read=lambda p, _: ScoreModel.load(p)),
    "network card": Kind(
        suffix=".json", make=_card, read=lambda p, _: read_card(p.with_suffix(".tflite"))
    ),
    "network": Kind(suffix=".tflite", make=_network, read=lambda p, _: read_card(p)),
    "backup": Kind(suffix=".zip", make=_backup, read=_restore),
    "records": Kind(suffix=".sqlite", make=_records, read=_open),
}


# --- what can happen to them ---------------------------------------------------------------------


def cells_replaced(data: bytes, rng: np.random.Generator) -> bytes:
    """Put absurd text into cells or values of a text file."""
    odd = [
        b"", b"0", b"-1", b"1e999", b"NaN", b"9" * 400, b"\x00", "\u202e\u0660".encode(), b'"',
        b"''", b"=cmd|' /C calc'!A0", b"2026-13-45", b"0000-00-00T99:99:99Z", b"null", b"[]", b"{}",
        b"true", b"\xff\xfe", b"../../../x", b"\r", b"a" * 70_000,
    ]  # fmt: skip
    mark = b"," if b"," in data else b" "
    parts = data.split(mark)
    for _ in range(int(rng.integers(1, 8))):
        parts[int(rng.integers(len(parts)))] = odd[int(rng.integers(len(odd)))]
    return mark.join(parts)


def nested(data: bytes, rng: np.random.Generator) -> bytes:
    """Be brackets within brackets, or one endless line."""
    depth = int(10 ** rng.uniform(2, 5))
    forms = (b"[" * depth, b'{"a":' * depth, b'"' * depth, b"," * depth, data + b"\n" * depth)
    return forms[int(rng.integers(len(forms)))]


def values_swapped(data: bytes, rng: np.random.Generator) -> bytes:
    """Give JSON values another type; other files lose a piece."""
    try:
        document = json.loads(data)
    except ValueError:
        return pieces_swapped(data, rng)
    odd: list[Any] = [None, [], {}, "x", -1, 1e308, True, [[[]]], {"a": None}]
    _swap(document, rng, odd)
    return json.dumps(document).encode()


def _swap(document: Any, rng: np.random.Generator, odd: list[Any]) -> None:
    places_: list[tuple[Any, Any]] = []

    def walk(part: Any) -> None:
        if not isinstance(part, dict | list):
            return
        for key in list(part) if isinstance(part, dict) else range(len(part)):
            places_.append((part, key))
            walk(part[key])

    walk(document)
    for _ in range(int(rng.integers(1, 4))):
        part, key = places_[int(rng.integers(len(places_)))]
        part[key] = odd[int(rng.integers(len(odd)))]


DAMAGES: tuple[Damage, ...] = (
    truncated,
    bits_flipped,
    head_scrambled,
    emptied,
    pieces_swapped,
    cells_replaced,
    nested,
    values_swapped,
)


def kind_of(seed: int) -> str:
    """Return what kind of file a seed damages."""
    return list(KINDS)[seed % len(KINDS)]


def write_list(seed: int, folder: Path) -> Path:
    """Write the damaged file of a seed; files that belong beside it are written as well."""
    rng = np.random.default_rng((seed, 402))
    kind = KINDS[kind_of(seed)]
    path = folder / f"list_{seed:04d}{kind.suffix}"
    kind.make(path)
    damage = DAMAGES[int(rng.integers(len(DAMAGES)))]
    path.write_bytes(damage(path.read_bytes(), rng))
    return path


def read_list(seed: int, path: Path, folder: Path) -> object:
    """Read the file of a seed as the program does."""
    return KINDS[kind_of(seed)].read(path, folder)
