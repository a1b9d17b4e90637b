"""The command ``exitlane``. Each command is a few lines over the library."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Sequence
from typing import NoReturn

from gait import __version__
from gait.cli.farm import must_be_farm
from gait.errors import GaitError

REFUSED = 2
"""Exit code when something cannot be judged or used; the sentence says why."""


class _Parser(argparse.ArgumentParser):
    """Says in one sentence what cannot be understood, without a page of usage."""

    def error(self, message: str) -> NoReturn:
        """Say it and end."""
        self.exit(REFUSED, f"{self.prog}: {message.rstrip('.')}. See: {self.prog} --help\n")


def build_parser() -> argparse.ArgumentParser:
    """Return the parser with every command; imports nothing heavy."""
    from gait.cli import deciding, export, farm, files, imports, learning, score, start

    parser = _Parser(
        prog="exitlane",
        description="From film of cows in the exit lane to locomotion scores and the lame list. "
        "It proposes; a person decides.",
    )
    parser.add_argument("--version", action="version", version=f"exitlane {__version__}")
    commands = parser.add_subparsers(dest="command", required=True, metavar="COMMAND")
    for part in (start, score, farm, deciding, files, export, imports, learning):
        part.add_commands(commands)
    return parser


def main(argv: Sequence[str] | None = None) -> int:
    """Run one command.

    Returns
    -------
    int
        0 when done, 2 when the input was refused, 130 when stopped by the user.
    """
    args = build_parser().parse_args(argv)
    try:
        if getattr(args, "on_farm", False) and args.farm:
            must_be_farm(args.farm)
        return int(args.run(args))
    except GaitError as problem:
        print(problem, file=sys.stderr)
        return REFUSED
    except BrokenPipeError:
        return 0
    except OSError as problem:
        name = f" {problem.filename}" if problem.filename else ""
        print(f"The file{name} could not be used ({problem.strerror}).", file=sys.stderr)
        return REFUSED
    except KeyboardInterrupt:
        print("Stopped. What was filed before is kept.", file=sys.stderr)
        return 130
