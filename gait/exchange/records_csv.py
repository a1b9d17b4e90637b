"""Decisions and exit-order lists as CSV."""

from __future__ import annotations

import uuid
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, tzinfo

from gait.errors import ExchangeError
from gait.exchange import fields as f
from gait.exchange.csv_files import Cell, CsvTable, as_dicts, read_csv, write_csv
from gait.exchange.herd_csv import Rejected
from gait.exchange.herd_headers import guess_columns
from gait.herd.records import DECISION_KINDS, Cow, NewPass
from gait.herd.which_cow import ExitEntry
from gait.store import DecisionLine, PastDecision, PastPass

OWN_NUMBERS = "farm"
"""Scheme of animal numbers that mean something on their own farm only."""

DECISION_COLUMNS: tuple[str, ...] = (
    "animal_id_scheme", "animal_id", "electronic_number", "observed_at", "clip_sha256", "clip",
    "pass", "decision_uid", "kind", "score", "reason", "who", "decided_at", "blind", "proposed",
    "model_version", "undoes",
)  # fmt: skip


def decisions_csv(
    lines: Sequence[DecisionLine], electronic: Mapping[str, str] | None = None
) -> str:
    """Return decisions as CSV, one row each, undo records too.

    Parameters
    ----------
    lines : sequence of DecisionLine
        From ``store.decisions.lines()``.
    electronic : mapping, optional
        Electronic number by animal number.
    """
    return write_csv(DECISION_COLUMNS, (_decision_row(line, electronic or {}) for line in lines))


def _decision_row(line: DecisionLine, electronic: Mapping[str, str]) -> dict[str, Cell]:
    made = line.decision
    return {
        "animal_id_scheme": OWN_NUMBERS,
        "animal_id": line.cow,
        "electronic_number": electronic.get(line.cow or ""),
        "observed_at": line.observed_at,
        "clip_sha256": line.clip_sha256,
        "clip": line.clip_name,
        "pass": line.pass_number,
        "decision_uid": made.uid,
        "kind": made.kind,
        "score": made.score,
        "reason": made.reason,
        "who": made.who,
        "decided_at": made.at,
        "blind": made.blind,
        "proposed": made.proposed,
        "model_version": made.model_version,
        "undoes": made.undoes,
    }


_OWN_UIDS = uuid.UUID("0b9d4a52-6c1f-4f0e-8a3e-2d7c5e1f9b64")  # any fixed one


@dataclass(frozen=True, kw_only=True)
class DecisionsRead:
    """Passes with decisions to bring in, and the rows that cannot be taken."""

    passes: tuple[PastPass, ...]
    rejected: tuple[Rejected, ...]


def read_decisions(
    content: bytes | str, clip_ids: Mapping[str, int] | None = None
) -> DecisionsRead:
    """Read decisions written by :func:`decisions_csv`, for ``store.bulk.load``.

    A row without a ``decision_uid`` gets one made from what it says, so that the same list brought
    in again is recognised. A pass with a row that cannot be taken is left out whole: decisions
    count in their order, and one that came in later would stand as the newest.

    Parameters
    ----------
    content : bytes or str
    clip_ids : mapping, optional
        Clip identifier by SHA-256, of clips in this farm's records; decisions on other clips
        come in without their film.

    Raises
    ------
    ExchangeError
        If it is no CSV or lacks a column that is needed.
    """
    table = read_csv(content)
    need_columns(table, ("animal_id", "observed_at", "kind", "who", "decided_at"))
    found: dict[tuple[str, ...], PastPass] = {}
    lines: dict[tuple[str, ...], list[tuple[int, tuple[str, ...]]]] = {}
    seen: dict[str, tuple[int, PastDecision]] = {}
    spoiled: set[tuple[str, ...]] = set()
    rejected = []
    for line, row in as_dicts(table):
        key = (row.get("clip_sha256", ""), row.get("pass", ""), row["observed_at"],
               row["animal_id"])  # fmt: skip
        cells = tuple(row.values())
        try:
            past = _past_decision(row)
            before_line, before = seen.setdefault(past.uid, (line, past))
            if before != past:
                raise ValueError(f"The decision {past.uid} is already in line {before_line}.")
            walk = found.get(key) or _past_pass(row, clip_ids or {})
        except ValueError as error:
            rejected.append(Rejected(line=line, cells=cells, why=str(error)))
            spoiled.add(key)
            continue
        lines.setdefault(key, []).append((line, cells))
        if before_line == line:
            walk = replace(walk, decisions=(*walk.decisions, past))
        found[key] = walk
    rejected += [
        Rejected(line=line, cells=cells, why="Another row of the same pass cannot be taken.")
        for key in spoiled
        for line, cells in lines.get(key, ())
    ]
    return DecisionsRead(
        passes=tuple(p for key, p in found.items() if key not in spoiled and p.decisions),
        rejected=tuple(sorted(rejected, key=lambda r: r.line)),
    )


