"""Two clips of one cow on one day are combined; others are not."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from gait import places
from gait.herd.records import NewPass
from gait.same_day import same_day
from gait.score import ScoreModel
from gait.store import Store, open_store

MODEL = ScoreModel.load(places.score_model())
MORNING = datetime(2026, 3, 2, 6, 0, tzinfo=UTC)


def measures(score: int) -> dict[str, dict[str, object]]:
    return {
        t.name: {"value": t.typical[score - 1], "se": t.scale, "unit": t.unit, "strides": 3,
                 "reason": None}
        for t in MODEL.terms
    }  # fmt: skip


@pytest.fixture
def store(tmp_path: Path) -> Store:
    with open_store(tmp_path) as opened:
        yield opened


def add(store: Store, cow: str | None, at: datetime, score: int) -> int:
    clip = store.clips.add(sha256=f"{at.isoformat()}{cow}", name="lane.mp4", who="Ann").clip
    walk = NewPass(number=1, measures=measures(score), observed_at=at)
    (pass_id,) = store.passes.add(clip.clip_id, [walk])
    if cow is not None:
        store.identities.set(pass_id, cow, who="Ann", source="person")
    return pass_id


def test_two_clips_of_one_day_are_surer_than_one(store: Store) -> None:
    first = add(store, "12", MORNING, 4)
    assert same_day(store, first) is None
    add(store, "12", MORNING + timedelta(hours=10), 4)
    add(store, "12", MORNING + timedelta(days=1), 1)
    add(store, "13", MORNING, 1)
    both = same_day(store, first)
    assert both is not None
    assert both.passes == 2
    from gait.score.stored import stored_measures

    alone = MODEL.propose(stored_measures(measures(4)))
    assert both.proposal.value is not None
    assert both.proposal.lame_probability > alone.lame_probability


def test_a_cow_without_a_name_is_not_combined(store: Store) -> None:
    one = add(store, None, MORNING, 3)
    add(store, None, MORNING + timedelta(hours=1), 3)
    assert same_day(store, one) is None
