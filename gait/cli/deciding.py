"""Commands that say something of one pass: which cow it shows, its score, and taking that back."""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING, Any

from gait.cli.farm import farm_command
from gait.cli.people import must_know
from gait.errors import StoreError

if TYPE_CHECKING:
    from gait.herd.records import Decision
    from gait.store import Store


def add_commands(commands: Any) -> None:
    """Add the commands to the parser."""
    name = farm_command(commands, "name", "say which cow a pass shows", run_name)
    name.add_argument("pass_id", type=int, metavar="PASS")
    name.add_argument("cow", metavar="ANIMAL_NUMBER")
    name.add_argument("--by", required=True, metavar="NAME")
    name.add_argument("--new", action="store_true", help="right, though not on the herd list")
    decide = farm_command(commands, "decide", "confirm or override the score of a pass", run_decide)
    decide.add_argument("pass_id", type=int, metavar="PASS")
    decide.add_argument("--score", type=int, choices=range(1, 6), help="default: as proposed")
    decide.add_argument("--by", required=True, metavar="NAME", help="who decides")
    decide.add_argument("--over", metavar="NAME", help="whose decision, where somebody's stands")
    decide.add_argument("--reason", default="", help="needed when overriding")
    decide.add_argument("--blind", action="store_true", help="the proposal was not seen")
    decide.add_argument("--unusable", action="store_true", help="the pass shows nothing")
    undo = farm_command(commands, "undo", "take back the newest decision on a pass", run_undo)
    undo.add_argument("pass_id", type=int, metavar="PASS")
    undo.add_argument("--by", required=True, metavar="NAME")
    undo.add_argument("--of", metavar="NAME", help="whose decision, where it is somebody else's")


def run_name(args: argparse.Namespace) -> int:
    """Keep who a cow is, and say what that changes."""
    from gait.store import open_store

    cow = args.cow.strip()
    with open_store(args.farm) as store:
        must_know(store, args.by, "identify")
        before = store.passes.get(args.pass_id).summary.cow
        if not args.new:
            _must_be_of_herd(store, cow)
        lame = _lame_numbers(store)
        store.identities.set(args.pass_id, cow, who=args.by, source="person")
        lame_now = _lame_numbers(store)
    was = f" Before, it was cow {before}." if before not in (None, cow) else ""
    print(f"Pass {args.pass_id} is cow {cow}, says {args.by}.{was}")
    for number in sorted(lame ^ lame_now):
        print(_what_it_means(number, lame, lame_now))
    return 0


def run_decide(args: argparse.Namespace) -> int:
    """Keep a person's decision and say what it means for the lame list."""
    from gait.checking import outranked
    from gait.farm import decide
    from gait.herd.standing import standing_decision
    from gait.store import open_store

    with open_store(args.farm) as store:
        must_know(store, args.by, "decide")
        seen = store.passes.get(args.pass_id).summary.version
        held = standing_decision(store.decisions.of_pass(args.pass_id)).decision
        if held is not None and held.kind != "second_opinion":  # that one stays in any case
            _must_be_theirs(held, args.by, args.over, "--over")
        before = _lame_numbers(store)
        if args.unusable:
            store.decisions.add(
                args.pass_id, kind="unusable", who=args.by, reason=args.reason,
                expected_version=seen,
            )  # fmt: skip
            print(f"Pass {args.pass_id} is set aside as unusable.")
            return 0
        made = decide(
            store, args.pass_id, who=args.by, score=args.score, reason=args.reason,
            blind=args.blind, expected_version=seen,
        )  # fmt: skip
        cow = store.passes.get(args.pass_id).summary.cow
        after = _lame_numbers(store)
        standing = outranked(store, made)
    print(f"Pass {args.pass_id}: {_told(made)}.")
    if standing is not None:
        print(f"It does not count: the second opinion of {standing.decided_by} stands, score"
              f" {standing.score}. Ask for a new one if {made.score} is right.")  # fmt: skip
    print(_what_it_means(cow, before, after))
    return 0


def run_undo(args: argparse.Namespace) -> int:
    """Take back a decision; it stays on record."""
    from gait.herd.standing import still_valid
    from gait.store import open_store

    with open_store(args.farm) as store:
        must_know(store, args.by, "decide")
        seen = store.passes.get(args.pass_id).summary.version
        held = still_valid(store.decisions.of_pass(args.pass_id))
        if held:
            _must_be_theirs(held[-1], args.by, args.of, "--of")
        store.decisions.undo(args.pass_id, who=args.by, expected_version=seen)
    print(f"Pass {args.pass_id}: taken back ({_told(held[-1])}); both stay on record.")
    return 0


def _must_be_of_herd(store: Store, number: str) -> None:
    """Refuse a number that is to be asked about, with near ones, as the pages ask."""
    from gait.herd.near_numbers import is_strange, near_numbers

    herd = store.cows.all()
    if is_strange(number, herd):
        near = ", ".join(near_numbers(number, [cow.number for cow in herd]))
        raise StoreError(
            f"Cow {number} is not on the herd list.",
            f"{f'Near numbers: {near}. ' if near else ''}If {number} is right, add: --new",
        )


def _must_be_theirs(made: Decision, by: str, named: str | None, option: str) -> None:
    """Refuse a decision that is neither of the person named nor, with nobody named, one's own."""
    if made.who == (named or by):
        return
    told = f"The newest decision on pass {made.pass_id} is"
    if made.who == by:
        raise StoreError(
            f"{told} {by}'s own ({_told(made)}).", f"If it is meant, leave out {option}."
        )
    raise StoreError(
        f"{told} somebody else's ({_told(made)}).",
        f"If it is meant all the same, add: {option} '{made.who}'",
    )


def _lame_numbers(store: Store) -> set[str]:
    from gait.farm import lame_today

    return {line.cow.number for line in lame_today(store)}


def _told(made: Decision) -> str:
    score = f", score {made.score}" if made.score else ""
    return f"{made.kind.replace('_', ' ')}{score}, by {made.who}"


def _what_it_means(cow: str | None, before: set[str], after: set[str]) -> str:
    if cow is None:
        how = "exitlane name PASS NUMBER --by NAME"
        return f"The pass has no cow yet, so no list changes. Name her: {how}"
    if cow in after - before:
        return f"Cow {cow} enters the lame list."
    if cow in before - after:
        return f"Cow {cow} leaves the lame list."
    return f"Cow {cow} stays {'on' if cow in after else 'off'} the lame list."
