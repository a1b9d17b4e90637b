"""The farm's records as lists for others: decisions and trims as CSV, events as ICAR ADE JSON."""

from __future__ import annotations

import json
from collections.abc import Iterable
from datetime import UTC, date, datetime
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from gait.herd.lame_list import LameCow
    from gait.store import Store


def decisions_list(store: Store, since: date = date.min) -> str:
    """Return the scores that people gave, CSV; `since` is the first day taken in."""
    from gait.exchange.records_csv import decisions_csv

    electronic = {c.number: c.electronic for c in store.cows.all() if c.electronic}
    lines = [x for x in store.decisions.lines() if x.decision.at.date() >= since]
    return decisions_csv(lines, electronic)


LAME_COLUMNS = (
    "animal_id_scheme", "animal_id", "score", "urgency", "lame_since", "scored_at", "decided_by",
    "times_before", "chronic", "treated_on", "recheck_on", "group", "next_step", "cautions",
)  # fmt: skip


def lame_csv(lines: Iterable[LameCow]) -> str:
    """Return the lame list as CSV, most urgent first."""
    from gait.exchange.csv_files import write_csv
    from gait.exchange.records_csv import OWN_NUMBERS

    rows = (
        vars(line)
        | {
            "animal_id_scheme": OWN_NUMBERS,
            "animal_id": line.cow.number,
            "lame_since": line.since.date(),
            "chronic": line.is_chronic,
            "group": line.cow.group,
            "cautions": " ".join(line.cautions),
        }
        for line in lines
    )
    return write_csv(LAME_COLUMNS, rows)


def trims_list(store: Store, since: date = date.min) -> str:
    """Return the trims with what was found, CSV; `since` is the first day taken in."""
    from gait.exchange.trims_csv import trims_csv

    return trims_csv(store.trims.since(since))


def events_list(store: Store, since: date = date.min) -> str:
    """Return scores and trims as ICAR ADE events, JSON; `since` is the first day taken in."""
    from gait.exchange.ade import ade_document, attention_event, trim_events

    cows = {c.number: c for c in store.cows.all(include_left=True)}
    now = datetime.now(UTC)
    scores = [s for s in store.scores.latest() if s.observed_at.date() >= since]
    events = [attention_event(s, cows[s.cow], made_at=now) for s in scores if s.cow in cows]
    for trim in store.trims.since(since):
        if trim.cow in cows:
            events += trim_events(trim, cows[trim.cow], made_at=now)
    return json.dumps(ade_document(events), indent=1, ensure_ascii=False) + "\n"
