"""Everything recorded about one cow, in one readable document."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Any

from gait.errors import ExchangeError
from gait.exchange.csv_files import write_csv
from gait.herd.blocks import blocked_claw
from gait.herd.feet import CLAW_TERMS, FEET
from gait.herd.lame_list import noon
from gait.herd.records import Finding, Trim
from gait.store import Store
from gait.store.types import plain


@dataclass(frozen=True, kw_only=True)
class HistoryLine:
    """One thing that happened to a cow, in words."""

    at: datetime
    what: str
    who: str
    detail: str


def cow_history(store: Store, number: str) -> dict[str, Any]:
    """Return everything recorded about one cow as plain JSON values.

    Raises
    ------
    ExchangeError
        If there is no such cow.
    """
    cow = store.cows.get(number)
    if cow is None:
        raise ExchangeError(f"There is no cow {number} on the list.", "Check the number.")
    return dict(
        plain(
            {
                "cow": vars(cow),
                "calvings": [vars(c) for c in store.cows.calvings(number)],
                "passes": [vars(p) for p in store.passes.of_cow(number, limit=100_000)],
                "decisions": [vars(d) for d in store.decisions.of_cow(number)],
                "trims": [
                    vars(t) | {"findings": [vars(f) for f in t.findings]}
                    for t in store.trims.of_cows([number], corrected=True)
                ],
                "rechecks": [vars(r) for r in store.rechecks.all(cows=[number])],
            }
        )
    )


def time_line(store: Store, number: str) -> list[HistoryLine]:
    """Return what happened to a cow, newest first: decisions, trims, rechecks, calvings.

    Raises
    ------
    ExchangeError
        If there is no such cow.
    """
    if store.cows.get(number) is None:
        raise ExchangeError(f"There is no cow {number} on the list.", "Check the number.")
    lines = [
        HistoryLine(
            at=made.at,
            what=made.kind.replace("_", " "),
            who=made.who,
            detail=" ".join(
                w for w in (f"score {made.score}" if made.score else "", made.reason) if w
            ),
        )
        for made in store.decisions.of_cow(number)
    ]
    standing = {trim.uid for trim in store.trims.of_cows([number])}
    for trim in store.trims.of_cows([number], corrected=True):
        at = trim.at or noon(trim.on)
        gone = "" if trim.uid in standing or trim.reason == "taken_back" else ", no longer stands"
        what = f"{trim.reason.replace('_', ' ')} trim{gone}"
        lines.append(HistoryLine(at=at, what=what, who=trim.who, detail=_found(trim)))
    for recheck in store.rechecks.all(cows=[number]):
        if recheck.closed_at is not None:
            lines.append(
                HistoryLine(
                    at=recheck.closed_at,
                    what="recheck",
                    who=recheck.closed_by or "",
                    detail=recheck.outcome or recheck.state,
                )
            )
    lines += [
        HistoryLine(
            at=noon(c.calved_on),
            what="calving",
            who="",
            detail=f"parity {c.parity}" if c.parity is not None else "",
        )
        for c in store.cows.calvings(number)
    ]
    return sorted(lines, key=lambda line: line.at, reverse=True)


def history_csv(lines: list[HistoryLine]) -> str:
    """Return a time line as CSV."""
    return write_csv(("at", "what", "who", "detail"), (vars(line) for line in lines))


def _found(trim: Trim) -> str:
    found = [
        f"{FEET.get(f.foot, f.foot)}: {CLAW_TERMS.get(f.code or '', f.code or 'seen')}"
        + (f", {_block(f)}" if f.block else "")
        for f in trim.findings
    ]
    return "; ".join(found + [text for text in (trim.next_step, trim.note) if text])


def _block(finding: Finding) -> str:
    claw = blocked_claw(finding)
    return f"block on the {claw} claw" if claw else "block, on which claw was not said"
