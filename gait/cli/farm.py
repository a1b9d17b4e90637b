"""Commands for the farm's records: herd list, checking, deciding, lame list, sheets, backup."""

from __future__ import annotations

import argparse
import os
from datetime import date, timedelta
from pathlib import Path
from typing import Any

from gait.errors import StoreError

DEFAULT_FARM = "farm"


def add_commands(commands: Any) -> None:
    """Add the farm's commands to the parser."""
    cows = _command(commands, "cows", "take in the herd list from a CSV file", run_cows)
    cows.add_argument("file", type=Path, metavar="FILE.csv")
    cows.add_argument("--preview", action="store_true", help="show what would be taken in")
    cows.add_argument("--all-or-nothing", action="store_true", help="one bad row stops it all")
    queue = _command(commands, "queue", "list the passes that wait for a person", run_queue)
    queue.add_argument("--limit", type=int, default=30)
    name = _command(commands, "name", "say which cow a pass shows", run_name)
    name.add_argument("pass_id", type=int, metavar="PASS")
    name.add_argument("cow", metavar="ANIMAL_NUMBER")
    name.add_argument("--by", required=True, metavar="NAME")
    other = _command(commands, "renumber", "give a cow another animal number", run_renumber)
    other.add_argument("old", metavar="OLD_NUMBER")
    other.add_argument("new", metavar="NEW_NUMBER")
    other.add_argument("--by", required=True, metavar="NAME")
    decide = _command(commands, "decide", "confirm or override the score of a pass", run_decide)
    decide.add_argument("pass_id", type=int, metavar="PASS")
    decide.add_argument("--score", type=int, choices=range(1, 6), help="default: as proposed")
    decide.add_argument("--by", required=True, metavar="NAME", help="who decides")
    decide.add_argument("--reason", default="", help="needed when overriding")
    decide.add_argument("--blind", action="store_true", help="the proposal was not seen")
    decide.add_argument("--unusable", action="store_true", help="the pass shows nothing")
    undo = _command(commands, "undo", "take back the newest decision on a pass", run_undo)
    undo.add_argument("pass_id", type=int, metavar="PASS")
    undo.add_argument("--by", required=True, metavar="NAME")
    _command(commands, "lame", "print the herd lame list", run_lame)
    trim = _command(commands, "trim-day", "plan a trim day and write its sheet", run_trim_day)
    trim.add_argument("sheet", type=Path, metavar="SHEET.pdf|.html")
    trim.add_argument("--on", type=date.fromisoformat, default=None, metavar="YYYY-MM-DD")
    trim.add_argument("--trimmer", default="", metavar="NAME")
    trim.add_argument("--capacity", type=int, default=12, metavar="COWS")
    save = _command(commands, "backup", "save the whole farm as one file", run_backup)
    save.add_argument("file", type=Path, metavar="FILE.zip")
    bring = _command(
        commands, "restore", "bring a saved farm back into an empty folder", run_restore
    )
    bring.add_argument("file", type=Path, metavar="FILE.zip")


def farm_option(parser: argparse.ArgumentParser) -> None:
    """Add the option that says which farm."""
    parser.add_argument(
        "--farm",
        default=os.environ.get("EXITLANE_FARM", DEFAULT_FARM),
        metavar="FOLDER",
        help=f"farm folder or postgresql:// address (default: {DEFAULT_FARM})",
    )


def run_cows(args: argparse.Namespace) -> int:
    """Take in or preview a herd list."""
    from gait.exchange.csv_files import read_csv_file
    from gait.exchange.herd_csv import cows_to_keep, preview_herd_list
    from gait.store import open_store

    with open_store(args.farm) as store:
        table = read_csv_file(args.file)
        found = preview_herd_list(table, store.cows.all(include_left=True))
        for rejected in found.rejected:
            print(f"line {rejected.line}: {rejected.why}")
        columns = ", ".join(f"{found.header[i]} = {name}" for name, i in found.columns.items())
        print(f"Columns: {columns}. Not used: {', '.join(found.not_used) or 'none'}.")
        print(
            f"{len(found.new)} new cows, {len(found.changed)} changed, "
            f"{len(found.unchanged)} as before, {len(found.rejected)} rows left out."
        )
        if not args.preview:
            store.cows.put(cows_to_keep(found, all_or_nothing=args.all_or_nothing))
    return 0


