"""Commands that write or read one file of the whole farm: trim sheet, backup, restore."""

from __future__ import annotations

import argparse
from datetime import date, timedelta
from pathlib import Path
from typing import Any

from gait.cli.dates import day
from gait.cli.farm import farm_command
from gait.errors import ExchangeError, StoreError


def add_commands(commands: Any) -> None:
    """Add the commands to the parser."""
    trim = farm_command(commands, "trim-day", "plan a trim day and write its sheet", run_trim_day)
    trim.add_argument("sheet", type=Path, metavar="SHEET.pdf|.html")
    trim.add_argument("--on", type=day, default=None, metavar="YYYY-MM-DD")
    trim.add_argument("--trimmer", default="", metavar="NAME")
    trim.add_argument("--capacity", type=int, default=12, metavar="COWS")
    save = farm_command(commands, "backup", "save the whole farm as one file", run_backup)
    save.add_argument("file", type=Path, metavar="FILE.zip")
    save.add_argument("--replace", action="store_true", help="write over an older backup")
    bring = farm_command(
        commands, "restore", "bring a saved farm back into an empty folder", run_restore,
        begins=True,
    )  # fmt: skip
    bring.add_argument("file", type=Path, metavar="FILE.zip")


def must_end(file: Path, what: str, *endings: str) -> None:
    """Refuse a file whose name promises another kind than can be written.

    Raises
    ------
    ExchangeError
    """
    if file.suffix.lower() not in endings:
        *others, last = endings
        kinds = f"{', '.join(others)} or {last}" if others else last
        raise ExchangeError(f"{what} is written as a {kinds} file.", "Choose such a name.")


def run_trim_day(args: argparse.Namespace) -> int:
    """Propose cows for a day and write the sheet."""
    from gait.farm import plan_trim_day
    from gait.store import open_store

    must_end(args.sheet, "A trim sheet", ".pdf", ".html", ".htm")
    on = args.on or date.today() + timedelta(days=1)
    with open_store(args.farm) as store:
        sheet = plan_trim_day(store, on, trimmer=args.trimmer, capacity=args.capacity)
    if args.sheet.suffix.lower() == ".pdf":
        args.sheet.write_bytes(sheet.pdf())
    else:
        args.sheet.write_text(sheet.html(), encoding="utf-8")
    count = "1 cow" if sheet.count == 1 else f"{sheet.count} cows"
    print(f"{count} on the sheet of {on}: {args.sheet}")
    return 0


def run_backup(args: argparse.Namespace) -> int:
    """Save the farm as one file."""
    from gait.exchange.backup import write_backup
    from gait.store import open_store

    must_end(args.file, "A backup", ".zip")
    if args.file.exists() and not args.replace:
        raise StoreError(
            f"There is a file {args.file} already.",
            "Choose another name; to write over an older backup, add: --replace",
        )
    with open_store(args.farm) as store:
        write_backup(store, args.file)
    print(f"Saved: {args.file}")
    return 0


def run_restore(args: argparse.Namespace) -> int:
    """Bring a saved farm back."""
    from gait.exchange.backup import restore_backup

    restore_backup(args.file, args.farm)
    print(f"Brought back into {args.farm}. Open it: python3 -m app --page-only --farm {args.farm}")
    return 0
