"""The invented farm: believable, the same for the same seed, and taken up by the store."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import numpy as np

from gait.exchange.fields import electronic_number
from gait.exchange.records_csv import read_exit_list
from gait.farm import is_demo, lame_today
from gait.herd.feet import CLAW_TERMS, FEET, ZONES
from gait.store import open_store
from synthetic_clips import demo_farm
from synthetic_clips.demo_herd import demo_herd, exit_order_csv, film_cows, herd_csv, write_herd

TODAY = date(2026, 11, 25)


def test_the_same_seed_and_day_give_the_same_farm() -> None:
    assert demo_herd(TODAY, 4) == demo_herd(TODAY, 4)
    assert demo_herd(TODAY, 4) != demo_herd(TODAY, 5)


def test_numbers_are_unique_and_electronic_ones_are_test_numbers() -> None:
    herd = demo_herd(TODAY)
    assert len(herd.cows) == 60
    assert len({cow.number for cow in herd.cows}) == 60
    for cow in herd.cows:
        assert cow.electronic is not None
        assert cow.electronic.startswith("999")
        assert electronic_number(cow.electronic) == cow.electronic


def test_dates_of_every_cow_hang_together() -> None:
    for cow in demo_herd(TODAY).cows:
        assert cow.birth_on is not None
        if cow.parity == 0:
            assert cow.calved_on is None
            assert cow.due_on is not None
            assert cow.due_on > TODAY
            continue
        assert cow.calved_on is not None
        assert cow.birth_on + timedelta(days=600) < cow.calved_on <= TODAY
        if cow.dried_off_on is not None:
            assert cow.calved_on < cow.dried_off_on <= TODAY
            assert cow.due_on is not None
            assert cow.due_on > cow.dried_off_on


def test_scores_and_trims_are_of_known_cows_and_in_the_past() -> None:
    herd = demo_herd(TODAY)
    known = {cow.number for cow in herd.cows}
    assert all(seen.cow in known and 1 <= seen.score <= 5 for seen in herd.scores)
    assert all(seen.at.date() < TODAY for seen in herd.scores)
    assert [seen.at for seen in herd.scores] == sorted(seen.at for seen in herd.scores)
    for trim in herd.trims:
        assert trim.cow in known
        assert trim.on < TODAY
        for found in trim.findings:
            assert found.foot in FEET
            assert found.code in CLAW_TERMS
            assert found.zone in ZONES


def test_every_treated_cow_was_seen_lame_before() -> None:
    herd = demo_herd(TODAY)
    therapeutic = [trim for trim in herd.trims if trim.reason == "therapeutic"]
    assert len(therapeutic) > 10
    for trim in therapeutic:
        lame = [s for s in herd.scores if s.cow == trim.cow and s.score >= 3]
        assert any(0 <= (trim.on - seen.at.date()).days <= 6 for seen in lame)


def test_the_share_of_lame_cows_is_believable() -> None:
    # Within herds 0-88 %, mean 22.8 % of cows lame: Thomsen, Shearer & Houe 2023, Vet J 295:105975.
    shares = []
    for seed in range(6):
        monthly = [s.score >= 3 for s in demo_herd(TODAY, seed).scores if s.why == "monthly"]
        shares.append(np.mean(monthly))
    assert 0.08 < np.mean(shares) < 0.35


def test_the_herd_list_can_be_written(tmp_path: Path) -> None:
    herd = demo_herd(TODAY)
    write_herd(herd, tmp_path)
    lines = (tmp_path / "herd.csv").read_bytes().decode().split("\r\n")
    assert lines[0].startswith("number,electronic,birth_on")
    assert len(lines) == 62
    assert herd_csv(herd).count("999") >= 60


def test_the_film_shows_cows_of_the_herd_in_the_order_of_the_list() -> None:
    scene, cows = demo_farm.exit_lane_scene(today=TODAY)
    herd = demo_herd(TODAY, demo_farm.HERD_SEED)
    assert 30 <= scene.duration_s <= 60
    assert len(scene.cows) == len(cows) == 6
    start = datetime(2026, 11, 25, 6, 0, tzinfo=UTC)
    times = demo_farm._read_times(scene, cows, start)
    read = read_exit_list(exit_order_csv(times), herd.cows)
    assert read.rejected == ()
    assert [entry.cow for entry in read.entries] == [cow.number for cow in cows]
    stamps = [entry.at for entry in read.entries]
    assert stamps == sorted(stamps)


def test_film_cows_walk_with_several_scores() -> None:
    chosen = film_cows(demo_herd(TODAY), 3)
    assert len({cow.number for cow, _ in chosen}) == 6
    assert {1, 2, 3, 4} <= {score for _, score in chosen}


def test_the_farm_is_taken_up_by_the_store(tmp_path: Path) -> None:
    with open_store(tmp_path) as store:
        demo_farm.load(store, TODAY)
        demo_farm.load(store, TODAY)
        herd = demo_herd(TODAY, demo_farm.HERD_SEED)
        assert len(store.cows.all()) == len(herd.cows)
        newest = {seen.cow: seen.score for seen in herd.scores}
        lame = {cow for cow, score in newest.items() if score >= 3}
        assert {entry.cow.number for entry in lame_today(store, TODAY)} >= lame
        assert is_demo(store)
