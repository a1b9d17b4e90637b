"""Anything at all given to a reader ends in a result or in the program's own error."""

from __future__ import annotations

import contextlib
import hashlib
import io
import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

from gait import places
from gait.clip.sniff import check_whole, sniff
from gait.errors import ClipError, ClipUnreadable, ExchangeError, GaitError, ModelFileInvalid
from gait.exchange import csv_files
from gait.exchange.ade import read_ade
from gait.exchange.csv_files import guarded, read_csv, unguarded, write_csv
from gait.exchange.herd_csv import preview_herd_list
from gait.exchange.records_csv import read_decisions, read_exit_list
from gait.herd.named_files import cow_from_file_name
from gait.herd.records import Cow
from gait.intake import take_in
from gait.pipeline import written_cow
from gait.pose.card import CHANNELS, read_card
from gait.score import ScoreModel
from gait.score.model import _digest
from gait.score.stored import stored_measures
from gait.store import open_store

COWS = (Cow(number="0412", electronic="276000123456789"), Cow(number="7"))
json_values: st.SearchStrategy[Any] = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=8),
    lambda inner: (
        st.lists(inner, max_size=4) | st.dictionaries(st.text(max_size=8), inner, max_size=4)
    ),
    max_leaves=12,
)
heads = st.sampled_from(
    [
        b"",
        b"\x00\x00\x00\x18ftypmp42",
        b"\x00\x00\x00\x01mdat",
        b"RIFF\0\0\0\0AVI ",
        b"\xff\xd8\xff",
    ]
)
on_a_disk = settings(suppress_health_check=[HealthCheck.function_scoped_fixture], deadline=None)


@on_a_disk
@given(heads, st.binary(max_size=400))
@example(b"\x00\x00\x00\x08moov", b"\x00\x00\x00\x01mdat" + b"\xff" * 8)
def test_first_bytes_of_a_file_never_confuse_the_sniffer(tmp_path, head, rest):
    path: Path = tmp_path / "file.mp4"
    path.write_bytes(head + rest)
    with contextlib.suppress(ClipError):
        sniff(path)
        check_whole(path)


@given(st.binary(max_size=300) | st.text(max_size=300))
def test_any_bytes_as_a_list(content):
    for read in (
        read_csv,
        lambda c: preview_herd_list(c, COWS),
        read_decisions,
        lambda c: read_exit_list(c, COWS),
    ):
        with contextlib.suppress(ExchangeError):
            read(content)


# a null character makes a file no text at all, which the reader says
cells = st.text(st.characters(exclude_characters="\0", exclude_categories=("Cs",)), max_size=12)


def test_a_list_of_endless_size_is_refused_before_it_is_read(monkeypatch):
    monkeypatch.setattr(csv_files, "LARGEST", 1000)
    with pytest.raises(ExchangeError, match="larger than"):
        read_csv(b"number\n" + b"7\n" * 1000)


lines = st.lists(
    st.lists(cells | st.sampled_from(["0412", "7", "2026-03-02", "=1+1"]), min_size=1, max_size=4),
    max_size=5,
)


@given(lines)
@example([["\t"]])  # kept from a spreadsheet's hands by a mark, but an empty line all the same
def test_any_cells_below_a_sound_header(rows):
    names = ["number", "electronic", "calved", "parity"]
    content = write_csv(names, [dict(zip(names, row, strict=False)) for row in rows])
    preview = preview_herd_list(content, COWS)
    filled = [r for r in rows if any(c.strip() for c in r)]
    assert len(preview.cows) + len(preview.rejected) <= len(filled)
    for rejected in preview.rejected:
        assert rejected.why


@given(st.text(max_size=40))
def test_no_text_leaves_as_a_formula_and_all_of_it_comes_back(text):
    kept = guarded(text)
    assert not kept.startswith(("=", "+", "-", "@", "\t", "\r"))
    assert unguarded(kept) == text


@given(json_values)
def test_any_json_as_ade(document):
    with contextlib.suppress(ExchangeError):
        read_ade(document, COWS)


EVENT = {
    "resourceType": "DiagnosisEvent",
    "animal": {"scheme": "farm", "id": "7"},
    "eventDateTime": "2026-03-02T12:00:00Z",
    "diagnoses": [{"id": "SU", "positions": [{"position": "LHO"}]}],
}


