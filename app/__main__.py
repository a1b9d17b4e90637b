"""``python3 -m app``: set up on first run, score the demo film or your own, serve the page."""

import sys

from gait import environment


def main() -> int:
    """Make sure of the environment, then hand over to the command line inside it."""
    if sys.argv[1:2] == ["--help"] and not (environment.CHECKOUT / ".venv").exists():
        print(  # before anything is installed, a short help must do
            "python3 -m app              set up on first run, score the demo film, serve the page\n"
            "python3 -m app --no-page    stop after the table of passes\n"
            "python3 -m app FILM...      score your own film or photos, then serve the page\n"
            "python3 -m app --page-only  open your own farm again, with no new film\n"
            "python3 -m app --help       all options, once set up"
        )
        return 0
    try:
        python = environment.ensure()
    except environment.SetupFailed as problem:
        print(problem, file=sys.stderr)
        return 1
    return environment.run(python, ["-m", "gait.cli", "start", *sys.argv[1:]])


if __name__ == "__main__":
    raise SystemExit(main())
