"""Commands for the farm's records: herd list, what waits to be checked, lame list."""

from __future__ import annotations

import argparse
import os
from pathlib import Path
from typing import TYPE_CHECKING, Any

from gait.cli.people import must_know
from gait.errors import StoreError

if TYPE_CHECKING:
    from gait.exchange.herd_csv import HerdListPreview

DEFAULT_FARM = "farm"


def add_commands(commands: Any) -> None:
    """Add the farm's commands to the parser."""
    cows = farm_command(commands, "cows", "take in the herd list from a CSV file", run_cows,
                    begins=True)  # fmt: skip
    cows.add_argument("file", type=Path, metavar="FILE.csv")
    cows.add_argument("--preview", action="store_true", help="show what would be taken in")
    cows.add_argument("--all-or-nothing", action="store_true", help="one bad row stops it all")
    queue = farm_command(commands, "queue", "list the passes that wait for a person", run_queue)
    queue.add_argument("--limit", type=int, default=30)
    other = farm_command(commands, "renumber", "give a cow another animal number", run_renumber)
    other.add_argument("old", metavar="OLD_NUMBER")
    other.add_argument("new", metavar="NEW_NUMBER")
    other.add_argument("--by", required=True, metavar="NAME")
    off = farm_command(
        commands, "take-off", "take a number off the list that is no cow", run_take_off
    )
    off.add_argument("number", metavar="ANIMAL_NUMBER")
    off.add_argument("--by", required=True, metavar="NAME")
    farm_command(commands, "lame", "print the herd lame list", run_lame)


def farm_option(parser: argparse.ArgumentParser, *, begins: bool = False) -> None:
    """Add the option that says which farm; only a command that `begins` one may make it."""
    parser.add_argument(
        "--farm",
        default=os.environ.get("EXITLANE_FARM", DEFAULT_FARM),
        metavar="FOLDER",
        help=f"farm folder or postgresql:// address (default: {DEFAULT_FARM})",
    )
    parser.set_defaults(on_farm=not begins)


def must_be_farm(where: str) -> None:
    """Refuse a place that holds no farm, such as a mistyped folder, before one is made there.

    Raises
    ------
    StoreError
    """
    from gait.store import has_records

    if not has_records(where):
        raise StoreError(f"There are no records in {where}.", "Choose the folder of your farm.")


def run_cows(args: argparse.Namespace) -> int:
    """Take in or preview a herd list."""
    from gait.exchange.csv_files import read_csv_file
    from gait.exchange.herd_csv import cows_to_keep, preview_herd_list
    from gait.store import has_records, open_store

    table = read_csv_file(args.file)
    if args.preview and not has_records(args.farm):  # looking makes no farm
        _tell_herd(preview_herd_list(table))
        return 0
    with open_store(args.farm) as store:
        found = preview_herd_list(table, store.cows.all(include_left=True))
        _tell_herd(found)
        if not args.preview:
            store.cows.put(cows_to_keep(found, all_or_nothing=args.all_or_nothing))
    return 0


def _tell_herd(found: HerdListPreview) -> None:
    for rejected in found.rejected:
        print(f"line {rejected.line}: {rejected.why}")
    columns = ", ".join(f"{found.header[i]} = {name}" for name, i in found.columns.items())
    print(f"Columns: {columns}. Not used: {', '.join(found.not_used) or 'none'}.")
    print(
        f"{len(found.new)} new cows, {len(found.changed)} changed, "
        f"{len(found.unchanged)} as before, {len(found.rejected)} rows left out."
    )


def run_queue(args: argparse.Namespace) -> int:
    """List what waits, most urgent first."""
    from gait.checking import passes_to_check
    from gait.store import open_store

    with open_store(args.farm) as store:
        waiting = passes_to_check(store, args.limit)
    for p in waiting:
        if p.score is not None:
            print(f"pass {p.pass_id:>6}  score {p.score} by {p.decided_by}, on no list until named:"
                  f" exitlane name {p.pass_id} ANIMAL_NUMBER --by NAME")  # fmt: skip
            continue
        proposed = "no score" if p.proposed is None else f"score {p.proposed} ({p.confidence:.0%})"
        span = "" if p.low is None else f"  plausible {p.low}-{p.high}"
        print(f"pass {p.pass_id:>6}  cow {p.cow or 'not named':<10}  {proposed}{span}")
    if not waiting:
        print("Nothing waits to be checked.")
    return 0


def run_renumber(args: argparse.Namespace) -> int:
    """Give a cow another number."""
    from gait.cow_numbers import renumber_cow
    from gait.store import open_store

    with open_store(args.farm) as store:
        must_know(store, args.by, "plan")
        renumber_cow(store, args.old, args.new, who=args.by)
    print(f"Cow {args.old} is cow {args.new} now, with all that is recorded about her.")
    return 0


def run_take_off(args: argparse.Namespace) -> int:
    """Take a number off the list."""
    from gait.cow_numbers import take_off_list
    from gait.store import open_store

    with open_store(args.farm) as store:
        must_know(store, args.by, "plan")
        take_off_list(store, args.number, who=args.by)
    print(f"{args.number} is off the list, until it is taken in again.")
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


def farm_command(
    commands: Any, name: str, what: str, run: Any, *, begins: bool = False
) -> argparse.ArgumentParser:
    """Add a command on a farm; only one that `begins` a farm may make it."""
    parser: argparse.ArgumentParser = commands.add_parser(name, help=what, description=what)
    farm_option(parser, begins=begins)
    parser.set_defaults(run=run)
    return parser
