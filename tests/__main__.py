"""``python3 -m tests``: set up what tests need, then run all of them."""

import sys

from gait import environment

TWO_AT_A_TIME = ("-n", "2", "--dist", "loadfile", "--no-loadscope-reorder")
"""Two processes, each of which takes whole files in their order."""


def main() -> int:
    """Make sure of the environment, then run lint, types and pytest inside it."""
    try:
        python = environment.ensure("test")
    except environment.SetupFailed as problem:
        print(problem, file=sys.stderr)
        return 1
    if sys.argv[1:]:
        return environment.run(python, ["-m", "pytest", *sys.argv[1:]])
    checks = (
        ["-m", "ruff", "check", "."],
        ["-m", "ruff", "format", "--check", "."],
        ["-m", "mypy"],
        ["-m", "pytest", "-q", *TWO_AT_A_TIME],
    )
    return 1 if any([environment.run(python, check) for check in checks]) else 0


if __name__ == "__main__":
    raise SystemExit(main())
