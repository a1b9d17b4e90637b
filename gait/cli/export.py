"""``exitlane export``: lists and events for others, as CSV, ICAR ADE JSON, PDF or HTML."""

from __future__ import annotations

import argparse
from collections.abc import Callable
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any

from gait.cli.dates import day
from gait.cli.farm import farm_option
from gait.cli.files import must_end
from gait.errors import ExchangeError

if TYPE_CHECKING:
    from gait.store import Store


def add_commands(commands: Any) -> None:
    """Add ``export`` to the parser."""
    what = "write herd list, decisions, trims, lame list, one cow's history or ICAR ADE events"
    parser = commands.add_parser("export", help=what, description=what)
    parser.add_argument("what", choices=sorted(_WRITERS))
    parser.add_argument("file", type=Path, metavar="FILE")
    parser.add_argument("--cow", metavar="ANIMAL_NUMBER", help="for history")
    parser.add_argument("--since", type=day, default=date.min, metavar="YYYY-MM-DD")
    farm_option(parser)
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Write the file."""
    from gait.store import open_store

    must_end(args.file, _NAMES[args.what], *_ENDINGS.get(args.what, (".csv",)))
    with open_store(args.farm) as store:
        content = _WRITERS[args.what](store, args)
    if isinstance(content, bytes):
        args.file.write_bytes(content)
    else:
        args.file.write_text(content, encoding="utf-8", newline="")
    print(f"Written: {args.file}")
    return 0


def _herd(store: Store, args: argparse.Namespace) -> str:
    from gait.exchange.herd_csv import herd_list_csv

    return herd_list_csv(store.cows.all(include_left=True))


def _decisions(store: Store, args: argparse.Namespace) -> str:
    from gait.exchange.lists import decisions_list

    return decisions_list(store, args.since)


def _trims(store: Store, args: argparse.Namespace) -> str:
    from gait.exchange.lists import trims_list

    return trims_list(store, args.since)


def _history(store: Store, args: argparse.Namespace) -> str:
    from gait.exchange.history import history_csv, time_line

    if args.cow is None:
        raise ExchangeError("Whose history?", "Name the cow with --cow.")
    return history_csv(time_line(store, args.cow))


def _lame(store: Store, args: argparse.Namespace) -> str | bytes:
    from gait.exchange.lists import lame_csv
    from gait.exchange.sheet_content import lame_sheet
    from gait.exchange.sheet_html import lame_sheet_html
    from gait.exchange.sheet_pdf import lame_sheet_pdf
    from gait.farm import lame_today

    lines, suffix = lame_today(store), args.file.suffix.lower()
    if suffix == ".csv":
        return lame_csv(lines)
    sheet = lame_sheet(lines, on=date.today(), farm=str(store.settings.get("farm_name", "")))
    return lame_sheet_pdf(sheet) if suffix == ".pdf" else lame_sheet_html(sheet)


def _ade(store: Store, args: argparse.Namespace) -> str:
    from gait.exchange.lists import events_list

    return events_list(store, args.since)


_WRITERS: dict[str, Callable[[Store, argparse.Namespace], str | bytes]] = {
    "herd": _herd,
    "decisions": _decisions,
    "trims": _trims,
    "history": _history,
    "lame": _lame,
    "ade": _ade,
}
_NAMES = {
    "herd": "The herd list",
    "decisions": "The list of decisions",
    "trims": "The list of trims",
    "history": "A cow's history",
    "lame": "The lame list",
    "ade": "ICAR ADE",
}
_ENDINGS = {"lame": (".csv", ".pdf", ".html", ".htm"), "ade": (".json",)}
"""Of the rest: CSV."""