@given(st.sampled_from(sorted(EVENT)), json_values)
def test_any_value_within_an_ade_event(field, value):
    read = read_ade([EVENT | {field: value}], COWS)
    assert len(read.trims) + len(read.not_taken) == 1


@given(json_values)
def test_any_json_as_a_score_model(body):
    with pytest.raises(ModelFileInvalid):
        ScoreModel.from_json(body)


PUBLISHED = json.loads(places.score_model().read_text(encoding="utf-8"))


@given(st.sampled_from(sorted(set(PUBLISHED) - {"sha256"})), json_values)
def test_any_value_in_a_score_model_that_was_signed_anew(field, value):
    """A hash can be put right by whoever alters a model, so the content is checked as well."""
    body = {k: v for k, v in PUBLISHED.items() if k != "sha256"} | {field: value}
    with contextlib.suppress(ModelFileInvalid):
        ScoreModel.from_json(body | {"sha256": _digest(body)})


TERM_FIELDS = sorted(PUBLISHED["terms"][0])


@given(st.sampled_from(TERM_FIELDS), json_values)
def test_any_value_in_a_term_of_a_score_model(field, value):
    terms = [PUBLISHED["terms"][0] | {field: value}, *PUBLISHED["terms"][1:]]
    body = {k: v for k, v in PUBLISHED.items() if k != "sha256"} | {"terms": terms}
    with contextlib.suppress(ModelFileInvalid):
        ScoreModel.from_json(body | {"sha256": _digest(body)})


CARD = {
    "version": "1",
    "input": {"width": 320, "height": 192},
    "output": {"stride": 2, "fold": 2, "channels": list(CHANNELS)},
    "crop_growth": 0.12,
    "finder_threshold": 0.3,
}


@on_a_disk
@given(st.sampled_from(sorted(CARD)), json_values)
@example("output", {"stride": 0, "fold": 2, "channels": list(CHANNELS)})
@example("input", {"width": float("nan"), "height": 1})
@example("input", {"width": float("inf"), "height": 1})
def test_any_value_on_a_network_card(tmp_path, field, value):
    network: Path = tmp_path / "net.tflite"
    network.write_bytes(b"TFL3")
    card = {**CARD, "sha256": hashlib.sha256(b"TFL3").hexdigest(), field: value}
    network.with_suffix(".json").write_text(json.dumps(card), encoding="utf-8")
    with contextlib.suppress(ModelFileInvalid):
        assert read_card(network).stride > 0


kept_fields = st.sampled_from(["value", "se", "reason"])
kept_measure = st.dictionaries(kept_fields, st.none() | st.floats() | st.integers(0, 9))


@given(st.dictionaries(st.text(max_size=5), kept_measure))
def test_stored_measures_keep_missing_apart_from_zero(kept):
    for name, measure in stored_measures(kept).items():
        value, se = kept[name].get("value"), kept[name].get("se")
        if value is None or se is None:
            assert np.isnan(measure.value)
            assert measure.reason
        else:
            assert measure.value == pytest.approx(value, nan_ok=True)


@given(st.text(max_size=60))
def test_any_file_name_names_a_cow_of_the_list_or_none(name):
    found = cow_from_file_name(name, ["0412", "7"], [("276000123456789", "0412")])
    assert found.cow in (None, "0412", "7")
    assert set(found.candidates) <= {"0412", "7"}
    spelled = written_cow(name)
    assert spelled is None or spelled in name


@settings(max_examples=30, deadline=None, suppress_health_check=list(HealthCheck))
@given(st.text(max_size=80))
def test_any_upload_name_stays_within_the_farm_folder(tmp_path_factory, name):
    outer = tmp_path_factory.mktemp("outer")
    with open_store(outer / "farm") as store, contextlib.suppress(ClipUnreadable):
        take_in(store, io.BytesIO(b"x"), name + ".mp4", who="Ann")
    assert {p.name for p in outer.iterdir()} == {"farm"}
    inside = {p.name for p in (outer / "farm").iterdir() if not p.name.startswith("records")}
    assert inside <= {"incoming"}


def test_every_error_is_one_of_the_programs_own():
    assert issubclass(ClipError, GaitError)
    assert issubclass(ExchangeError, GaitError)
    assert issubclass(ModelFileInvalid, GaitError)
