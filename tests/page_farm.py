"""Farms for the tests of the pages: drawn cows filed with what a perfect network would see."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, datetime, timedelta
from pathlib import Path

from gait import places
from gait.filing import file_report
from gait.herd.records import Cow, Finding, NewPass, Trim
from gait.store import PastDecision, PastPass, Store
from tests.farms import proposal

HERD = ("0412", "0417", "0423", "0431", "0440", "0466")


def herd_list(today: datetime) -> list[Cow]:
    """Return six invented cows, among them one at dry-off and one springing heifer."""
    day = today.date()
    cows = [
        Cow(number=n, parity=1 + i % 3, calved_on=day - timedelta(days=40 + 35 * i), group="north")
        for i, n in enumerate(HERD[:4])
    ]
    dry = Cow(number=HERD[4], parity=2, calved_on=day - timedelta(days=310), dried_off_on=day)
    heifer = Cow(number=HERD[5], parity=0, due_on=day + timedelta(days=48))
    return [*cows, dry, heifer]


def decided(
    cow: str, score: int, at: datetime, *, who: str = "Ann", proposed: int | None = None
) -> PastPass:
    """Return a past pass of a cow with a person's score."""
    kind = "confirmed" if proposed in (None, score) else "overridden"
    walk = NewPass(
        number=1, observed_at=at, proposal=None if proposed is None else proposal(proposed)
    )
    made = PastDecision(kind=kind, who=who, at=at, score=score, reason="seen", blind=True)
    return PastPass(walk=walk, cow=cow, decisions=(made,))


def load_history(store: Store, now: datetime | None = None) -> None:
    """Give a farm its herd list, a year of scores, and one treated cow that waits for recheck."""
    now = now or datetime.now(UTC)
    weeks = [now - timedelta(weeks=w) for w in range(40, 0, -4)]
    passes = [
        decided(cow, 1 + (i + k) % 3, at, proposed=1 + (i + 2 * k) % 3)
        for k, cow in enumerate(HERD[:4])
        for i, at in enumerate(weeks)
    ]
    passes.append(decided("0423", 4, now - timedelta(days=3), proposed=4))
    ulcer = Finding(
        foot="LH", claw="outer", zone="typical_place", code="SU", block=True, block_claw="inner"
    )
    trim = Trim(
        cow="0417",
        on=(now - timedelta(days=15)).date(),
        who="Tom",
        reason="therapeutic",
        findings=(ulcer,),
        recheck_on=(now - timedelta(days=1)).date(),
    )
    store.bulk.load(cows=herd_list(now), passes=passes)
    store.trims.add(trim)


def file_drawn(
    store: Store, folder: Path, scores: Sequence[int], *, height: int = 360
) -> list[int]:
    """Draw one short film a score, measure it from its truth and file it; return the passes."""
    places.add_bundle_to_path()
    from dataclasses import replace

    from gait.clip import read_info
    from gait.pipeline import ClipReport, _report
    from gait.score import ScoreModel
    from synthetic_clips import cases, passes
    from synthetic_clips.film import write_clip
    from synthetic_clips.recipes import random_lane  # noqa: F401
    from tests.measure_truth import pass_from_truth

    model = ScoreModel.load(places.score_model())
    filed: list[int] = []
    for number, score in enumerate(scores):
        scene = cases._score(score)(300 + number)
        camera = replace(scene.camera, height=height, width=height * 16 // 9, fps=25.0)
        scene = replace(scene, camera=camera)
        film = folder / f"cow_{HERD[number % len(HERD)]}_{number}.webm"
        write_clip(scene, film)
        track = pass_from_truth(passes.truth_pass(scene))
        report = ClipReport(
            info=read_info(film),
            frames=scene.frame_count,
            passes=[_report(track, model, None, None)],
        )
        filed += file_report(store, report, who="Ann").pass_ids
    return filed
