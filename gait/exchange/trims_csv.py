"""Trims and their findings as CSV, one row per finding: a trimmer's list, both ways."""

from __future__ import annotations

import uuid
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from gait.exchange import fields as f
from gait.exchange.csv_files import Cell, as_dicts, read_csv, write_csv
from gait.exchange.herd_csv import Rejected
from gait.exchange.records_csv import OWN_NUMBERS, need_columns, truth
from gait.herd.feet import check_trim
from gait.herd.records import TRIM_REASONS, Cow, Finding, Trim

TRIM_COLUMNS: tuple[str, ...] = (
    "animal_id_scheme", "animal_id", "trimmed_on", "who", "reason", "foot", "claw", "zone",
    "code", "stage", "severity", "block", "block_claw", "bandage", "toe_length_mm", "sole_mm",
    "finding_note", "medicine", "withdrawal_until", "withdrawal_source", "next_step", "recheck_on",
    "note", "trim_uid", "corrects",
)  # fmt: skip


def trims_csv(trims: Sequence[Trim]) -> str:
    """Return trims as CSV, one row per finding, or one row for a trim without any."""
    return write_csv(TRIM_COLUMNS, (row for trim in trims for row in _trim_rows(trim)))


def _trim_rows(trim: Trim) -> list[dict[str, Cell]]:
    whole: dict[str, Cell] = {
        "animal_id_scheme": OWN_NUMBERS,
        "animal_id": trim.cow,
        "trimmed_on": trim.on,
        "who": trim.who,
        "reason": trim.reason,
        "medicine": trim.medicine,
        "withdrawal_until": trim.withdrawal_until,
        "withdrawal_source": trim.withdrawal_source,
        "next_step": trim.next_step,
        "recheck_on": trim.recheck_on,
        "note": trim.note,
        "trim_uid": trim.uid,
        "corrects": trim.corrects,
    }
    found = [
        {**whole, **{k: v for k, v in vars(x).items() if k != "note"}, "finding_note": x.note}
        for x in trim.findings
    ]
    return found or [whole]


_OWN_UIDS = uuid.UUID("5d1f3c1e-7a55-4c0b-9a52-0f7a3c3f6b11")  # any fixed one


@dataclass(frozen=True, kw_only=True)
class TrimsRead:
    """Trims with their findings to bring in, and the rows that cannot be taken."""

    trims: tuple[Trim, ...]
    rejected: tuple[Rejected, ...]


def read_trims(content: bytes | str, cows: Sequence[Cow] | None = None) -> TrimsRead:
    """Read a trimmer's list: one row per finding, with the columns of :data:`TRIM_COLUMNS`.

    Only animal_id, trimmed_on and who are needed. Rows of one cow, day and person (or of one
    trim_uid) are one trim. Without a trim_uid one is made from cow, day and person, so that the
    same list brought in again is recognised. A trim with a row that cannot be taken is left out
    whole, so that it comes in whole once the list is put right.

    Parameters
    ----------
    content : bytes or str
    cows : sequence of Cow, optional
        The herd; rows of other cows are then rejected.

    Raises
    ------
    ExchangeError
        If it is no CSV or lacks a column that is needed.
    """
    table = read_csv(content)
    need_columns(table, ("animal_id", "trimmed_on", "who"))
    order = f.guess_date_order(row["trimmed_on"] for _, row in as_dicts(table))
    known = None if cows is None else {cow.number for cow in cows}
    trims: dict[str, Trim] = {}
    lines: dict[str, list[tuple[int, tuple[str, ...]]]] = {}
    written: dict[tuple[str, ...], str] = {}
    spoiled = set()
    rejected = []
    for line, row in as_dicts(table):
        key = tuple(row.get(n, "").strip() for n in ("trim_uid", "animal_id", "trimmed_on", "who"))
        try:
            trim = _trim(row, order)
            if known is not None and trim.cow not in known:
                raise ValueError(f"Cow {trim.cow} is not on the herd list.")
            wrong = check_trim(trim)
            if wrong:
                raise ValueError(" ".join(wrong))
        except ValueError as error:
            rejected.append(Rejected(line=line, cells=tuple(row.values()), why=str(error)))
            spoiled.add(key)
            continue
        if not trim.uid:
            name = f"{trim.cow}|{trim.on}|{trim.who}"
            trim = replace(trim, uid=uuid.uuid5(_OWN_UIDS, name).hex)
        written[key] = trim.uid
        lines.setdefault(trim.uid, []).append((line, tuple(row.values())))
        before = trims.get(trim.uid)
        earlier = before.findings if before else ()
        trims[trim.uid] = replace(before or trim, findings=earlier + trim.findings)
    left_out = {written[key] for key in spoiled if key in written}
    rejected += [
        Rejected(line=line, cells=cells, why="Another row of the same trim cannot be taken.")
        for uid in left_out
        for line, cells in lines[uid]
    ]
    return TrimsRead(
        trims=tuple(trim for uid, trim in trims.items() if uid not in left_out),
        rejected=tuple(sorted(rejected, key=lambda r: r.line)),
    )


def _trim(row: Mapping[str, str], order: f.DateOrder) -> Trim:
    def text(name: str) -> str:
        return row.get(name, "")

    reason = text("reason").strip() or "maintenance"
    if reason not in TRIM_REASONS:
        raise ValueError(f"{reason!r} is no reason for a trim.")
    on = f.day(text("trimmed_on"), order)
    if on is None:
        raise ValueError("The day of the trim is missing.")
    return Trim(
        cow=f.animal_number(text("animal_id")),
        on=on,
        who=text("who"),
        reason=reason,
        findings=_finding_of(row),
        medicine=text("medicine"),
        withdrawal_until=f.day(text("withdrawal_until"), order),
        withdrawal_source=text("withdrawal_source"),
        next_step=text("next_step"),
        recheck_on=f.day(text("recheck_on"), order),
        note=text("note"),
        uid=text("trim_uid").strip(),
        corrects=text("corrects").strip() or None,
    )


def _finding_of(row: Mapping[str, str]) -> tuple[Finding, ...]:
    def word(name: str) -> str | None:
        return row.get(name, "").strip() or None

    foot = word("foot")
    if foot is None:
        return ()
    return (
        Finding(
            foot=foot,
            claw=word("claw") or "",
            zone=word("zone"),
            code=word("code"),
            stage=word("stage"),
            severity=word("severity"),
            block=truth(row.get("block", "")),
            block_claw=word("block_claw"),
            bandage=truth(row.get("bandage", "")),
            toe_length_mm=_length(word("toe_length_mm")),
            sole_mm=_length(word("sole_mm")),
            note=row.get("finding_note", ""),
        ),
    )


def _length(text: str | None) -> float | None:
    if text is None:
        return None
    try:
        value = float(text.replace(",", "."))
    except ValueError as error:
        raise ValueError(f"{text!r} is no length in millimetres.") from error
    if not 0 < value < 250:
        raise ValueError(f"A length of {text} mm cannot be right: check millimetres or inches.")
    return value