def run_queue(args: argparse.Namespace) -> int:
    """List what waits, most urgent first."""
    from gait.store import open_store

    with open_store(args.farm) as store:
        waiting = store.queue.to_check(limit=args.limit)
        unnamed = store.queue.unnamed(limit=args.limit)
    for p in waiting:
        proposed = "no score" if p.proposed is None else f"score {p.proposed} ({p.confidence:.0%})"
        span = "" if p.low is None else f"  plausible {p.low}-{p.high}"
        print(f"pass {p.pass_id:>6}  cow {p.cow or 'not named':<10}  {proposed}{span}")
    for p in unnamed:
        print(f"pass {p.pass_id:>6}  score {p.score} by {p.decided_by}, on no list until named:"
              f" exitlane name {p.pass_id} ANIMAL_NUMBER")  # fmt: skip
    if not waiting and not unnamed:
        print("Nothing waits to be checked.")
    return 0


def run_name(args: argparse.Namespace) -> int:
    """Keep who a cow is."""
    from gait.store import open_store

    with open_store(args.farm) as store:
        store.passes.get(args.pass_id)
        store.identities.set(args.pass_id, args.cow, who=args.by, source="person")
    print(f"Pass {args.pass_id} is cow {args.cow}, says {args.by}.")
    return 0


def run_renumber(args: argparse.Namespace) -> int:
    """Give a cow another number."""
    from gait.farm import renumber_cow
    from gait.store import open_store

    with open_store(args.farm) as store:
        renumber_cow(store, args.old, args.new, who=args.by)
    print(f"Cow {args.old} is cow {args.new} now, with all that is recorded about her.")
    return 0


def run_decide(args: argparse.Namespace) -> int:
    """Keep a person's decision and say what it means for the lame list."""
    from gait.farm import decide, lame_today
    from gait.store import open_store

    with open_store(args.farm) as store:
        before = {line.cow.number for line in lame_today(store)}
        if args.unusable:
            store.decisions.add(args.pass_id, kind="unusable", who=args.by, reason=args.reason)
            print(f"Pass {args.pass_id} is set aside as unusable.")
            return 0
        made = decide(
            store, args.pass_id, who=args.by, score=args.score, reason=args.reason, blind=args.blind
        )
        cow = store.passes.get(args.pass_id).summary.cow
        after = {line.cow.number for line in lame_today(store)}
    print(f"Pass {args.pass_id}: {made.kind}, score {made.score}, by {made.who}.")
    print(_what_it_means(cow, before, after))
    return 0


def run_undo(args: argparse.Namespace) -> int:
    """Take back a decision; it stays on record."""
    from gait.store import open_store

    with open_store(args.farm) as store:
        store.decisions.undo(args.pass_id, who=args.by)
    print(f"The newest decision on pass {args.pass_id} is taken back; both stay on record.")
    return 0


def run_lame(args: argparse.Namespace) -> int:
    """Print the lame list, most urgent first."""
    from gait.farm import lame_today
    from gait.store import open_store

    with open_store(args.farm) as store:
        lines = lame_today(store)
    for line in lines:
        chronic = "  chronic" if line.is_chronic else ""
        since = f"{line.since:%Y-%m-%d}"
        print(
            f"cow {line.cow.number:<8} score {line.score}  since {since}{chronic}  {line.next_step}"
        )
        for caution in line.cautions:
            print(f"    {caution}")
    if not lines:
        print("No cow is on the lame list. Only a person's decision of 3 or more puts one there.")
    return 0


def run_trim_day(args: argparse.Namespace) -> int:
    """Propose cows for a day and write the sheet."""
    from gait.farm import plan_trim_day
    from gait.store import open_store

    on = args.on or date.today() + timedelta(days=1)
    with open_store(args.farm) as store:
        sheet = plan_trim_day(store, on, trimmer=args.trimmer, capacity=args.capacity)
    suffix = args.sheet.suffix.lower()
    if suffix == ".pdf":
        args.sheet.write_bytes(sheet.pdf())
    elif suffix in (".html", ".htm"):
        args.sheet.write_text(sheet.html(), encoding="utf-8")
    else:
        raise StoreError("A trim sheet is a .pdf or .html file.", "Choose such a name.")
    print(f"{sheet.count} cows on the sheet of {on}: {args.sheet}")
    return 0


def run_backup(args: argparse.Namespace) -> int:
    """Save the farm as one file."""
    from gait.exchange.backup import write_backup
    from gait.store import open_store

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


def _command(commands: Any, name: str, what: str, run: Any) -> argparse.ArgumentParser:
    parser: argparse.ArgumentParser = commands.add_parser(name, help=what, description=what)
    farm_option(parser)
    parser.set_defaults(run=run)
    return parser


def _what_it_means(cow: str | None, before: set[str], after: set[str]) -> str:
    if cow is None:
        return "The pass has no cow yet, so no list changes. Name her: exitlane name PASS NUMBER"
    if cow in after - before:
        return f"Cow {cow} enters the lame list."
    if cow in before - after:
        return f"Cow {cow} leaves the lame list."
    return f"Cow {cow} stays {'on' if cow in after else 'off'} the lame list."
