"""``exitlane import``: decisions, trims and ICAR ADE events brought in from a file."""

from __future__ import annotations

import argparse
import json
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from gait.cli.farm import farm_option
from gait.errors import ExchangeError

if TYPE_CHECKING:
    from typing import Any

    from gait.herd.records import Trim
    from gait.store import Store
    from gait.store.bulk import PastPass


@dataclass(frozen=True, kw_only=True)
class Brought:
    """What a file holds: what is new, what is on record already, and why the rest is left out."""

    passes: Sequence[PastPass] = ()
    trims: Sequence[Trim] = ()
    new: int
    known: int
    what: str
    left_out: Sequence[str]
    notes: Sequence[str] = ()


def add_commands(commands: Any) -> None:
    """Add ``import`` to the parser."""
    what = "take in decisions, trims or ICAR ADE events; what is on record already stays as it is"
    parser = commands.add_parser("import", help=what, description=what)
    parser.add_argument("what", choices=sorted(_READERS))
    parser.add_argument("file", type=Path, metavar="FILE")
    parser.add_argument("--preview", action="store_true", help="show what would be taken in")
    parser.add_argument("--all-or-nothing", action="store_true", help="one bad row stops it all")
    farm_option(parser)
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Take the file in, or show what it would bring.

    Raises
    ------
    ExchangeError
        The file is not of that kind, or something is left out with ``--all-or-nothing``.
    """
    from gait.store import open_store

    content = args.file.read_bytes()
    with open_store(args.farm) as store:
        found = _READERS[args.what](store, content)
        for sentence in (*found.left_out, *found.notes):
            print(sentence)
        print(
            f"{found.new} new {found.what}, {found.known} on record already, "
            f"{len(found.left_out)} left out."
        )
        if args.all_or_nothing and found.left_out:
            raise ExchangeError(
                f"{len(found.left_out)} cannot be taken in, the first: {found.left_out[0]}",
                "Nothing was changed. Put the list right and bring it in again.",
            )
        if not args.preview:
            store.bulk.load(passes=found.passes, trims=found.trims)
    return 0


def _decisions(store: Store, content: bytes) -> Brought:
    from gait.exchange.records_csv import read_decisions

    clip_ids = {clip.sha256: clip.clip_id for clip in store.clips.all(limit=1_000_000)}
    read = read_decisions(content, clip_ids)
    on_record = {line.decision.uid for line in store.decisions.lines()}
    uids = [decision.uid for past in read.passes for decision in past.decisions]
    known = sum(uid in on_record for uid in uids)
    herd = {cow.number for cow in store.cows.all(include_left=True)}
    strangers = sorted({past.cow for past in read.passes if past.cow} - herd)
    return Brought(
        passes=read.passes,
        new=len(uids) - known,
        known=known,
        what="decisions",
        left_out=[f"line {r.line}: {r.why}" for r in read.rejected],
        notes=[f"Not on the herd list: {', '.join(strangers)}."] if strangers else [],
    )


def _trims(store: Store, content: bytes) -> Brought:
    from gait.exchange.trims_csv import read_trims

    read = read_trims(content, store.cows.all(include_left=True))
    return _of_trims(store, read.trims, [f"line {r.line}: {r.why}" for r in read.rejected])


def _ade(store: Store, content: bytes) -> Brought:
    from gait.exchange.ade import read_ade

    try:
        document = json.loads(content)
    except (ValueError, RecursionError) as error:
        raise ExchangeError("This file is no JSON.", "Export events as ADE JSON.") from error
    read = read_ade(document, store.cows.all(include_left=True))
    return _of_trims(store, read.trims, read.not_taken)


def _of_trims(store: Store, trims: Sequence[Trim], left_out: Sequence[str]) -> Brought:
    cows = {trim.cow for trim in trims}
    on_record = {trim.uid: trim for trim in store.trims.of_cows(cows, corrected=True)}
    known = [trim for trim in trims if trim.uid in on_record]
    notes = [
        f"Cow {trim.cow}, trim of {trim.on}: on record without some of these findings; it stays "
        "as it is. Enter what is missing on the page, under findings."
        for trim in known
        if not _found(trim) <= _found(on_record[trim.uid])
    ]
    return Brought(
        trims=trims,
        new=len(trims) - len(known),
        known=len(known),
        what="trims",
        left_out=left_out,
        notes=notes,
    )


def _found(trim: Trim) -> set[tuple[str, str, str | None]]:
    # Older records say both claws where nobody had said which.
    return {(f.foot, "" if f.claw == "both" else f.claw, f.code) for f in trim.findings}


_READERS: dict[str, Callable[[Store, bytes], Brought]] = {
    "decisions": _decisions,
    "trims": _trims,
    "ade": _ade,
}