def _past_pass(row: Mapping[str, str], clip_ids: Mapping[str, int]) -> PastPass:
    return PastPass(
        walk=NewPass(
            number=_whole_number(row.get("pass", "")) or 1, observed_at=f.moment(row["observed_at"])
        ),
        cow=row["animal_id"].strip() or None,
        clip_id=clip_ids.get(row.get("clip_sha256", "")),
    )


def _whole_number(text: str) -> int | None:
    if not text.strip():
        return None
    try:
        return int(text)
    except ValueError as error:
        raise ValueError(f"{text!r} is no whole number.") from error


def _past_decision(row: Mapping[str, str]) -> PastDecision:
    kind, score = row["kind"].strip(), row.get("score", "").strip()
    if kind not in DECISION_KINDS:
        raise ValueError(f"{kind!r} is no kind of decision.")
    if score and score not in ("1", "2", "3", "4", "5"):
        raise ValueError(f"A score goes from 1 to 5, not {score!r}.")
    if kind in ("confirmed", "overridden", "second_opinion") and not score:
        raise ValueError("The score is missing.")
    told = "|".join(row.get(name, "").strip() for name in DECISION_COLUMNS)
    return PastDecision(
        kind=kind,
        who=row["who"],
        at=f.moment(row["decided_at"]),
        score=int(score) if score else None,
        reason=row.get("reason", ""),
        blind=truth(row.get("blind", "")),
        uid=row.get("decision_uid", "").strip() or uuid.uuid5(_OWN_UIDS, told).hex,
        undoes=row.get("undoes", "").strip() or None,
        model_version=row.get("model_version") or None,
        proposed=_whole_number(row.get("proposed", "")),
    )


@dataclass(frozen=True, kw_only=True)
class ExitListRead:
    """An exit-order list as read, and the rows that cannot be taken."""

    entries: tuple[ExitEntry, ...]
    rejected: tuple[Rejected, ...]


def read_exit_list(
    content: bytes | str,
    cows: Sequence[Cow],
    *,
    on: date | None = None,
    zone: tzinfo | None = None,
) -> ExitListRead:
    """Read a list of the order at the exit: time and animal or electronic number.

    Parameters
    ----------
    content : bytes or str
        CSV; the column of times is named time, at, date or the like, and may be missing.
    cows : sequence of Cow
        The herd; a number that is not in it is rejected, not guessed.
    on : date, optional
        The day of times that have no date.
    zone : tzinfo, optional
        Of times that name none; the clock of this machine by default, as people write lists.

    Raises
    ------
    ExchangeError
        If no column holds numbers.
    """
    table = read_csv(content)
    columns = guess_columns(table.header)
    sources = [columns[name] for name in ("electronic", "number") if name in columns]
    if not sources:
        raise ExchangeError("No column holds the animal number.", "Name it 'number'.")
    times = ("time", "at", "datetime", "timestamp", "date", "zeit", "uhrzeit", "heure", "tijd",
             "hora", "ora", "tid")  # fmt: skip
    at_column = next((i for i, h in enumerate(table.header) if h.strip().lower() in times), None)
    known = {cow.number: cow.number for cow in cows}
    known |= {cow.electronic: cow.number for cow in cows if cow.electronic}
    entries, rejected = [], []
    for line, cells in table.rows:
        try:
            written = next((cells[i].strip() for i in sources if len(cells) > i and cells[i]), "")
            number = written if written in known else written.replace(" ", "")
            if number not in known:
                raise ValueError(f"Cow {written} is not on the herd list.")
            at = None
            if at_column is not None and at_column < len(cells):
                at = f.moment(cells[at_column], zone, on)
            entries.append(ExitEntry(cow=known[number], at=at))
        except ValueError as error:
            rejected.append(Rejected(line=line, cells=cells, why=str(error)))
    return ExitListRead(entries=tuple(entries), rejected=tuple(rejected))


def need_columns(table: CsvTable, names: Sequence[str]) -> None:
    """Refuse a list that lacks a column.

    Raises
    ------
    ExchangeError
        If one is missing.
    """
    missing = [name for name in names if name not in table.header]
    if missing:
        raise ExchangeError(
            f"The list lacks the column {missing[0]}.", "Use a list written by this program."
        )


def truth(text: str) -> bool:
    """Read a yes or no; anything else is no."""
    return text.strip().lower() in ("true", "1", "yes", "x")
